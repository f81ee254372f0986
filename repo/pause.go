package repo

import (
	"context"
	"time"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/resource"
	"tankward/service/tx"
	"tankward/service/work"
)

var (
	_ work.Tx    = (*Tx)(nil)
	_ work.Reads = (*DB)(nil)
)

type pauseRow struct {
	metaRow
	TankID    uuid.UUID
	RoutineID *uuid.UUID
	FromDay   time.Time
	ToDay     *time.Time
	Reason    string
}

func (r pauseRow) pause() work.Pause {
	return work.Pause{Meta: r.meta(), Fields: work.PauseFields{
		TankID: r.TankID, RoutineID: orNil(r.RoutineID), From: dayFromSQL(r.FromDay), To: dayPtrFromSQL(r.ToDay), Reason: r.Reason,
	}}
}

const pauseColumns = `
		id,
		version,
		created_at,
		updated_at,
		archived_at,
		tank_id,
		routine_id,
		from_day,
		to_day,
		reason`

var pauseSQL = statements{
	resource: "pause",
	insert: `
	INSERT INTO pause (
		org_id,
		id,
		version,
		created_at,
		updated_at,
		create_hash,
		tank_id,
		routine_id,
		from_day,
		to_day,
		reason
	)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)
	ON CONFLICT (org_id, id) DO NOTHING`,
	save: `
	UPDATE pause
	SET
		version = $3,
		updated_at = $4,
		archived_at = $5,
		tank_id = $6,
		routine_id = $7,
		from_day = $8,
		to_day = $9,
		reason = $10
	WHERE org_id = $1 AND id = $2`,
	load: `
	SELECT` + pauseColumns + `
	FROM pause
	WHERE org_id = $1 AND id = $2
	FOR NO KEY UPDATE`,
	hash: `SELECT create_hash FROM pause WHERE org_id = $1 AND id = $2`,
}

// Pauses gives the store of pauses in this transaction.
func (t *Tx) Pauses() resource.Store[work.PauseFields] {
	return store[work.PauseFields, pauseRow]{
		t: t, sql: pauseSQL, row: pauseRow.pause,
		fields: func(f work.PauseFields) []any {
			return []any{f.TankID, nilable(f.RoutineID), dayToSQL(f.From), dayPtrToSQL(f.To), f.Reason}
		},
	}
}

// OpenPauses implements work.Tx.
func (t *Tx) OpenPauses(ctx context.Context, tank uuid.UUID) ([]work.Pause, error) {
	return loadAll(ctx, t, pauseRow.pause, `
	SELECT`+pauseColumns+`
	FROM pause
	WHERE org_id = $1 AND tank_id = $2 AND routine_id IS NULL AND to_day IS NULL AND archived_at IS NULL
	ORDER BY id
	FOR NO KEY UPDATE`, t.org, tank)
}

// Pause implements work.Reads.
func (db *DB) Pause(ctx context.Context, s tx.Scope, id uuid.UUID) (work.Pause, error) {
	return get(ctx, db, s, named("pause", id, pauseRow.pause), `
	SELECT`+pauseColumns+`
	FROM pause
	WHERE org_id = $1 AND id = $2`)
}

// ListPauses implements work.Reads.
func (db *DB) ListPauses(ctx context.Context, s tx.Scope, tank, routine uuid.UUID, p resource.Paging) (resource.Page[work.Pause], error) {
	return list(ctx, asked{db, s, p}, pauseRow.pause, `
	SELECT`+pauseColumns+`
	FROM pause
	WHERE org_id = $1 AND id > $2 AND (archived_at IS NOT NULL) = $4
		AND ($5::uuid IS NULL OR tank_id = $5)
		AND ($6::uuid IS NULL OR routine_id = $6)
	ORDER BY id
	LIMIT $3`, nilable(tank), nilable(routine))
}

// InsertRampEvent implements work.Tx.
func (t *Tx) InsertRampEvent(ctx context.Context, routine uuid.UUID, e work.RampEvent, at time.Time, actor uuid.UUID) error {
	_, err := t.tx.Exec(ctx, `
	INSERT INTO ramp_event (org_id, id, routine_id, kind, day, reason, recorded_at, actor_id)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`,
		t.org, e.ID, routine, string(e.Kind), dayToSQL(e.Day), e.Reason, at, actor)
	return translate("insert ramp event", err)
}

type placeRow struct {
	SiteID           uuid.UUID
	TankID           uuid.UUID
	TimeZone         string
	WorkKind         *string
	ConsequenceClass *int8
	Archived         bool
}

