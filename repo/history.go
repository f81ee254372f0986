package repo

import (
	"context"
	"errors"
	"time"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/care/caution"
	"tankward/service/mark"
	"tankward/service/stock"
	"tankward/service/tx"
	"tankward/service/work"
)

// planRow is a routine in use with its site's zone and access.
type planRow struct {
	routineRow
	TimeZone          string
	NoAccessWeekdays  int16
	NoAccessEnteredOn time.Time
	FollowsID         *uuid.UUID
	livesRow
}

// followsColumn is the routine that a routine is or was joined to: its history
// needs the parent's even when a later revision goes its own way.
const followsColumn = `
		(
			SELECT j.parent_id
			FROM routine_revision j
			WHERE j.org_id = r.org_id AND j.routine_id = r.id AND j.parent_id IS NOT NULL
			ORDER BY j.from_day DESC
			LIMIT 1
		) AS follows_id`

// livesRow is which species live in a tank: codes of the catalogue, and the
// cautions of the organisation's own.
type livesRow struct {
	LivesCodes    []string
	LivesCautions [][]cautionJSON
}

const livesColumns = `
		ARRAY (
			SELECT DISTINCT l.species_code
			FROM livestock l
			WHERE l.org_id = r.org_id AND l.tank_id = r.tank_id AND l.count > 0 AND l.archived_at IS NULL
				AND l.species_code IS NOT NULL
			ORDER BY l.species_code
		) AS lives_codes,
		coalesce((
			SELECT jsonb_agg(o.cautions ORDER BY o.id)
			FROM livestock l
			JOIN species o ON o.org_id = l.org_id AND o.id = l.species_own
			WHERE l.org_id = r.org_id AND l.tank_id = r.tank_id AND l.count > 0 AND l.archived_at IS NULL
				AND o.cautions <> '[]'
		), '[]') AS lives_cautions`

func (r livesRow) cautions() []caution.Caution {
	var out []caution.Caution
	for _, code := range r.LivesCodes {
		if s, ok := stock.ByCode(code); ok {
			out = append(out, s.Cautions...)
		}
	}
	for _, own := range r.LivesCautions {
		for _, c := range own {
			out = append(out, caution.Caution{Code: c.Code, Text: c.Text, Mark: mark.Mark(c.Mark), Source: c.Source})
		}
	}
	return out
}

const planColumns = routineColumns + `,
		s.time_zone,
		s.no_access_weekdays,
		s.no_access_entered_on,` + followsColumn + `,` + livesColumns

// inUse joins a routine with its tank and site, and leaves out what is archived.
const inUse = `
	FROM routine r` + newestRevision + `
	JOIN tank t ON t.org_id = r.org_id AND t.id = r.tank_id
	JOIN site s ON s.org_id = r.org_id AND s.id = r.site_id
	WHERE r.org_id = $1 AND r.archived_at IS NULL AND t.archived_at IS NULL`

// selectChain finds a routine with all that it follows and all that follows it.
const selectChain = `
	WITH RECURSIVE link AS (
		SELECT DISTINCT
			v.routine_id,
			v.parent_id
		FROM routine_revision v
		JOIN routine own ON own.org_id = v.org_id AND own.id = $2
		WHERE v.org_id = $1 AND v.tank_id = own.tank_id AND v.parent_id IS NOT NULL
	), up (id) AS (
		SELECT $2::uuid
		UNION
		SELECT link.parent_id
		FROM up
		JOIN link ON link.routine_id = up.id
	), down (id) AS (
		SELECT $2::uuid
		UNION
		SELECT link.routine_id
		FROM down
		JOIN link ON link.parent_id = down.id
	)
	SELECT` + planColumns + inUse + `
		AND r.id IN (SELECT id FROM up UNION SELECT id FROM down)
	ORDER BY r.id`

const selectPlansOfTank = `SELECT` + planColumns + inUse + ` AND r.tank_id = $2 ORDER BY r.id`

const selectPlansOfSite = `SELECT` + planColumns + inUse + ` AND r.site_id = $2 ORDER BY r.id`

const selectAllPlans = `SELECT` + planColumns + inUse + ` ORDER BY r.id`

