package repo

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
)

// windowJSON is a span of a weekday as it is stored, in minutes since midnight.
type windowJSON struct {
	Weekday int `json:"weekday"`
	From    int `json:"from"`
	To      int `json:"to"`
}

func windowsToJSON(ws []fleet.Window) []windowJSON {
	out := make([]windowJSON, len(ws))
	for i, w := range ws {
		out[i] = windowJSON(w)
	}
	return out
}

func windowsFromJSON(ws []windowJSON) []fleet.Window {
	var out []fleet.Window
	for _, w := range ws {
		out = append(out, fleet.Window(w))
	}
	return out
}

type siteRow struct {
	metaRow
	Name                string
	CustomerID          *uuid.UUID
	Street              string
	PostalCode          string
	City                string
	Region              string
	Country             string
	Lat                 float64
	Lon                 float64
	TimeZone            string
	AccessWindows       []windowJSON
	NoAccessEnteredOn   time.Time
	WaterMode           string
	ResponsibleMemberID *uuid.UUID
	CarryDistanceM      int
	CarryFloors         int
	SetupMinutes        int
}

func (r siteRow) site() fleet.Site {
	return fleet.Site{Meta: r.meta(), Fields: fleet.SiteFields{
		Name:              r.Name,
		CustomerID:        orNil(r.CustomerID),
		Address:           fleet.Address{Street: r.Street, PostalCode: r.PostalCode, City: r.City, Region: r.Region, Country: r.Country},
		Position:          fleet.Point{Lat: r.Lat, Lon: r.Lon},
		TimeZone:          r.TimeZone,
		AccessWindows:     windowsFromJSON(r.AccessWindows),
		WaterMode:         fleet.WaterMode(r.WaterMode),
		ResponsibleMember: orNil(r.ResponsibleMemberID),
		CarryDistanceM:    r.CarryDistanceM,
		CarryFloors:       r.CarryFloors,
		SetupMinutes:      r.SetupMinutes,
		AccessEnteredOn:   dayFromSQL(r.NoAccessEnteredOn),
	}}
}

func siteFields(f fleet.SiteFields) []any {
	return []any{
		f.Name, nilable(f.CustomerID), f.Address.Street, f.Address.PostalCode, f.Address.City, f.Address.Region, f.Address.Country,
		f.Position.Lat, f.Position.Lon, f.TimeZone, windowsToJSON(f.AccessWindows), int16(f.NoAccess()), dayToSQL(f.AccessEnteredOn),
		string(f.WaterMode), nilable(f.ResponsibleMember), f.CarryDistanceM, f.CarryFloors, f.SetupMinutes,
	}
}

const siteColumns = `
		id,
		version,
		created_at,
		updated_at,
		archived_at,
		name,
		customer_id,
		street,
		postal_code,
		city,
		region,
		country,
		lat,
		lon,
		time_zone,
		access_windows,
		no_access_entered_on,
		water_mode,
		responsible_member_id,
		carry_distance_m,
		carry_floors,
		setup_minutes`

var siteSQL = statements{
	resource: "site",
	insert: `
	INSERT INTO site (
		org_id,
		id,
		version,
		created_at,
		updated_at,
		create_hash,
		name,
		customer_id,
		street,
		postal_code,
		city,
		region,
		country,
		lat,
		lon,
		time_zone,
		access_windows,
		no_access_weekdays,
		no_access_entered_on,
		water_mode,
		responsible_member_id,
		carry_distance_m,
		carry_floors,
		setup_minutes
	)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22, $23, $24)
	ON CONFLICT (org_id, id) DO NOTHING`,
	save: `
	UPDATE site
	SET
		version = $3,
		updated_at = $4,
		archived_at = $5,
		name = $6,
		customer_id = $7,
		street = $8,
		postal_code = $9,
		city = $10,
		region = $11,
		country = $12,
		lat = $13,
		lon = $14,
		time_zone = $15,
		access_windows = $16,
		no_access_weekdays = $17,
		no_access_entered_on = $18,
		water_mode = $19,
		responsible_member_id = $20,
		carry_distance_m = $21,
		carry_floors = $22,
		setup_minutes = $23
	WHERE org_id = $1 AND id = $2`,
	load: `
	SELECT` + siteColumns + `
	FROM site
	WHERE org_id = $1 AND id = $2
	FOR NO KEY UPDATE`,
	hash: `SELECT create_hash FROM site WHERE org_id = $1 AND id = $2`,
}

