package repo

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"tankward/service/care"
	"tankward/service/visits"
)

// LoadVisit implements visits.Tx.
func (t *Tx) LoadVisit(ctx context.Context, id uuid.UUID) (visits.Visit, error) {
	return loadOne(ctx, t, named("visit", id, visitRow.visit), `
	SELECT`+visitColumns+`
	FROM visit d
	JOIN member m ON m.org_id = d.org_id AND m.id = d.member_id
	WHERE d.org_id = $1 AND d.id = $2
	FOR NO KEY UPDATE OF d`, t.org, id)
}

// visitArrays are the arrays that visits are written from, one entry a visit.
type visitArrays struct {
	ids, sites, members          []uuid.UUID
	versions, positions          []int32
	days, created, updated       []time.Time
	states                       []string
	arrive, begin, depart        []*time.Time
	started, finished            []*time.Time
	service, driveMinutes, drive []int32
}

func (a *visitArrays) add(v visits.Visit) {
	a.ids, a.sites, a.members = append(a.ids, v.ID), append(a.sites, v.Site.ID), append(a.members, v.MemberID)
	a.versions, a.positions = append(a.versions, int32(v.Version)), append(a.positions, int32(v.Position)) //nolint:gosec // small counts
	a.days, a.created, a.updated = append(a.days, dayToSQL(v.Day)), append(a.created, v.CreatedAt), append(a.updated, v.UpdatedAt)
	a.states = append(a.states, string(v.State))
	a.arrive, a.begin, a.depart = append(a.arrive, timeOrNull(v.ArriveAt)), append(a.begin, timeOrNull(v.BeginAt)), append(a.depart, timeOrNull(v.DepartAt))
	a.started, a.finished = append(a.started, v.StartedAt), append(a.finished, v.FinishedAt)
	a.service = append(a.service, int32(v.ServiceMinutes))          //nolint:gosec // minutes of a day
	a.driveMinutes = append(a.driveMinutes, int32(v.Drive.Minutes)) //nolint:gosec // minutes of a day
	a.drive = append(a.drive, int32(v.Drive.Metres))                //nolint:gosec // less than the way around the earth
}

func timeOrNull(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}

const insertVisits = `
	INSERT INTO visit (
		org_id,
		id,
		version,
		site_id,
		day,
		member_id,
		state,
		position,
		arrive_at,
		begin_at,
		depart_at,
		service_minutes,
		drive_minutes,
		drive_m,
		started_at,
		finished_at,
		created_at,
		updated_at
	)
	SELECT
		$1,
		v.id,
		v.version,
		v.site_id,
		v.day,
		v.member_id,
		v.state,
		v.position,
		v.arrive_at,
		v.begin_at,
		v.depart_at,
		v.service_minutes,
		v.drive_minutes,
		v.drive_m,
		v.started_at,
		v.finished_at,
		v.created_at,
		v.updated_at
	FROM unnest(
		$2::uuid[], $3::integer[], $4::uuid[], $5::date[], $6::uuid[], $7::text[], $8::integer[], $9::timestamptz[], $10::timestamptz[],
		$11::timestamptz[], $12::integer[], $13::integer[], $14::integer[], $15::timestamptz[], $16::timestamptz[], $17::timestamptz[], $18::timestamptz[]
	) AS v (
		id, version, site_id, day, member_id, state, position, arrive_at, begin_at,
		depart_at, service_minutes, drive_minutes, drive_m, started_at, finished_at, created_at, updated_at
	)`

// InsertVisits implements visits.Tx.
func (t *Tx) InsertVisits(ctx context.Context, vs []visits.Visit) error {
	if len(vs) == 0 {
		return nil
	}
	var a visitArrays
	items := map[uuid.UUID][]visits.Item{}
	for _, v := range vs {
		a.add(v)
		items[v.ID] = v.Items
	}
	_, err := t.tx.Exec(ctx, insertVisits, t.org, a.ids, a.versions, a.sites, a.days, a.members, a.states, a.positions, a.arrive, a.begin,
		a.depart, a.service, a.driveMinutes, a.drive, a.started, a.finished, a.created, a.updated)
	if err != nil {
		return translate("insert visits", err)
	}
	return t.InsertItems(ctx, items)
}

const saveVisits = `
	UPDATE visit d
	SET
		version = v.version,
		state = v.state,
		arrive_at = v.arrive_at,
		begin_at = v.begin_at,
		depart_at = v.depart_at,
		service_minutes = v.service_minutes,
		drive_minutes = v.drive_minutes,
		drive_m = v.drive_m,
		started_at = v.started_at,
		finished_at = v.finished_at,
		updated_at = v.updated_at
	FROM unnest(
		$2::uuid[], $3::integer[], $4::text[], $5::timestamptz[], $6::timestamptz[], $7::timestamptz[], $8::integer[], $9::integer[],
		$10::integer[], $11::timestamptz[], $12::timestamptz[], $13::timestamptz[]
	) AS v (
		id, version, state, arrive_at, begin_at, depart_at, service_minutes, drive_minutes,
		drive_m, started_at, finished_at, updated_at
	)
	WHERE d.org_id = $1 AND d.id = v.id`

// SaveVisits implements visits.Tx.
func (t *Tx) SaveVisits(ctx context.Context, vs []visits.Visit) error {
	if len(vs) == 0 {
		return nil
	}
	var a visitArrays
	for _, v := range vs {
		a.add(v)
	}
	_, err := t.tx.Exec(ctx, saveVisits, t.org, a.ids, a.versions, a.states, a.arrive, a.begin, a.depart, a.service, a.driveMinutes,
		a.drive, a.started, a.finished, a.updated)
	return translate("save visits", err)
}

const insertItems = `
	INSERT INTO visit_item (
		org_id,
		visit_id,
		routine_id,
		nominal_due,
		ordinal,
		added_later,
		earliest,
		due,
		latest,
		late_since,
		state,
		done_percent,
		no_access_count,
		level_percent,
		facts
	)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15)`

// InsertItems implements visits.Tx.
func (t *Tx) InsertItems(ctx context.Context, items map[uuid.UUID][]visits.Item) error {
	b := &pgx.Batch{}
	for visit, list := range items {
		for _, it := range list {
			facts, err := factsToJSON(it.Facts)
			if err != nil {
				return fmt.Errorf("encode facts: %w", err)
			}
			b.Queue(insertItems, t.org, visit, it.Routine.ID, dayToSQL(it.NominalDue), it.Ordinal, it.AddedLater,
				sqlBound(it.Earliest), sqlBound(it.Due), sqlBound(it.Latest), dayOrNull(it.LateSince), string(it.State),
				it.DonePercent, it.NoAccessCount, it.Level, facts)
		}
	}
	if b.Len() == 0 {
		return nil
	}
	return translate("insert items of visits", t.tx.SendBatch(ctx, b).Close())
}

// dayOrNull stores the zero day, which stands for none, as NULL.
func dayOrNull(d care.Day) *time.Time {
	if d == 0 {
		return nil
	}
	return dayPtrToSQL(&d)
}