// selectPlansFor takes ids, or NULL for all that fit the filters; the parents
// of chosen routines come with them.
const selectPlansFor = `
	WITH RECURSIVE chosen (id) AS (
		SELECT r.id` + inUse + `
			AND ($2::uuid[] IS NULL OR r.id = ANY ($2))
			AND ($3::uuid IS NULL OR r.site_id = $3)
			AND ($4::uuid IS NULL OR r.tank_id = $4)
			AND ($5::text IS NULL OR r.work_kind = $5)
			AND ($6::text IS NULL OR v.performed_by = $6)
			AND ($7::uuid IS NULL OR s.responsible_member_id = $7)
	), family (id) AS (
		SELECT id
		FROM chosen
		UNION
		SELECT v.parent_id
		FROM family
		JOIN routine_revision v ON v.org_id = $1 AND v.routine_id = family.id
		WHERE v.parent_id IS NOT NULL
	)
	SELECT` + planColumns + `,
		EXISTS (SELECT FROM chosen WHERE chosen.id = r.id) AS chosen` + inUse + `
		AND r.id IN (SELECT id FROM family)
	ORDER BY r.id`

type chosenRow struct {
	planRow
	Chosen bool
}

// Histories implements work.Tx.
func (t *Tx) Histories(ctx context.Context, sel work.Selection) ([]work.Plan, error) {
	sql, args := selectAllPlans, []any{t.org}
	switch {
	case sel.Routine != uuid.Nil:
		sql, args = selectChain, append(args, sel.Routine)
	case sel.Tank != uuid.Nil:
		sql, args = selectPlansOfTank, append(args, sel.Tank)
	case sel.Site != uuid.Nil:
		sql, args = selectPlansOfSite, append(args, sel.Site)
	}
	var rows []planRow
	if err := t.read(ctx, query{sql, args, into(&rows, func(r planRow) planRow { return r })}); err != nil {
		return nil, err
	}
	return fillPlans(ctx, t.read, t.org, rows, sel.Since)
}

// Plans implements work.Reads.
func (db *DB) Plans(ctx context.Context, s tx.Scope, ids []uuid.UUID, f work.DueFilter, all bool) ([]work.Plan, int64, error) {
	var head int64
	var rows []chosenRow
	var named any
	if ids != nil {
		named = ids
	}
	read := db.reader(s)
	err := read(ctx,
		query{selectHead, []any{s.Org}, value(&head)},
		query{selectPlansFor, []any{
			s.Org, named, nilable(f.Site), nilable(f.Tank), nonEmpty(string(f.WorkKind)), nonEmpty(string(f.PerformedBy)), nilable(f.Member),
		}, into(&rows, func(r chosenRow) chosenRow { return r })})
	if err != nil {
		return nil, 0, err
	}
	since := care.MaxDay
	if all {
		since = care.MinDay
	}
	family := make([]planRow, len(rows))
	chosen := map[uuid.UUID]bool{}
	for i, r := range rows {
		family[i], chosen[r.ID] = r.planRow, r.Chosen
	}
	plans, err := fillPlans(ctx, read, s.Org, family, since)
	if err != nil {
		return nil, 0, err
	}
	// A new slice: histories point at their parents in the old one.
	out := make([]work.Plan, 0, len(plans))
	for _, p := range plans {
		if chosen[p.Routine.ID] {
			out = append(out, p)
		}
	}
	return out, head, nil
}

type historyRevisionRow struct {
	RoutineID uuid.UUID
	revisionRow
}

type historyRecordRow struct {
	RoutineID       uuid.UUID
	ID              uuid.UUID
	DoneOn          time.Time
	Result          string
	SharePercent    *int
	NamedNominalDue *time.Time
	NamedOrdinal    *int
	WithJoined      bool
	NewDueOn        *time.Time
	LevelPercent    *float64
}

func (r historyRecordRow) record() care.Record {
	out := care.Record{
		ID: r.ID, DoneOn: dayFromSQL(r.DoneOn), Result: care.Result(r.Result), Share: zeroOr(r.SharePercent),
		WithJoined: r.WithJoined, Level: zeroOr(r.LevelPercent),
	}
	if r.NamedNominalDue != nil {
		out.Names = &care.Identity{NominalDue: dayFromSQL(*r.NamedNominalDue), Ordinal: zeroOr(r.NamedOrdinal)}
	}
	if r.NewDueOn != nil {
		out.NewDueOn = dayFromSQL(*r.NewDueOn)
	}
	return out
}

