package repo

import (
	"context"
	"errors"
	"time"

	"github.com/google/uuid"

	"tankward/service/access"
	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
)

// absenceJSON is an absence as it is stored, in whole days.
type absenceJSON struct {
	From   string `json:"from"`
	To     string `json:"to"`
	Reason string `json:"reason,omitempty"`
}

type vehicleJSON struct {
	Name        string   `json:"name,omitempty"`
	PayloadKG   *float64 `json:"payload_kg,omitempty"`
	SaltWaterL  *float64 `json:"salt_water_l,omitempty"`
	FreshWaterL *float64 `json:"fresh_water_l,omitempty"`
}

type memberRow struct {
	metaRow
	Name     string
	Email    string
	Phone    string
	Role     string
	TimeZone string
	StartLat *float64
	StartLon *float64
	EndLat   *float64
	EndLon   *float64
	Shifts   []windowJSON
	Absences []absenceJSON
	Skills   []string
	Vehicle  *vehicleJSON
}

func (r memberRow) member() access.Member {
	f := access.MemberFields{
		Name: r.Name, Email: r.Email, Phone: r.Phone, Role: tx.Role(r.Role), TimeZone: r.TimeZone,
		StartPosition: pointOf(r.StartLat, r.StartLon), EndPosition: pointOf(r.EndLat, r.EndLon),
		Shifts: windowsFromJSON(r.Shifts), Vehicle: (*access.Vehicle)(r.Vehicle),
	}
	for _, a := range r.Absences {
		f.Absences = append(f.Absences, access.Absence{From: dayFromText(a.From), To: dayFromText(a.To), Reason: a.Reason})
	}
	if len(r.Skills) > 0 {
		f.Skills = r.Skills
	}
	return access.Member{Meta: r.meta(), Fields: f}
}

// dayFromText reads a day that was written by us.
func dayFromText(s string) care.Day {
	d, _ := care.ParseDay(s)
	return d
}

func pointOf(lat, lon *float64) *fleet.Point {
	if lat == nil || lon == nil {
		return nil
	}
	return &fleet.Point{Lat: *lat, Lon: *lon}
}

// latLon gives latitude and longitude, or twice nil.
func latLon(p *fleet.Point) (*float64, *float64) {
	if p == nil {
		return nil, nil
	}
	return &p.Lat, &p.Lon
}

func memberFields(f access.MemberFields) []any {
	absences := make([]absenceJSON, len(f.Absences))
	for i, a := range f.Absences {
		absences[i] = absenceJSON{From: a.From.String(), To: a.To.String(), Reason: a.Reason}
	}
	startLat, startLon := latLon(f.StartPosition)
	endLat, endLon := latLon(f.EndPosition)
	return []any{
		f.Name, f.Email, f.Phone, string(f.Role), f.TimeZone, startLat, startLon, endLat, endLon,
		windowsToJSON(f.Shifts), absences, nonNil(f.Skills), (*vehicleJSON)(f.Vehicle),
	}
}

const memberColumns = `
		id,
		version,
		created_at,
		updated_at,
		archived_at,
		name,
		email,
		phone,
		role,
		time_zone,
		start_lat,
		start_lon,
		end_lat,
		end_lon,
		shifts,
		absences,
		skills,
		vehicle`

var memberSQL = statements{
	resource: "member",
	insert: `
	INSERT INTO member (
		org_id,
		id,
		version,
		created_at,
		updated_at,
		create_hash,
		name,
		email,
		phone,
		role,
		time_zone,
		start_lat,
		start_lon,
		end_lat,
		end_lon,
		shifts,
		absences,
		skills,
		vehicle
	)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19)
	ON CONFLICT (org_id, id) DO NOTHING`,
	save: `
	UPDATE member
	SET
		version = $3,
		updated_at = $4,
		archived_at = $5,
		name = $6,
		email = $7,
		phone = $8,
		role = $9,
		time_zone = $10,
		start_lat = $11,
		start_lon = $12,
		end_lat = $13,
		end_lon = $14,
		shifts = $15,
		absences = $16,
		skills = $17,
		vehicle = $18
	WHERE org_id = $1 AND id = $2`,
	load: `
	SELECT` + memberColumns + `
	FROM member
	WHERE org_id = $1 AND id = $2
	FOR NO KEY UPDATE`,
	hash: `SELECT create_hash FROM member WHERE org_id = $1 AND id = $2`,
}

// Members gives the store of members in this transaction.
func (t *Tx) Members() resource.Store[access.MemberFields] {
	return store[access.MemberFields, memberRow]{t: t, sql: memberSQL, row: memberRow.member, fields: memberFields}
}

// MemberRole gives a member's role without locking it.
func (t *Tx) MemberRole(ctx context.Context, id uuid.UUID) (tx.Role, error) {
	var role tx.Role
	err := t.tx.QueryRow(ctx, `SELECT role FROM member WHERE org_id = $1 AND id = $2`, t.org, id).Scan(&role)
	if errors.Is(err, errNoRow) {
		return "", fault.NoSuch("member", id)
	}
	return role, translate("look up a member's role", err)
}

// OtherOwners counts the owners in use beside one member.
func (t *Tx) OtherOwners(ctx context.Context, beside uuid.UUID) (int, error) {
	var n int
	err := t.tx.QueryRow(ctx, `
	SELECT count(*)
	FROM member
	WHERE org_id = $1 AND id <> $2 AND role = 'owner' AND archived_at IS NULL`, t.org, beside).Scan(&n)
	return n, translate("count the owners", err)
}

// Member gives one member.
func (db *DB) Member(ctx context.Context, s tx.Scope, id uuid.UUID) (access.Member, error) {
	return get(ctx, db, s, named("member", id, memberRow.member), selectMember)
}

const selectMember = `
	SELECT` + memberColumns + `
	FROM member
	WHERE org_id = $1 AND id = $2`

// Members lists members by id.
func (db *DB) Members(ctx context.Context, s tx.Scope, f access.MemberFilter, p resource.Paging) (resource.Page[access.Member], error) {
	return list(ctx, asked{db, s, p}, memberRow.member, `
	SELECT`+memberColumns+`
	FROM member
	WHERE org_id = $1 AND id > $2 AND (archived_at IS NOT NULL) = $4
		AND ($5::text IS NULL OR role = $5)
	ORDER BY id
	LIMIT $3`, nonEmpty(string(f.Role)))
}

// RevokeKeysOf revokes every key of a member and gives their ids.
func (t *Tx) RevokeKeysOf(ctx context.Context, member uuid.UUID, at time.Time) ([]uuid.UUID, error) {
	ids, err := loadAll(ctx, t, func(r idRow) uuid.UUID { return r.ID }, `
	UPDATE access_key
	SET
		revoked_at = $3,
		version = version + 1
	WHERE org_id = $1 AND member_id = $2 AND revoked_at IS NULL
	RETURNING id`, t.org, member, at)
	if err != nil || len(ids) == 0 {
		return nil, err
	}
	return ids, t.shutHashes(ctx, ids, at)
}

type idRow struct{ ID uuid.UUID }
