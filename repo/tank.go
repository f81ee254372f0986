package repo

import (
	"context"
	"time"

	"github.com/google/uuid"

	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
)

type targetJSON struct {
	Parameter string   `json:"parameter"`
	Low       *float64 `json:"low,omitempty"`
	High      *float64 `json:"high,omitempty"`
}

type tankRow struct {
	metaRow
	SiteID        uuid.UUID
	Name          string
	Kind          string
	Status        string
	Form          string
	LengthCM      *float64 `db:"length_cm"`
	WidthCM       *float64 `db:"width_cm"`
	HeightCM      *float64 `db:"height_cm"`
	DiameterCM    *float64 `db:"diameter_cm"`
	BowCM         *float64 `db:"bow_cm"`
	StatedL       *float64 `db:"stated_l"`
	DisplacementL float64  `db:"displacement_l"`
	SumpL         float64  `db:"sump_l"`
	NetL          float64  `db:"net_l"`
	Targets       []targetJSON
	StartedOn     *time.Time
	Note          string
}

func (r tankRow) tank() fleet.Tank {
	f := fleet.TankFields{
		SiteID: r.SiteID, Name: r.Name, Kind: fleet.TankKind(r.Kind), Status: fleet.TankStatus(r.Status),
		Shape: fleet.Shape{
			Form: fleet.Form(r.Form), LengthCM: orZero(r.LengthCM), WidthCM: orZero(r.WidthCM), HeightCM: orZero(r.HeightCM),
			DiameterCM: orZero(r.DiameterCM), BowCM: orZero(r.BowCM), StatedL: orZero(r.StatedL),
		},
		DisplacementL: r.DisplacementL, SumpL: r.SumpL, NetL: r.NetL,
		StartedOn: dayPtrFromSQL(r.StartedOn), Note: r.Note,
	}
	for _, t := range r.Targets {
		f.Targets = append(f.Targets, fleet.Target(t))
	}
	return fleet.Tank{Meta: r.meta(), Fields: f}
}

func tankFields(f fleet.TankFields) []any {
	targets := make([]targetJSON, len(f.Targets))
	for i, t := range f.Targets {
		targets[i] = targetJSON(t)
	}
	s := f.Shape
	return []any{
		f.SiteID, f.Name, string(f.Kind), string(f.Status), string(s.Form),
		nonZero(s.LengthCM), nonZero(s.WidthCM), nonZero(s.HeightCM), nonZero(s.DiameterCM), nonZero(s.BowCM), nonZero(s.StatedL),
		f.DisplacementL, f.SumpL, f.NetL, targets, dayPtrToSQL(f.StartedOn), f.Note,
	}
}

func orZero(v *float64) float64 {
	if v == nil {
		return 0
	}
	return *v
}

func nonZero(v float64) *float64 {
	if v == 0 {
		return nil
	}
	return &v
}

const tankColumns = `
		id,
		version,
		created_at,
		updated_at,
		archived_at,
		site_id,
		name,
		kind,
		status,
		form,
		length_cm,
		width_cm,
		height_cm,
		diameter_cm,
		bow_cm,
		stated_l,
		displacement_l,
		sump_l,
		net_l,
		targets,
		started_on,
		note`

var tankSQL = statements{
	resource: "tank",
	insert: `
	INSERT INTO tank (
		org_id,
		id,
		version,
		created_at,
		updated_at,
		create_hash,
		site_id,
		name,
		kind,
		status,
		form,
		length_cm,
		width_cm,
		height_cm,
		diameter_cm,
		bow_cm,
		stated_l,
		displacement_l,
		sump_l,
		net_l,
		targets,
		started_on,
		note
	)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22, $23)
	ON CONFLICT (org_id, id) DO NOTHING`,
	save: `
	UPDATE tank
	SET
		version = $3,
		updated_at = $4,
		archived_at = $5,
		site_id = $6,
		name = $7,
		kind = $8,
		status = $9,
		form = $10,
		length_cm = $11,
		width_cm = $12,
		height_cm = $13,
		diameter_cm = $14,
		bow_cm = $15,
		stated_l = $16,
		displacement_l = $17,
		sump_l = $18,
		net_l = $19,
		targets = $20,
		started_on = $21,
		note = $22
	WHERE org_id = $1 AND id = $2`,
	load: `
	SELECT` + tankColumns + `
	FROM tank
	WHERE org_id = $1 AND id = $2
	FOR NO KEY UPDATE`,
	hash: `SELECT create_hash FROM tank WHERE org_id = $1 AND id = $2`,
}