// selectSeeds finds, per routine, the last record before its bound that closed
// an item which no change of the routine had found open, and the closed items that may still stand in the way of a later one.
// It walks the newest records backwards, so its cost does not grow with years
// of history.
const selectSeeds = `
	SELECT
		want.routine_id,
		seed.id,
		seed.done_on,
		seed.result,
		seed.level_percent,
		seed.new_due_on,
		seed.nominal_due,
		seed.ordinal,
		used.nominal_dues AS used_nominal_dues,
		used.ordinals AS used_ordinals
	FROM (
		SELECT
			b.routine_id,
			b.bound,
			(SELECT min(f.from_day) FROM routine_revision f WHERE f.org_id = $1 AND f.routine_id = b.routine_id) AS first_revision,
			(SELECT max(e.days_early) FROM routine_revision e WHERE e.org_id = $1 AND e.routine_id = b.routine_id) AS most_early
		FROM unnest($2::uuid[], $3::date[]) AS b (routine_id, bound)
	) want
	CROSS JOIN LATERAL (
		SELECT
			w.done_on,
			w.id,
			w.result,
			w.level_percent,
			w.new_due_on,
			c.nominal_due,
			c.ordinal
		FROM work_record w
		JOIN item_close c ON c.org_id = w.org_id AND c.record_id = w.id AND c.routine_id = w.routine_id
		WHERE w.org_id = $1 AND w.routine_id = want.routine_id AND w.done_on < want.bound AND w.voided_at IS NULL
			AND NOT EXISTS (
				SELECT
				FROM routine_revision v
				WHERE v.org_id = $1 AND v.routine_id = want.routine_id
					AND v.from_day > want.first_revision
					AND v.from_day >= c.nominal_due - want.most_early
					AND v.from_day <= w.done_on
			)
		ORDER BY w.done_on DESC, w.id DESC
		LIMIT 1
	) seed
	CROSS JOIN LATERAL (
		SELECT
			array_agg(c.nominal_due ORDER BY c.nominal_due, c.ordinal) AS nominal_dues,
			array_agg(c.ordinal ORDER BY c.nominal_due, c.ordinal) AS ordinals
		FROM item_close c
		JOIN work_record w ON w.org_id = c.org_id AND w.id = c.record_id
		WHERE c.org_id = $1 AND c.routine_id = want.routine_id
			AND c.nominal_due >= least(seed.done_on, seed.nominal_due)
			AND (w.done_on, w.id) <= (seed.done_on, seed.id)
	) used`

type seedRow struct {
	RoutineID       uuid.UUID
	ID              uuid.UUID
	DoneOn          time.Time
	Result          string
	LevelPercent    *float64
	NewDueOn        *time.Time
	NominalDue      time.Time
	Ordinal         int
	UsedNominalDues []time.Time
	UsedOrdinals    []int32
}

func (r seedRow) seed() *care.Seed {
	s := &care.Seed{
		DoneOn: dayFromSQL(r.DoneOn), RecordID: r.ID, Result: care.Result(r.Result), Level: zeroOr(r.LevelPercent),
		Closed: care.Identity{NominalDue: dayFromSQL(r.NominalDue), Ordinal: r.Ordinal},
	}
	if r.NewDueOn != nil {
		s.NewDueOn = dayFromSQL(*r.NewDueOn)
	}
	for i, d := range r.UsedNominalDues {
		s.Used = append(s.Used, care.Identity{NominalDue: dayFromSQL(d), Ordinal: int(r.UsedOrdinals[i])})
	}
	return s
}

const selectHistoryRecords = `
	SELECT
		r.routine_id,
		r.id,
		r.done_on,
		r.result,
		r.share_percent,
		r.named_nominal_due,
		r.named_ordinal,
		r.with_joined,
		r.new_due_on,
		r.level_percent
	FROM unnest($2::uuid[], $3::date[], $4::uuid[]) AS want (routine_id, seed_on, seed_id)
	JOIN work_record r ON r.org_id = $1 AND r.routine_id = want.routine_id
	WHERE r.voided_at IS NULL
		AND (r.done_on, r.id) > (coalesce(want.seed_on, '-infinity'::date), coalesce(want.seed_id, '00000000-0000-0000-0000-000000000000'::uuid))
	ORDER BY r.done_on, r.id`

const selectHistoryRevisions = `
	SELECT
		v.routine_id,` + revisionColumns + `
	FROM routine_revision v
	WHERE v.org_id = $1 AND v.routine_id = ANY ($2::uuid[])
	ORDER BY v.routine_id, v.from_day`