// Sites gives the store of sites in this transaction.
func (t *Tx) Sites() resource.Store[fleet.SiteFields] {
	return store[fleet.SiteFields, siteRow]{t: t, sql: siteSQL, row: siteRow.site, fields: siteFields}
}

// ShareSite locks a site against closing and archiving while something is
// added to it, and gives it.
func (t *Tx) ShareSite(ctx context.Context, id uuid.UUID) (fleet.Site, error) {
	return loadOne(ctx, t, named("site", id, siteRow.site), `
	SELECT`+siteColumns+`
	FROM site
	WHERE org_id = $1 AND id = $2
	FOR SHARE`, t.org, id)
}

// Site gives one site.
func (db *DB) Site(ctx context.Context, s tx.Scope, id uuid.UUID) (fleet.Site, error) {
	return get(ctx, db, s, named("site", id, siteRow.site), `
	SELECT`+siteColumns+`
	FROM site
	WHERE org_id = $1 AND id = $2`)
}

// Sites lists sites by id.
func (db *DB) Sites(ctx context.Context, s tx.Scope, f fleet.SiteFilter, p resource.Paging) (resource.Page[fleet.Site], error) {
	return list(ctx, asked{db, s, p}, siteRow.site, `
	SELECT`+siteColumns+`
	FROM site
	WHERE org_id = $1 AND id > $2 AND (archived_at IS NOT NULL) = $4
		AND ($5::uuid IS NULL OR customer_id = $5)
		AND ($6::uuid IS NULL OR responsible_member_id = $6)
	ORDER BY id
	LIMIT $3`, nilable(f.Customer), nilable(f.ResponsibleMember))
}

type accessNotesRow struct {
	SiteID    uuid.UUID
	Version   int
	Notes     string
	UpdatedAt *time.Time
}

func (r accessNotesRow) notes() fleet.AccessNotes {
	n := fleet.AccessNotes{SiteID: r.SiteID, Version: r.Version, Notes: r.Notes}
	if r.UpdatedAt != nil {
		n.UpdatedAt = r.UpdatedAt.UTC()
	}
	return n
}

// AccessNotes gives the notes of a site; a site without notes has an empty text
// of version 0.
func (db *DB) AccessNotes(ctx context.Context, s tx.Scope, site uuid.UUID) (fleet.AccessNotes, error) {
	return get(ctx, db, s, named("site", site, accessNotesRow.notes), `
	SELECT
		site.id AS site_id,
		coalesce(n.version, 0) AS version,
		coalesce(n.notes, '') AS notes,
		n.updated_at
	FROM site
	LEFT JOIN site_access_notes n ON n.org_id = site.org_id AND n.site_id = site.id
	WHERE site.org_id = $1 AND site.id = $2`)
}

// LoadAccessNotes gives the notes of a site for a change; the caller holds the
// site's lock.
func (t *Tx) LoadAccessNotes(ctx context.Context, site uuid.UUID) (fleet.AccessNotes, error) {
	n, err := loadOne(ctx, t, named("access notes", site, accessNotesRow.notes), `
	SELECT
		site_id,
		version,
		notes,
		updated_at
	FROM site_access_notes
	WHERE org_id = $1 AND site_id = $2
	FOR NO KEY UPDATE`, t.org, site)
	if fault.Is(err, fault.NotFound) {
		return fleet.AccessNotes{SiteID: site}, nil
	}
	return n, err
}

// SaveAccessNotes writes the notes of a site.
func (t *Tx) SaveAccessNotes(ctx context.Context, n fleet.AccessNotes) error {
	_, err := t.tx.Exec(ctx, `
	INSERT INTO site_access_notes (org_id, site_id, version, notes, updated_at)
	VALUES ($1, $2, $3, $4, $5)
	ON CONFLICT (org_id, site_id) DO UPDATE
	SET
		version = excluded.version,
		notes = excluded.notes,
		updated_at = excluded.updated_at`, t.org, n.SiteID, n.Version, n.Notes, n.UpdatedAt)
	return translate("save access notes", err)
}

