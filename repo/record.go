package repo

import (
	"context"
	"errors"
	"time"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/resource"
	"tankward/service/tx"
	"tankward/service/work"
)

type recordRow struct {
	ID              uuid.UUID
	SiteID          uuid.UUID
	TankID          uuid.UUID
	RoutineID       *uuid.UUID
	WorkKind        string
	NamedNominalDue *time.Time
	NamedOrdinal    *int
	DoneOn          time.Time
	DoneAt          *time.Time
	ReceivedAt      time.Time
	Result          string
	SharePercent    *int
	Reason          string
	WithJoined      bool
	NewDueOn        *time.Time
	Minutes         *int
	Amounts         []materialJSON
	LevelPercent    *float64
	Note            string
	DoneByKind      string
	DoneByID        *uuid.UUID
	DoneByName      string
	RecordedBy      uuid.UUID
	VisitID         *uuid.UUID
	VoidedAt        *time.Time
	VoidedBy        *uuid.UUID
	VoidReason      string
	Readings        []recordReadingJSON
}

// recordReadingJSON is a reading of a record as the query gathers it.
type recordReadingJSON struct {
	Parameter string    `json:"parameter"`
	Value     float64   `json:"value"`
	Unit      string    `json:"unit"`
	TakenAt   time.Time `json:"taken_at"`
	Method    string    `json:"method"`
}

func (r recordRow) record() work.Record {
	day := dayFromSQL(r.DoneOn)
	rec := work.Record{
		NewRecord: work.NewRecord{
			ID: r.ID, RoutineID: orNil(r.RoutineID), TankID: r.TankID, WorkKind: care.WorkKind(r.WorkKind),
			DoneOn: &day, DoneAt: utc(r.DoneAt), Result: care.Result(r.Result), Share: zeroOr(r.SharePercent), Reason: r.Reason,
			WithJoined: r.WithJoined, NewDueOn: dayPtrFromSQL(r.NewDueOn), Minutes: r.Minutes, Amounts: materialsFromJSON(r.Amounts),
			Level: r.LevelPercent, Note: r.Note, VisitID: orNil(r.VisitID),
			DoneBy: &work.DoneBy{Kind: r.DoneByKind, ID: orNil(r.DoneByID), Name: r.DoneByName},
		},
		SiteID: r.SiteID, ReceivedAt: r.ReceivedAt.UTC(), RecordedBy: r.RecordedBy,
	}
	if r.NamedNominalDue != nil {
		rec.Names = &care.Identity{NominalDue: dayFromSQL(*r.NamedNominalDue), Ordinal: zeroOr(r.NamedOrdinal)}
	}
	if r.VoidedAt != nil {
		rec.Voided = &work.Void{At: r.VoidedAt.UTC(), By: orNil(r.VoidedBy), Reason: r.VoidReason}
	}
	for _, m := range r.Readings {
		m.TakenAt = m.TakenAt.UTC()
		rec.Readings = append(rec.Readings, work.NewReading(m))
	}
	return rec
}

const recordColumns = `
		w.id,
		w.site_id,
		w.tank_id,
		w.routine_id,
		w.work_kind,
		w.named_nominal_due,
		w.named_ordinal,
		w.done_on,
		w.done_at,
		w.received_at,
		w.result,
		w.share_percent,
		w.reason,
		w.with_joined,
		w.new_due_on,
		w.minutes,
		w.amounts,
		w.level_percent,
		w.note,
		w.done_by_kind,
		w.done_by_id,
		w.done_by_name,
		w.recorded_by,
		w.visit_id,
		w.voided_at,
		w.voided_by,
		w.void_reason,
		coalesce((
			SELECT jsonb_agg(jsonb_build_object(
				'parameter', m.parameter,
				'value', m.value,
				'unit', p.unit,
				'taken_at', m.taken_at,
				'method', m.method
			) ORDER BY m.taken_at, m.id)
			FROM reading m
			JOIN parameter p ON p.code = m.parameter
			WHERE m.org_id = w.org_id AND m.record_id = w.id
		), '[]') AS readings`

// recordInto begins the statements that add records, one or many.
const recordInto = `
	INSERT INTO work_record (
		org_id,
		id,
		site_id,
		tank_id,
		routine_id,
		work_kind,
		named_nominal_due,
		named_ordinal,
		done_on,
		done_at,
		received_at,
		result,
		share_percent,
		reason,
		with_joined,
		new_due_on,
		minutes,
		amounts,
		level_percent,
		note,
		done_by_kind,
		done_by_id,
		done_by_name,
		recorded_by,
		visit_id,
		create_hash
	)`

const insertRecord = recordInto + `
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22, $23, $24, $25, $26)
	ON CONFLICT (org_id, id) DO NOTHING`

func recordArgs(org uuid.UUID, r work.Record, hash [32]byte) []any {
	var share, ordinal *int
	var nominal *time.Time
	if r.Result == care.Partly {
		share = &r.Share
	}
	if r.Names != nil {
		nominal, ordinal = dayPtrToSQL(&r.Names.NominalDue), &r.Names.Ordinal
	}
	return []any{
		org, r.ID, r.SiteID, r.TankID, nilable(r.RoutineID), string(r.WorkKind), nominal, ordinal,
		dayToSQL(*r.DoneOn), r.DoneAt, r.ReceivedAt, string(r.Result), share, r.Reason, r.WithJoined, dayPtrToSQL(r.NewDueOn),
		r.Minutes, materialsToJSON(r.Amounts), r.Level, r.Note, r.DoneBy.Kind, nilable(r.DoneBy.ID), r.DoneBy.Name,
		r.RecordedBy, nilable(r.VisitID), hash[:],
	}
}