func (r placeRow) place() work.Place {
	return work.Place{
		SiteID: r.SiteID, TankID: r.TankID, Zone: r.TimeZone, Archived: r.Archived,
		WorkKind: care.WorkKind(zeroOr(r.WorkKind)), Class: care.Class(zeroOr(r.ConsequenceClass)),
	}
}

// RoutinePlace implements work.Tx.
func (t *Tx) RoutinePlace(ctx context.Context, id uuid.UUID) (work.Place, error) {
	return loadOne(ctx, t, named("routine", id, placeRow.place), `
	SELECT
		r.site_id,
		r.tank_id,
		s.time_zone,
		r.work_kind,
		r.consequence_class::smallint AS consequence_class,
		r.archived_at IS NOT NULL AS archived
	FROM routine r
	JOIN site s ON s.org_id = r.org_id AND s.id = r.site_id
	WHERE r.org_id = $1 AND r.id = $2`, t.org, id)
}

// TankPlace implements work.Tx.
func (t *Tx) TankPlace(ctx context.Context, id uuid.UUID) (work.Place, error) {
	return loadOne(ctx, t, named("tank", id, placeRow.place), `
	SELECT
		t.site_id,
		t.id AS tank_id,
		s.time_zone,
		NULL::text AS work_kind,
		NULL::smallint AS consequence_class,
		t.archived_at IS NOT NULL AS archived
	FROM tank t
	JOIN site s ON s.org_id = t.org_id AND s.id = t.site_id
	WHERE t.org_id = $1 AND t.id = $2`, t.org, id)
}

// PausePlace implements work.Tx.
func (t *Tx) PausePlace(ctx context.Context, id uuid.UUID) (work.Place, error) {
	return loadOne(ctx, t, named("pause", id, placeRow.place), `
	SELECT
		t.site_id,
		t.id AS tank_id,
		s.time_zone,
		NULL::text AS work_kind,
		NULL::smallint AS consequence_class,
		p.archived_at IS NOT NULL AS archived
	FROM pause p
	JOIN tank t ON t.org_id = p.org_id AND t.id = p.tank_id
	JOIN site s ON s.org_id = t.org_id AND s.id = t.site_id
	WHERE p.org_id = $1 AND p.id = $2`, t.org, id)
}

// ClosureSite implements work.Tx.
func (t *Tx) ClosureSite(ctx context.Context, id uuid.UUID) (uuid.UUID, error) {
	return loadOne(ctx, t, named("closure", id, func(r closureSiteRow) uuid.UUID { return orNil(r.SiteID) }), `
	SELECT site_id
	FROM closure
	WHERE org_id = $1 AND id = $2`, t.org, id)
}

type closureSiteRow struct{ SiteID *uuid.UUID }

// LockTanks implements work.Tx.
func (t *Tx) LockTanks(ctx context.Context, site uuid.UUID) (int, error) {
	tag, err := t.tx.Exec(ctx, `
	SELECT
	FROM tank
	WHERE org_id = $1 AND archived_at IS NULL AND ($2::uuid IS NULL OR site_id = $2)
	ORDER BY id
	FOR NO KEY UPDATE`, t.org, nilable(site))
	return int(tag.RowsAffected()), translate("lock tanks", err)
}

type linkRow struct {
	ID        uuid.UUID
	TankID    uuid.UUID
	FollowsID *uuid.UUID
}

// Links implements work.Tx.
func (t *Tx) Links(ctx context.Context, tank uuid.UUID) (map[uuid.UUID]care.Link, error) {
	rows, err := loadAll(ctx, t, same[linkRow], `
	SELECT
		r.id,
		r.tank_id,`+followsColumn+`
	FROM routine r
	WHERE r.org_id = $1 AND r.tank_id = $2 AND r.archived_at IS NULL`, t.org, tank)
	if err != nil {
		return nil, err
	}
	out := make(map[uuid.UUID]care.Link, len(rows))
	for _, r := range rows {
		out[r.ID] = care.Link{Tank: r.TankID, Parent: orNil(r.FollowsID)}
	}
	return out, nil
}

// TanksInUse implements work.Tx.
func (t *Tx) TanksInUse(ctx context.Context, site uuid.UUID) (int, error) {
	var n int
	err := t.tx.QueryRow(ctx, `
	SELECT count(*)
	FROM tank
	WHERE org_id = $1 AND site_id = $2 AND archived_at IS NULL`, t.org, site).Scan(&n)
	return n, translate("count tanks", err)
}