const selectHistoryClosures = `
	SELECT
		site_id,
		from_day,
		to_day,
		entered_on
	FROM closure
	WHERE org_id = $1 AND archived_at IS NULL AND (site_id IS NULL OR site_id = ANY ($2::uuid[]))
	ORDER BY from_day, id`

type historyClosureRow struct {
	SiteID    *uuid.UUID
	FromDay   time.Time
	ToDay     time.Time
	EnteredOn time.Time
}

const selectHistoryPauses = `
	SELECT
		tank_id,
		routine_id,
		from_day,
		to_day
	FROM pause
	WHERE org_id = $1 AND archived_at IS NULL AND tank_id = ANY ($2::uuid[])
	ORDER BY from_day, id`

type historyPauseRow struct {
	TankID    uuid.UUID
	RoutineID *uuid.UUID
	FromDay   time.Time
	ToDay     *time.Time
}

const selectHistoryRampEvents = `
	SELECT
		routine_id,
		day,
		kind
	FROM ramp_event
	WHERE org_id = $1 AND routine_id = ANY ($2::uuid[])
	ORDER BY day, id`

type historyRampRow struct {
	RoutineID uuid.UUID
	Day       time.Time
	Kind      string
}

// parts is what fillPlans puts together.
type parts struct {
	revisions []historyRevisionRow
	seeds     map[uuid.UUID]*care.Seed
	records   []historyRecordRow
	closures  []historyClosureRow
	pauses    []historyPauseRow
	events    []historyRampRow
}

func same[R any](r R) R { return r }

// fillPlans loads all that decides the due work of routines: two round trips,
// and one more for each step of a chain of joined routines.
func fillPlans(ctx context.Context, read run, org uuid.UUID, rows []planRow, since care.Day) ([]work.Plan, error) {
	if len(rows) == 0 {
		return nil, nil
	}
	ids, sites, tanks := make([]uuid.UUID, len(rows)), make([]uuid.UUID, len(rows)), make([]uuid.UUID, len(rows))
	for i, r := range rows {
		ids[i], sites[i], tanks[i] = r.ID, r.SiteID, r.TankID
	}
	p := parts{seeds: map[uuid.UUID]*care.Seed{}}
	if since != care.MinDay {
		if err := p.loadSeeds(ctx, read, org, rows, since); err != nil {
			return nil, err
		}
	}
	seedOn, seedID := p.seedColumns(ids)
	err := read(ctx,
		query{selectHistoryRevisions, []any{org, ids}, into(&p.revisions, same[historyRevisionRow])},
		query{selectHistoryRecords, []any{org, ids, seedOn, seedID}, into(&p.records, same[historyRecordRow])},
		query{selectHistoryClosures, []any{org, sites}, into(&p.closures, same[historyClosureRow])},
		query{selectHistoryPauses, []any{org, tanks}, into(&p.pauses, same[historyPauseRow])},
		query{selectHistoryRampEvents, []any{org, ids}, into(&p.events, same[historyRampRow])})
	if err != nil {
		return nil, err
	}
	return p.assemble(rows)
}

// loadSeeds finds where each fold may begin. What a joined routine follows has
// to begin before it does, so seeds are looked up from the ends of the chains
// to their heads.
func (p parts) loadSeeds(ctx context.Context, read run, org uuid.UUID, rows []planRow, since care.Day) error {
	bounds := map[uuid.UUID]care.Day{}
	routines := map[uuid.UUID]planRow{}
	for _, r := range rows {
		routines[r.ID], bounds[r.ID] = r, since
	}
	for want := seedable(rows); len(want) > 0; {
		if err := p.lookUpSeeds(ctx, read, org, want, bounds); err != nil {
			return err
		}
		var again []planRow
		for _, r := range rows {
			parent, joined := routines[orNil(r.FollowsID)]
			if !joined {
				continue
			}
			rule := r.routine().Fields.Rule(r.ID)
			if before := care.ParentBefore(rule, p.seeds[r.ID]); before < bounds[parent.ID] {
				bounds[parent.ID] = before
				again = append(again, parent)
			}
		}
		want = seedable(again)
	}
	return nil
}

