package repo

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/resource"
	"tankward/service/tx"
	"tankward/service/work"
)

type waitJSON struct {
	MinMinutes int           `json:"min_minutes"`
	MaxMinutes int           `json:"max_minutes"`
	Presence   work.Presence `json:"presence"`
}

type materialJSON struct {
	Material string  `json:"material"`
	Label    string  `json:"label,omitempty"`
	Quantity float64 `json:"quantity"`
	Unit     string  `json:"unit"`
}

func materialsToJSON(in []work.Material) []materialJSON {
	out := make([]materialJSON, len(in))
	for i, m := range in {
		out[i] = materialJSON(m)
	}
	return out
}

func materialsFromJSON(in []materialJSON) []work.Material {
	var out []work.Material
	for _, m := range in {
		out = append(out, work.Material(m))
	}
	return out
}

// revisionRow is what a routine says from a day on.
type revisionRow struct {
	FromDay          time.Time
	PerformedBy      string
	CadenceKind      string
	Every            *int
	Unit             *string
	Rule             *string
	OnDay            *time.Time
	ParentID         *uuid.UUID
	GapUnit          *string
	GapLeast         *int
	GapGreatest      *int
	RampLightID      *uuid.UUID
	RampFromPercent  *float64
	RampToPercent    *float64
	RampDays         *int
	RampStepDays     *int
	RampCurve        *string
	RampGreatestRise *float64
	DaysEarly        int
	DaysLate         int
	ActiveMonths     int16
}

const revisionColumns = `
		v.from_day,
		v.performed_by,
		v.cadence_kind,
		v.every,
		v.unit,
		v.rule,
		v.on_day,
		v.parent_id,
		v.gap_unit,
		v.gap_least,
		v.gap_greatest,
		v.ramp_light_id,
		v.ramp_from_percent,
		v.ramp_to_percent,
		v.ramp_days,
		v.ramp_step_days,
		v.ramp_curve,
		v.ramp_greatest_rise,
		v.days_early,
		v.days_late,
		v.active_months`

func zeroOr[T any](p *T) T {
	if p == nil {
		var zero T
		return zero
	}
	return *p
}

func (r revisionRow) cadence() (care.Cadence, error) {
	c := care.Cadence{Kind: care.CadenceKind(r.CadenceKind)}
	switch c.Kind {
	case care.Interval:
		c.Every, c.Unit = zeroOr(r.Every), care.Unit(zeroOr(r.Unit))
	case care.Calendar:
		rule, err := care.ParseRule(zeroOr(r.Rule))
		if err != nil {
			return c, fmt.Errorf("stored rule %q: %w", zeroOr(r.Rule), err)
		}
		c.Rule = rule
	case care.Once:
		c.On = dayFromSQL(zeroOr(r.OnDay))
	case care.Joined:
		c.Parent = orNil(r.ParentID)
		c.Gap = care.Gap{Unit: care.Unit(zeroOr(r.GapUnit)), Least: zeroOr(r.GapLeast), Greatest: zeroOr(r.GapGreatest)}
	case care.OnRamp:
		c.Ramp = &care.RampPlan{
			From: zeroOr(r.RampFromPercent), To: zeroOr(r.RampToPercent), Days: zeroOr(r.RampDays), StepDays: zeroOr(r.RampStepDays),
			Curve: care.Curve(zeroOr(r.RampCurve)), GreatestRise: zeroOr(r.RampGreatestRise),
		}
	}
	return c, nil
}

func (r revisionRow) revision() (care.Revision, error) {
	c, err := r.cadence()
	return care.Revision{
		From: dayFromSQL(r.FromDay), Performer: care.Performer(r.PerformedBy), Cadence: c,
		DaysEarly: r.DaysEarly, DaysLate: r.DaysLate, Months: care.MonthSet(r.ActiveMonths),
	}, err
}

type routineRow struct {
	metaRow
	SiteID           uuid.UUID
	TankID           uuid.UUID
	EquipmentID      *uuid.UUID
	LivestockID      *uuid.UUID
	Name             string
	WorkKind         string
	ConsequenceClass int8
	PartOfDay        string
	ActiveMinutes    int
	Waits            []waitJSON
	Materials        []materialJSON
	Skill            string
	FirstDay         time.Time
	LastDay          *time.Time
	CatchUp          string
	revisionRow
}

// routine converts a row; a stored rule was parsed before it was saved, so one
// that no longer parses means the store was changed by hand.
func (r routineRow) routine() work.Routine {
	rev, err := r.revision()
	if err != nil {
		panic(err)
	}
	f := work.RoutineFields{
		TankID: r.TankID, SiteID: r.SiteID, EquipmentID: orNil(r.EquipmentID), LivestockID: orNil(r.LivestockID),
		Name: r.Name, WorkKind: care.WorkKind(r.WorkKind), Class: care.Class(r.ConsequenceClass), PartOfDay: r.PartOfDay,
		ActiveMinutes: r.ActiveMinutes, Materials: materialsFromJSON(r.Materials), Skill: r.Skill,
		FirstDay: dayFromSQL(r.FirstDay), LastDay: dayPtrFromSQL(r.LastDay), CatchUp: care.CatchUp(r.CatchUp),
		PerformedBy: rev.Performer, Cadence: rev.Cadence, RampLight: orNil(r.RampLightID),
		DaysEarly: rev.DaysEarly, DaysLate: rev.DaysLate, ActiveMonths: rev.Months, FromDay: rev.From,
	}
	for _, w := range r.Waits {
		f.Waits = append(f.Waits, work.Wait(w))
	}
	return work.Routine{Meta: r.meta(), Fields: f}
}