// organisationRow has no archived_at: an organisation is never archived here.
type organisationRow struct {
	OrgID     uuid.UUID
	Version   int
	CreatedAt time.Time
	UpdatedAt time.Time
	Name      string
	Kind      string
	TimeZone  string
}

func (r organisationRow) organisation() fleet.Organisation {
	return fleet.Organisation{
		Meta:   resource.Meta{ID: r.OrgID, Version: r.Version, CreatedAt: r.CreatedAt.UTC(), UpdatedAt: r.UpdatedAt.UTC()},
		Fields: fleet.OrganisationFields{Name: r.Name, Kind: r.Kind, TimeZone: r.TimeZone},
	}
}

const organisationColumns = `
		org_id,
		version,
		created_at,
		updated_at,
		name,
		kind,
		time_zone`

// Organisation gives the scope's own organisation.
func (db *DB) Organisation(ctx context.Context, s tx.Scope) (fleet.Organisation, error) {
	return get(ctx, db, s, named("organisation", s.Org, organisationRow.organisation), `
	SELECT`+organisationColumns+`
	FROM organisation
	WHERE org_id = $1 AND org_id = $2`)
}

// LoadOrganisation locks the organisation for a change that all its sites
// depend on.
func (t *Tx) LoadOrganisation(ctx context.Context) (fleet.Organisation, error) {
	return loadOne(ctx, t, named("organisation", t.org, organisationRow.organisation), `
	SELECT`+organisationColumns+`
	FROM organisation
	WHERE org_id = $1
	FOR NO KEY UPDATE`, t.org)
}

// ShareOrganisation locks the organisation against a new closure while
// something that follows closures is added.
func (t *Tx) ShareOrganisation(ctx context.Context) (fleet.Organisation, error) {
	return loadOne(ctx, t, named("organisation", t.org, organisationRow.organisation), `
	SELECT`+organisationColumns+`
	FROM organisation
	WHERE org_id = $1
	FOR SHARE`, t.org)
}

// SaveOrganisation writes the organisation that LoadOrganisation gave.
func (t *Tx) SaveOrganisation(ctx context.Context, o fleet.Organisation) error {
	_, err := t.tx.Exec(ctx, `
	UPDATE organisation
	SET
		version = $2,
		updated_at = $3,
		name = $4,
		kind = $5,
		time_zone = $6
	WHERE org_id = $1`, t.org, o.Version, o.UpdatedAt, o.Fields.Name, o.Fields.Kind, o.Fields.TimeZone)
	return translate("save organisation", err)
}

// InsertOrganisation adds the organisation this transaction is bound to, and
// its entry in the directory.
func (t *Tx) InsertOrganisation(ctx context.Context, o fleet.Organisation) error {
	b := &pgx.Batch{}
	b.Queue(`INSERT INTO organisation_directory (org_id, created_at) VALUES ($1, $2)`, t.org, o.CreatedAt)
	b.Queue(`
	INSERT INTO organisation (org_id, version, name, kind, time_zone, created_at, updated_at)
	VALUES ($1, $2, $3, $4, $5, $6, $7)`,
		t.org, o.Version, o.Fields.Name, o.Fields.Kind, o.Fields.TimeZone, o.CreatedAt, o.UpdatedAt)
	return translate("insert organisation", t.tx.SendBatch(ctx, b).Close())
}

// directoryPage is how many organisations are listed at once.
const directoryPage = 1_000

// Organisations walks the directory; a walk ends when f gives an error.
func (db *DB) Organisations(ctx context.Context, f func(org uuid.UUID) error) error {
	for after := uuid.Nil; ; {
		ids, err := db.OrganisationsAfter(ctx, after, directoryPage)
		if err != nil || len(ids) == 0 {
			return err
		}
		for _, id := range ids {
			if err := f(id); err != nil {
				return err
			}
			after = id
		}
	}
}
