package repo

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"tankward/service/care"
	"tankward/service/tx"
	"tankward/service/work"
)

// factJSON is a fact as it is stored; empty fields are left out.
type factJSON struct {
	Kind    care.FactKind `json:"kind"`
	Day     care.Day      `json:"day,omitempty"`
	To      care.Day      `json:"to,omitempty"`
	Every   int           `json:"every,omitempty"`
	Unit    care.Unit     `json:"unit,omitempty"`
	Early   int           `json:"early,omitempty"`
	Late    int           `json:"late,omitempty"`
	Percent float64       `json:"percent,omitempty"`
	Count   int           `json:"count,omitempty"`
	Text    string        `json:"text,omitempty"`
	Routine uuid.UUID     `json:"routine,omitzero"`
	Entered care.Day      `json:"entered,omitempty"`
}

func factsToJSON(in []care.Fact) ([]byte, error) {
	out := make([]factJSON, len(in))
	for i, f := range in {
		out[i] = factJSON(f)
	}
	return json.Marshal(out)
}

func factsFromJSON(in []factJSON) []care.Fact {
	var out []care.Fact
	for _, f := range in {
		out = append(out, care.Fact(f))
	}
	return out
}

// dueColumns are the arrays that WriteDue sends, one entry a routine.
type dueColumns struct {
	routines, sites, tanks           []uuid.UUID
	kinds, performers, states, facts []string
	classes                          []int16
	ordinals, noAccess               []int32
	percents                         []int16
	levels                           []float64
	nominal, earliest, due, latest   []time.Time
	lateFrom, nextEarliest           []time.Time
}

func (c *dueColumns) add(p work.Plan, s care.Stored) error {
	facts, err := factsToJSON(s.Item.Facts)
	if err != nil {
		return fmt.Errorf("encode facts: %w", err)
	}
	f, it := p.Routine.Fields, s.Item
	state := ""
	if it.State == care.Waiting || it.State == care.Blocked {
		state = string(it.State)
	}
	c.routines = append(c.routines, p.Routine.ID)
	c.sites, c.tanks = append(c.sites, f.SiteID), append(c.tanks, f.TankID)
	c.kinds, c.performers = append(c.kinds, string(f.WorkKind)), append(c.performers, string(it.PerformedBy(f.PerformedBy)))
	c.states, c.facts = append(c.states, state), append(c.facts, string(facts))
	c.classes = append(c.classes, int16(f.Class))
	c.ordinals, c.noAccess = append(c.ordinals, int32(it.Ordinal)), append(c.noAccess, int32(it.NoAccessCount)) //nolint:gosec // small counts
	c.percents = append(c.percents, int16(it.DonePercent))                                                      //nolint:gosec // 0 to 100
	c.levels = append(c.levels, it.Level)
	c.nominal, c.earliest = append(c.nominal, sqlBound(it.NominalDue)), append(c.earliest, sqlBound(it.Earliest))
	c.due, c.latest = append(c.due, sqlBound(it.Due)), append(c.latest, sqlBound(it.Latest))
	c.lateFrom, c.nextEarliest = append(c.lateFrom, sqlBound(s.LateFrom)), append(c.nextEarliest, sqlBound(s.NextEarliest))
	return nil
}

func (c *dueColumns) args(org uuid.UUID) []any {
	return []any{
		org, c.routines, c.sites, c.tanks, c.kinds, c.performers, c.classes, c.nominal, c.ordinals, c.earliest,
		c.due, c.latest, c.lateFrom, c.nextEarliest, c.states, c.percents, c.noAccess, c.levels, c.facts,
	}
}