func routineFields(f work.RoutineFields) []any {
	waits := make([]waitJSON, len(f.Waits))
	for i, w := range f.Waits {
		waits[i] = waitJSON(w)
	}
	c := f.Cadence
	var p care.RampPlan
	if c.Ramp != nil {
		p = *c.Ramp
	}
	ramp, joined := c.Kind == care.OnRamp, c.Kind == care.Joined
	return []any{
		f.SiteID, f.TankID, nilable(f.EquipmentID), nilable(f.LivestockID), f.Name, string(f.WorkKind), int16(f.Class), f.PartOfDay,
		f.ActiveMinutes, waits, materialsToJSON(f.Materials), f.Skill, dayToSQL(f.FirstDay), dayPtrToSQL(f.LastDay), string(f.CatchUp),
		dayToSQL(f.FromDay), string(f.PerformedBy), string(c.Kind),
		when(c.Kind == care.Interval, c.Every), when(c.Kind == care.Interval, string(c.Unit)),
		ruleText(c), when(c.Kind == care.Once, c.On.Time()),
		when(joined, c.Parent), when(joined, string(c.Gap.Unit)), when(joined, c.Gap.Least), when(joined, c.Gap.Greatest),
		nilable(f.RampLight), when(ramp, p.From), when(ramp, p.To), when(ramp, p.Days), when(ramp, p.StepDays),
		when(ramp, string(p.Curve)), when(ramp, p.GreatestRise), f.DaysEarly, f.DaysLate, int16(f.ActiveMonths),
	}
}

func ruleText(c care.Cadence) *string {
	if c.Kind != care.Calendar {
		return nil
	}
	text := c.Rule.String()
	return &text
}

// when gives a value that is stored only if it belongs to the cadence.
func when[T any](belongs bool, v T) *T {
	if !belongs {
		return nil
	}
	return &v
}

const routineColumns = `
		r.id,
		r.version,
		r.created_at,
		r.updated_at,
		r.archived_at,
		r.site_id,
		r.tank_id,
		r.equipment_id,
		r.livestock_id,
		r.name,
		r.work_kind,
		r.consequence_class,
		r.part_of_day,
		r.active_minutes,
		r.waits,
		r.materials,
		r.skill,
		r.first_day,
		r.last_day,
		r.catch_up,` + revisionColumns

// newestRevision joins what a routine says now.
const newestRevision = `
	JOIN LATERAL (
		SELECT` + revisionColumns + `
		FROM routine_revision v
		WHERE v.org_id = r.org_id AND v.routine_id = r.id
		ORDER BY v.from_day DESC
		LIMIT 1
	) v ON true`

// writeRevision ends the statements that write a routine: the revision of a day
// replaces what was entered earlier on that day.
const writeRevision = `
	INSERT INTO routine_revision (
		org_id,
		routine_id,
		tank_id,
		actor_id,
		from_day,
		performed_by,
		cadence_kind,
		every,
		unit,
		rule,
		on_day,
		parent_id,
		gap_unit,
		gap_least,
		gap_greatest,
		ramp_light_id,
		ramp_from_percent,
		ramp_to_percent,
		ramp_days,
		ramp_step_days,
		ramp_curve,
		ramp_greatest_rise,
		days_early,
		days_late,
		active_months
	)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22, $23, $24, $25)
	ON CONFLICT (org_id, routine_id, from_day) DO UPDATE
	SET
		actor_id = excluded.actor_id,
		performed_by = excluded.performed_by,
		cadence_kind = excluded.cadence_kind,
		every = excluded.every,
		unit = excluded.unit,
		rule = excluded.rule,
		on_day = excluded.on_day,
		parent_id = excluded.parent_id,
		gap_unit = excluded.gap_unit,
		gap_least = excluded.gap_least,
		gap_greatest = excluded.gap_greatest,
		ramp_light_id = excluded.ramp_light_id,
		ramp_from_percent = excluded.ramp_from_percent,
		ramp_to_percent = excluded.ramp_to_percent,
		ramp_days = excluded.ramp_days,
		ramp_step_days = excluded.ramp_step_days,
		ramp_curve = excluded.ramp_curve,
		ramp_greatest_rise = excluded.ramp_greatest_rise,
		days_early = excluded.days_early,
		days_late = excluded.days_late,
		active_months = excluded.active_months`