// InsertRecord implements work.Tx.
func (t *Tx) InsertRecord(ctx context.Context, r work.Record, hash [32]byte) (bool, error) {
	tag, err := t.tx.Exec(ctx, insertRecord, recordArgs(t.org, r, hash)...)
	if err != nil {
		return false, translate("insert record", err)
	}
	return tag.RowsAffected() == 1, nil
}

// RecordHash implements work.Tx.
func (t *Tx) RecordHash(ctx context.Context, id uuid.UUID) ([32]byte, error) {
	var b []byte
	err := t.tx.QueryRow(ctx, `SELECT create_hash FROM work_record WHERE org_id = $1 AND id = $2`, t.org, id).Scan(&b)
	if errors.Is(err, errNoRow) {
		return [32]byte{}, fault.NoSuch("work record", id)
	}
	if err != nil {
		return [32]byte{}, translate("look up record", err)
	}
	return [32]byte(b), nil
}

// LoadRecord implements work.Tx.
func (t *Tx) LoadRecord(ctx context.Context, id uuid.UUID) (work.Record, error) {
	return loadOne(ctx, t, named("work record", id, recordRow.record), `
	SELECT`+recordColumns+`
	FROM work_record w
	WHERE w.org_id = $1 AND w.id = $2`, t.org, id)
}

// HasMember implements work.Tx.
func (t *Tx) HasMember(ctx context.Context, id uuid.UUID, left bool) (bool, error) {
	var known bool
	err := t.tx.QueryRow(ctx, `
	SELECT EXISTS (
		SELECT
		FROM member
		WHERE org_id = $1 AND id = $2 AND ($3 OR archived_at IS NULL)
	)`, t.org, id, left).Scan(&known)
	return known, translate("look up member", err)
}

// SaveVoid implements work.Tx.
func (t *Tx) SaveVoid(ctx context.Context, id uuid.UUID, v work.Void) error {
	_, err := t.tx.Exec(ctx, `
	UPDATE work_record
	SET
		voided_at = $3,
		voided_by = $4,
		void_reason = $5
	WHERE org_id = $1 AND id = $2`, t.org, id, v.At, v.By, v.Reason)
	return translate("void record", err)
}

// CloserOf implements work.Tx.
func (t *Tx) CloserOf(ctx context.Context, routine uuid.UUID, item care.Identity) (uuid.UUID, error) {
	var id uuid.UUID
	err := t.tx.QueryRow(ctx, `
	SELECT record_id
	FROM item_close
	WHERE org_id = $1 AND routine_id = $2 AND nominal_due = $3 AND ordinal = $4`,
		t.org, routine, dayToSQL(item.NominalDue), item.Ordinal).Scan(&id)
	if errors.Is(err, errNoRow) {
		return uuid.Nil, nil
	}
	return id, translate("look up what closed an item", err)
}

// Record implements work.Reads.
func (db *DB) Record(ctx context.Context, s tx.Scope, id uuid.UUID) (work.Record, error) {
	return get(ctx, db, s, named("work record", id, recordRow.record), `
	SELECT`+recordColumns+`
	FROM work_record w
	WHERE w.org_id = $1 AND w.id = $2`)
}

// Records implements work.Reads.
func (db *DB) Records(ctx context.Context, s tx.Scope, f work.RecordFilter, p resource.Paging) (resource.Page[work.Record], error) {
	var page resource.Page[work.Record]
	at, id, err := decodePlace(p.After)
	if err != nil {
		return page, err
	}
	err = db.read(ctx, s,
		query{selectHead, []any{s.Org}, value(&page.Head)},
		query{`
	SELECT` + recordColumns + `
	FROM work_record w
	WHERE w.org_id = $1
		AND ($2::uuid IS NULL OR w.tank_id = $2)
		AND ($3::uuid IS NULL OR w.routine_id = $3)
		AND ($4::uuid IS NULL OR w.site_id = $4)
		AND ($5::date IS NULL OR w.done_on >= $5)
		AND ($6::date IS NULL OR w.done_on <= $6)
		AND ($7::timestamptz IS NULL OR (w.done_on, w.id) < (($7 AT TIME ZONE 'UTC')::date, $8::uuid))
	ORDER BY w.done_on DESC, w.id DESC
	LIMIT $9`, []any{
			s.Org, nilable(f.Tank), nilable(f.Routine), nilable(f.Site), dayPtrToSQL(f.From), dayPtrToSQL(f.To), at, nilable(id), p.Limit + 1,
		}, into(&page.Items, recordRow.record)})
	if err != nil {
		return page, err
	}
	if len(page.Items) > p.Limit {
		page.Items = page.Items[:p.Limit]
		last := page.Items[p.Limit-1]
		page.Next = encodePlace(last.DoneOn.Time(), last.ID)
	}
	return page, nil
}