const upsertDue = `
	INSERT INTO due_item (
		org_id,
		routine_id,
		site_id,
		tank_id,
		work_kind,
		performed_by,
		consequence_class,
		nominal_due,
		ordinal,
		earliest,
		due,
		latest,
		late_from,
		next_earliest,
		state,
		done_percent,
		no_access_count,
		level_percent,
		facts
	)
	SELECT
		$1,
		d.routine_id,
		d.site_id,
		d.tank_id,
		d.work_kind,
		d.performed_by,
		d.consequence_class,
		d.nominal_due,
		d.ordinal,
		d.earliest,
		d.due,
		d.latest,
		d.late_from,
		d.next_earliest,
		d.state,
		d.done_percent,
		d.no_access_count,
		d.level_percent,
		d.facts::jsonb
	FROM unnest(
		$2::uuid[], $3::uuid[], $4::uuid[], $5::text[], $6::text[], $7::smallint[], $8::date[], $9::integer[], $10::date[],
		$11::date[], $12::date[], $13::date[], $14::date[], $15::text[], $16::smallint[], $17::integer[], $18::double precision[], $19::text[]
	) AS d (
		routine_id, site_id, tank_id, work_kind, performed_by, consequence_class, nominal_due, ordinal, earliest,
		due, latest, late_from, next_earliest, state, done_percent, no_access_count, level_percent, facts
	)
	ON CONFLICT (org_id, routine_id) DO UPDATE
	SET
		work_kind = excluded.work_kind,
		performed_by = excluded.performed_by,
		consequence_class = excluded.consequence_class,
		nominal_due = excluded.nominal_due,
		ordinal = excluded.ordinal,
		earliest = excluded.earliest,
		due = excluded.due,
		latest = excluded.latest,
		late_from = excluded.late_from,
		next_earliest = excluded.next_earliest,
		state = excluded.state,
		done_percent = excluded.done_percent,
		no_access_count = excluded.no_access_count,
		level_percent = excluded.level_percent,
		facts = excluded.facts`

// deleteCloses drops what records after each routine's seed had closed.
const deleteCloses = `
	DELETE FROM item_close c
	USING unnest($2::uuid[], $3::date[], $4::uuid[]) AS want (routine_id, seed_on, seed_id), work_record w
	WHERE c.org_id = $1 AND c.routine_id = want.routine_id
		AND w.org_id = c.org_id AND w.id = c.record_id
		AND (want.seed_on IS NULL OR (w.done_on, w.id) > (want.seed_on, want.seed_id))`

// insertCloses may name an item that the seed's record had closed: finished work
// takes the place of a skip.
const insertCloses = `
	INSERT INTO item_close (org_id, routine_id, nominal_due, ordinal, record_id)
	SELECT
		$1,
		c.routine_id,
		c.nominal_due,
		c.ordinal,
		c.record_id
	FROM unnest($2::uuid[], $3::date[], $4::integer[], $5::uuid[]) AS c (routine_id, nominal_due, ordinal, record_id)
	ON CONFLICT (org_id, routine_id, nominal_due, ordinal) DO UPDATE
	SET record_id = excluded.record_id`

// WriteDue implements work.Tx.
func (t *Tx) WriteDue(ctx context.Context, all []work.Settlement) error {
	if len(all) == 0 {
		return nil
	}
	var c dueColumns
	var ended []uuid.UUID
	for _, s := range all {
		if s.Settled.Stored.None {
			ended = append(ended, s.Plan.Routine.ID)
			continue
		}
		if err := c.add(s.Plan, s.Settled.Stored); err != nil {
			return err
		}
	}
	b := &pgx.Batch{}
	queueCloses(b, t.org, all)
	if len(ended) > 0 {
		b.Queue(`DELETE FROM due_item WHERE org_id = $1 AND routine_id = ANY ($2::uuid[])`, t.org, ended)
	}
	if len(c.routines) > 0 {
		b.Queue(upsertDue, c.args(t.org)...)
	}
	return translate("write due work", t.tx.SendBatch(ctx, b).Close())
}