func seedable(rows []planRow) []planRow {
	var out []planRow
	for _, r := range rows {
		f := r.routine().Fields
		cadence := f.Cadence
		if r.FollowsID != nil {
			cadence = care.Cadence{Kind: care.Joined}
		}
		if care.Seedable(f.Rule(r.ID), cadence) {
			out = append(out, r)
		}
	}
	return out
}

func (p parts) lookUpSeeds(ctx context.Context, read run, org uuid.UUID, want []planRow, bounds map[uuid.UUID]care.Day) error {
	ids, days := make([]uuid.UUID, len(want)), make([]time.Time, len(want))
	for i, r := range want {
		ids[i], days[i] = r.ID, sqlBound(bounds[r.ID])
		delete(p.seeds, r.ID)
	}
	var found []seedRow
	if err := read(ctx, query{selectSeeds, []any{org, ids, days}, into(&found, same[seedRow])}); err != nil {
		return err
	}
	for _, s := range found {
		p.seeds[s.RoutineID] = s.seed()
	}
	return nil
}

func (p parts) seedColumns(ids []uuid.UUID) ([]*time.Time, []*uuid.UUID) {
	on, id := make([]*time.Time, len(ids)), make([]*uuid.UUID, len(ids))
	for i := range ids {
		if s := p.seeds[ids[i]]; s != nil {
			day, record := s.DoneOn.Time(), s.RecordID
			on[i], id[i] = &day, &record
		}
	}
	return on, id
}

// sqlBound keeps an open bound inside what a date column can hold.
func sqlBound(d care.Day) time.Time {
	switch {
	case d <= care.Date(1, time.January, 1):
		return care.Date(1, time.January, 1).Time()
	case d >= care.Date(9999, time.December, 31):
		return care.Date(9999, time.December, 31).Time()
	}
	return d.Time()
}

func (p parts) assemble(rows []planRow) ([]work.Plan, error) {
	byID := make(map[uuid.UUID]*work.Plan, len(rows))
	plans := make([]work.Plan, len(rows))
	for i, r := range rows {
		routine := r.routine()
		plans[i] = work.Plan{Routine: routine, Zone: r.TimeZone, Cautions: r.cautions(), History: care.History{
			Routine: routine.Fields.Rule(r.ID),
			Access:  p.access(r),
			Pauses:  p.pausesOf(r.TankID, r.ID),
			Seed:    p.seeds[r.ID],
		}}
		byID[r.ID] = &plans[i]
	}
	var failed error
	for _, v := range p.revisions {
		rev, err := v.revision()
		failed = errors.Join(failed, err)
		h := &byID[v.RoutineID].History
		h.Revisions = append(h.Revisions, rev)
	}
	for _, r := range p.records {
		h := &byID[r.RoutineID].History
		h.Records = append(h.Records, r.record())
	}
	for _, e := range p.events {
		h := &byID[e.RoutineID].History
		h.RampEvents = append(h.RampEvents, care.RampEvent{Day: dayFromSQL(e.Day), Kind: care.RampEventKind(e.Kind)})
	}
	for i, r := range rows {
		if parent := byID[orNil(r.FollowsID)]; parent != nil {
			plans[i].History.Parent = &parent.History
		}
	}
	return plans, failed
}

// access gives what can move a routine's work: shop and device work is not
// bound to the site's hours.
func (p parts) access(r planRow) care.Access {
	if by := care.Performer(r.PerformedBy); by == care.Shop || by == care.Device {
		return care.Access{}
	}
	a := care.Access{NoAccess: uint8(r.NoAccessWeekdays), NoAccessEntered: dayFromSQL(r.NoAccessEnteredOn)} //nolint:gosec // bits 1 to 7
	for _, c := range p.closures {
		if c.SiteID == nil || *c.SiteID == r.SiteID {
			a.Closures = append(a.Closures, care.Closure{
				Span: care.Span{From: dayFromSQL(c.FromDay), To: dayFromSQL(c.ToDay) + 1}, Entered: dayFromSQL(c.EnteredOn),
			})
		}
	}
	return a
}

func (p parts) pausesOf(tank, routine uuid.UUID) []care.Span {
	var out []care.Span
	for _, r := range p.pauses {
		if r.TankID != tank || r.RoutineID != nil && *r.RoutineID != routine {
			continue
		}
		to := care.MaxDay
		if r.ToDay != nil {
			to = dayFromSQL(*r.ToDay)
		}
		out = append(out, care.Span{From: dayFromSQL(r.FromDay), To: to})
	}
	return out
}