// Tanks gives the store of tanks in this transaction. Loading a tank takes the
// lock that guards its routines, ramps, pauses and records.
func (t *Tx) Tanks() resource.Store[fleet.TankFields] {
	return store[fleet.TankFields, tankRow]{t: t, sql: tankSQL, row: tankRow.tank, fields: tankFields}
}

// Tank gives one tank.
func (db *DB) Tank(ctx context.Context, s tx.Scope, id uuid.UUID) (fleet.Tank, error) {
	return get(ctx, db, s, named("tank", id, tankRow.tank), `
	SELECT`+tankColumns+`
	FROM tank
	WHERE org_id = $1 AND id = $2`)
}

// Tanks lists tanks by id.
func (db *DB) Tanks(ctx context.Context, s tx.Scope, f fleet.TankFilter, p resource.Paging) (resource.Page[fleet.Tank], error) {
	return list(ctx, asked{db, s, p}, tankRow.tank, `
	SELECT`+tankColumns+`
	FROM tank
	WHERE org_id = $1 AND id > $2 AND (archived_at IS NOT NULL) = $4
		AND ($5::uuid IS NULL OR site_id = $5)
		AND ($6::text IS NULL OR kind = $6)
		AND ($7::text IS NULL OR status = $7)
	ORDER BY id
	LIMIT $3`, nilable(f.Site), nonEmpty(string(f.Kind)), nonEmpty(string(f.Status)))
}

func nonEmpty(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

type equipmentRow struct {
	metaRow
	TankID      uuid.UUID
	Kind        string
	Label       string
	PowerW      *float64 `db:"power_w"`
	InstalledOn *time.Time
	Note        string
}

func (r equipmentRow) equipment() fleet.Equipment {
	return fleet.Equipment{Meta: r.meta(), Fields: fleet.EquipmentFields{
		TankID: r.TankID, Kind: r.Kind, Label: r.Label, PowerW: r.PowerW, InstalledOn: dayPtrFromSQL(r.InstalledOn), Note: r.Note,
	}}
}

const equipmentColumns = `
		id,
		version,
		created_at,
		updated_at,
		archived_at,
		tank_id,
		kind,
		label,
		power_w,
		installed_on,
		note`

var equipmentSQL = statements{
	resource: "equipment",
	insert: `
	INSERT INTO equipment (
		org_id,
		id,
		version,
		created_at,
		updated_at,
		create_hash,
		tank_id,
		kind,
		label,
		power_w,
		installed_on,
		note
	)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)
	ON CONFLICT (org_id, id) DO NOTHING`,
	save: `
	UPDATE equipment
	SET
		version = $3,
		updated_at = $4,
		archived_at = $5,
		tank_id = $6,
		kind = $7,
		label = $8,
		power_w = $9,
		installed_on = $10,
		note = $11
	WHERE org_id = $1 AND id = $2`,
	load: `
	SELECT` + equipmentColumns + `
	FROM equipment
	WHERE org_id = $1 AND id = $2
	FOR NO KEY UPDATE`,
	hash: `SELECT create_hash FROM equipment WHERE org_id = $1 AND id = $2`,
}

// Equipment gives the store of equipment in this transaction.
func (t *Tx) Equipment() resource.Store[fleet.EquipmentFields] {
	return store[fleet.EquipmentFields, equipmentRow]{
		t: t, sql: equipmentSQL, row: equipmentRow.equipment,
		fields: func(f fleet.EquipmentFields) []any {
			return []any{f.TankID, f.Kind, f.Label, f.PowerW, dayPtrToSQL(f.InstalledOn), f.Note}
		},
	}
}

// Equipment gives one device or valve.
func (db *DB) Equipment(ctx context.Context, s tx.Scope, id uuid.UUID) (fleet.Equipment, error) {
	return get(ctx, db, s, named("equipment", id, equipmentRow.equipment), `
	SELECT`+equipmentColumns+`
	FROM equipment
	WHERE org_id = $1 AND id = $2`)
}

// EquipmentList lists equipment by id.
func (db *DB) EquipmentList(ctx context.Context, s tx.Scope, f fleet.EquipmentFilter, p resource.Paging) (resource.Page[fleet.Equipment], error) {
	return list(ctx, asked{db, s, p}, equipmentRow.equipment, `
	SELECT`+equipmentColumns+`
	FROM equipment
	WHERE org_id = $1 AND id > $2 AND (archived_at IS NOT NULL) = $4
		AND ($5::uuid IS NULL OR tank_id = $5)
		AND ($6::text IS NULL OR kind = $6)
	ORDER BY id
	LIMIT $3`, nilable(f.Tank), nonEmpty(f.Kind))
}