func queueCloses(b *pgx.Batch, org uuid.UUID, all []work.Settlement) {
	var ids []uuid.UUID
	var seedOn []*time.Time
	var seedID []*uuid.UUID
	var c closeColumns
	for _, s := range all {
		ids = append(ids, s.Plan.Routine.ID)
		var on *time.Time
		var id *uuid.UUID
		if seed := s.Plan.History.Seed; seed != nil {
			day, record := seed.DoneOn.Time(), seed.RecordID
			on, id = &day, &record
		}
		seedOn, seedID = append(seedOn, on), append(seedID, id)
		c.add(s)
	}
	b.Queue(deleteCloses, org, ids, seedOn, seedID)
	if len(c.routines) > 0 {
		b.Queue(insertCloses, c.args(org)...)
	}
}

// closeColumns are the arrays that insertCloses takes, one entry a closed item.
type closeColumns struct {
	routines, records []uuid.UUID
	nominal           []time.Time
	ordinals          []int32
}

func (c *closeColumns) add(s work.Settlement) {
	for _, closed := range s.Settled.Closes {
		c.routines, c.records = append(c.routines, s.Plan.Routine.ID), append(c.records, closed.RecordID)
		c.nominal, c.ordinals = append(c.nominal, dayToSQL(closed.NominalDue)), append(c.ordinals, int32(closed.Ordinal)) //nolint:gosec // small
	}
}

func (c *closeColumns) args(org uuid.UUID) []any {
	return []any{org, c.routines, c.nominal, c.ordinals, c.records}
}

// DropDue implements work.Tx.
func (t *Tx) DropDue(ctx context.Context, routine, tank uuid.UUID) error {
	_, err := t.tx.Exec(ctx, `
	DELETE FROM due_item
	WHERE org_id = $1 AND (routine_id = $2 OR tank_id = $3)`, t.org, nilable(routine), nilable(tank))
	return translate("drop due work", err)
}

// storedRow is the stored due work of a routine.
type storedRow struct {
	NominalDue    time.Time
	Ordinal       int
	Earliest      time.Time
	Due           time.Time
	Latest        time.Time
	LateFrom      time.Time
	NextEarliest  time.Time
	DueState      string
	DonePercent   int
	NoAccessCount int
	LevelPercent  float64
	Facts         []factJSON
}

func (r storedRow) stored() care.Stored {
	return care.Stored{
		Item: care.Item{
			Identity: care.Identity{NominalDue: boundFromSQL(r.NominalDue), Ordinal: r.Ordinal},
			Earliest: boundFromSQL(r.Earliest), Due: boundFromSQL(r.Due), Latest: boundFromSQL(r.Latest),
			State: care.State(r.DueState), DonePercent: r.DonePercent, NoAccessCount: r.NoAccessCount,
			Level: r.LevelPercent, Facts: factsFromJSON(r.Facts),
		},
		LateFrom: boundFromSQL(r.LateFrom), NextEarliest: boundFromSQL(r.NextEarliest),
	}
}

func boundFromSQL(t time.Time) care.Day {
	switch d := dayFromSQL(t); d {
	case care.Date(1, time.January, 1):
		return care.MinDay
	case care.Date(9999, time.December, 31):
		return care.MaxDay
	default:
		return d
	}
}

const storedColumns = `
		d.nominal_due,
		d.ordinal,
		d.earliest,
		d.due,
		d.latest,
		d.late_from,
		d.next_earliest,
		d.state AS due_state,
		d.done_percent,
		d.no_access_count,
		d.level_percent,
		d.facts`

type dueRow struct {
	routineRow
	storedRow
	TimeZone string
	livesRow
}

func (r dueRow) due() work.DueRow {
	return work.DueRow{Routine: r.routine(), Zone: r.TimeZone, Stored: r.stored(), Cautions: r.cautions()}
}