const insertRoutine = `
	INSERT INTO routine (
		org_id,
		id,
		version,
		created_at,
		updated_at,
		create_hash,
		site_id,
		tank_id,
		equipment_id,
		livestock_id,
		name,
		work_kind,
		consequence_class,
		part_of_day,
		active_minutes,
		waits,
		materials,
		skill,
		first_day,
		last_day,
		catch_up
	)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21)
	ON CONFLICT (org_id, id) DO NOTHING`

const saveRoutine = `
	UPDATE routine
	SET
		version = $3,
		updated_at = $4,
		archived_at = $5,
		site_id = $6,
		tank_id = $7,
		equipment_id = $8,
		livestock_id = $9,
		name = $10,
		work_kind = $11,
		consequence_class = $12,
		part_of_day = $13,
		active_minutes = $14,
		waits = $15,
		materials = $16,
		skill = $17,
		first_day = $18,
		last_day = $19,
		catch_up = $20
	WHERE org_id = $1 AND id = $2`

// fixedFields is how many of routineFields belong to the routine itself; the
// rest are its revision's.
const fixedFields = 15

// routineStore writes a routine's revision with it.
type routineStore struct {
	store[work.RoutineFields, routineRow]
}

// Routines gives the store of routines in this transaction.
func (t *Tx) Routines() resource.Store[work.RoutineFields] {
	return routineStore{store[work.RoutineFields, routineRow]{
		t: t, row: routineRow.routine,
		fields: func(f work.RoutineFields) []any { return routineFields(f)[:fixedFields] },
		sql: statements{
			resource: "routine", insert: insertRoutine, save: saveRoutine,
			load: `
	SELECT` + routineColumns + `
	FROM routine r` + newestRevision + `
	WHERE r.org_id = $1 AND r.id = $2
	FOR NO KEY UPDATE OF r`,
			hash: `SELECT create_hash FROM routine WHERE org_id = $1 AND id = $2`,
		},
	}}
}

// Insert implements resource.Store.
func (s routineStore) Insert(ctx context.Context, r work.Routine, hash [32]byte) (bool, error) {
	added, err := s.store.Insert(ctx, r, hash)
	if err != nil || !added {
		return added, err
	}
	return true, s.saveRevision(ctx, r)
}

// Save implements resource.Store.
func (s routineStore) Save(ctx context.Context, r work.Routine) error {
	if err := s.store.Save(ctx, r); err != nil {
		return err
	}
	return s.saveRevision(ctx, r)
}

func (s routineStore) saveRevision(ctx context.Context, r work.Routine) error {
	_, err := s.t.tx.Exec(ctx, writeRevision, revisionArgs(s.t, r)...)
	return translate("save revision", err)
}

func revisionArgs(t *Tx, r work.Routine) []any {
	return append([]any{t.org, r.ID, r.Fields.TankID, t.actor}, routineFields(r.Fields)[fixedFields:]...)
}

// Routine gives one routine.
func (db *DB) Routine(ctx context.Context, s tx.Scope, id uuid.UUID) (work.Routine, error) {
	return get(ctx, db, s, named("routine", id, routineRow.routine), `
	SELECT`+routineColumns+`
	FROM routine r`+newestRevision+`
	WHERE r.org_id = $1 AND r.id = $2`)
}

// Routines lists routines by id.
func (db *DB) Routines(ctx context.Context, s tx.Scope, f work.RoutineFilter, p resource.Paging) (resource.Page[work.Routine], error) {
	return list(ctx, asked{db, s, p}, routineRow.routine, `
	SELECT`+routineColumns+`
	FROM routine r`+newestRevision+`
	WHERE r.org_id = $1 AND r.id > $2 AND (r.archived_at IS NOT NULL) = $4
		AND ($5::uuid IS NULL OR r.tank_id = $5)
		AND ($6::uuid IS NULL OR r.site_id = $6)
		AND ($7::text IS NULL OR r.work_kind = $7)
		AND ($8::text IS NULL OR v.performed_by = $8)
	ORDER BY r.id
	LIMIT $3`, nilable(f.Tank), nilable(f.Site), nonEmpty(string(f.WorkKind)), nonEmpty(string(f.PerformedBy)))
}

type revisionListRow struct {
	ActorID uuid.UUID
	revisionRow
}

// Revisions lists what a routine said, the oldest first.
func (db *DB) Revisions(ctx context.Context, s tx.Scope, routine uuid.UUID) ([]work.RevisionView, int64, error) {
	var head int64
	var out []work.RevisionView
	var failed error
	err := db.read(ctx, s, query{selectHead, []any{s.Org}, value(&head)}, query{`
	SELECT
		v.actor_id,` + revisionColumns + `
	FROM routine_revision v
	WHERE v.org_id = $1 AND v.routine_id = $2
	ORDER BY v.from_day`, []any{s.Org, routine}, into(&out, func(r revisionListRow) work.RevisionView {
		rev, err := r.revision()
		failed = errors.Join(failed, err)
		return work.RevisionView{Revision: rev, Actor: r.ActorID, RampLight: orNil(r.RampLightID)}
	})})
	if err == nil && len(out) == 0 {
		err = fault.NoSuch("routine", routine)
	}
	return out, head, errors.Join(err, failed)
}