// selectDue reads the page in the stored order; the row comparison is what the
// index is for, and earliest comes from the index too.
const selectDue = `
	SELECT` + routineColumns + `,` + storedColumns + `,
		s.time_zone,` + livesColumns + `
	FROM due_item d
	JOIN routine r ON r.org_id = d.org_id AND r.id = d.routine_id` + newestRevision + `
	JOIN site s ON s.org_id = d.org_id AND s.id = d.site_id
	WHERE d.org_id = $1
		AND (d.earliest <= $2 OR d.state = 'waiting')
		AND ($3::smallint IS NULL OR (d.consequence_class, d.latest, d.tank_id, d.work_kind, d.routine_id, d.nominal_due, d.ordinal)
			> ($3, $4::date, $5::uuid, $6::text, $7::uuid, $8::date, $9::integer))
		AND ($10::uuid IS NULL OR d.site_id = $10)
		AND ($11::uuid IS NULL OR d.tank_id = $11)
		AND ($12::text IS NULL OR d.work_kind = $12)
		AND ($13::text IS NULL OR d.performed_by = $13)
		AND ($14::uuid IS NULL OR s.responsible_member_id = $14)
	ORDER BY
		d.consequence_class,
		d.latest,
		d.tank_id,
		d.work_kind,
		d.routine_id,
		d.nominal_due,
		d.ordinal
	LIMIT $15`

// DueRows implements work.Reads.
func (db *DB) DueRows(ctx context.Context, s tx.Scope, f work.DueFilter, p work.DuePage) ([]work.DueRow, int64, error) {
	args := []any{s.Org, dayToSQL(p.UpTo), nil, nil, nil, nil, nil, nil, nil}
	if after := p.After; after != nil {
		args = []any{
			s.Org, dayToSQL(p.UpTo), int16(after.Class), sqlBound(after.Latest), after.Tank, string(after.Kind),
			after.Routine, sqlBound(after.NominalDue), int32(after.Ordinal), //nolint:gosec // small
		}
	}
	args = append(args, nilable(f.Site), nilable(f.Tank), nonEmpty(string(f.WorkKind)), nonEmpty(string(f.PerformedBy)), nilable(f.Member), p.Limit)
	var head int64
	var out []work.DueRow
	err := db.read(ctx, s,
		query{selectHead, []any{s.Org}, value(&head)},
		query{selectDue, args, into(&out, dueRow.due)})
	return out, head, err
}

type storedByRoutineRow struct {
	RoutineID uuid.UUID
	storedRow
}

type closeRow struct {
	RoutineID  uuid.UUID
	NominalDue time.Time
	Ordinal    int
	RecordID   uuid.UUID
	DoneOn     time.Time
	Result     string
}

// Stored implements work.Reads.
func (db *DB) Stored(ctx context.Context, s tx.Scope) (map[uuid.UUID]care.Stored, map[uuid.UUID][]care.Close, error) {
	var rows []storedByRoutineRow
	var closed []closeRow
	err := db.read(ctx, s,
		query{`
	SELECT
		d.routine_id,` + storedColumns + `
	FROM due_item d
	WHERE d.org_id = $1`, []any{s.Org}, into(&rows, same[storedByRoutineRow])},
		query{`
	SELECT
		c.routine_id,
		c.nominal_due,
		c.ordinal,
		c.record_id,
		w.done_on,
		w.result
	FROM item_close c
	JOIN work_record w ON w.org_id = c.org_id AND w.id = c.record_id
	WHERE c.org_id = $1
	ORDER BY c.routine_id, w.done_on, w.id`, []any{s.Org}, into(&closed, same[closeRow])})
	if err != nil {
		return nil, nil, err
	}
	stored, closes := map[uuid.UUID]care.Stored{}, map[uuid.UUID][]care.Close{}
	for _, r := range rows {
		stored[r.RoutineID] = r.stored()
	}
	for _, r := range closed {
		state := care.DoneState
		if care.Result(r.Result) == care.Skipped {
			state = care.SkippedState
		}
		closes[r.RoutineID] = append(closes[r.RoutineID], care.Close{
			Identity: care.Identity{NominalDue: dayFromSQL(r.NominalDue), Ordinal: r.Ordinal},
			RecordID: r.RecordID, DoneOn: dayFromSQL(r.DoneOn), State: state,
		})
	}
	return stored, closes, nil
}
