package repo

import (
	"context"
	"encoding/base64"
	"encoding/binary"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"tankward/service/care"
	"tankward/service/resource"
	"tankward/service/tx"
	"tankward/service/work"
)

type parameterRow struct {
	Code string
	Name string
	Unit string
	Low  float64
	High float64
}

func (r parameterRow) parameter() work.Parameter { return work.Parameter(r) }

const selectParameters = `
	SELECT
		code,
		name,
		unit,
		low,
		high
	FROM parameter
	ORDER BY code`

// Parameters implements work.Tx.
func (t *Tx) Parameters(ctx context.Context) (map[string]work.Parameter, error) {
	all, err := loadAll(ctx, t, parameterRow.parameter, selectParameters)
	if err != nil {
		return nil, err
	}
	out := make(map[string]work.Parameter, len(all))
	for _, p := range all {
		out[p.Code] = p
	}
	return out, nil
}

// ListParameters implements work.Reads.
func (db *DB) ListParameters(ctx context.Context, s tx.Scope) ([]work.Parameter, int64, error) {
	var head int64
	var out []work.Parameter
	err := db.read(ctx, s,
		query{selectHead, []any{s.Org}, value(&head)},
		query{selectParameters, nil, into(&out, parameterRow.parameter)})
	return out, head, err
}

const insertReadings = `
	INSERT INTO reading (org_id, tank_id, parameter, taken_at, id, value, method, record_id)
	SELECT
		$1,
		r.tank_id,
		r.parameter,
		r.taken_at,
		r.id,
		r.value,
		r.method,
		r.record_id
	FROM unnest($2::uuid[], $3::text[], $4::timestamptz[], $5::uuid[], $6::double precision[], $7::text[], $8::uuid[])
		AS r (tank_id, parameter, taken_at, id, value, method, record_id)`

// InsertReadings implements work.Tx.
func (t *Tx) InsertReadings(ctx context.Context, rs []work.Reading) error {
	n := len(rs)
	tanks, ids, records := make([]uuid.UUID, n), make([]uuid.UUID, n), make([]*uuid.UUID, n)
	parameters, methods := make([]string, n), make([]string, n)
	taken, values := make([]time.Time, n), make([]float64, n)
	months := map[care.Day]bool{}
	b := &pgx.Batch{}
	for i, r := range rs {
		tanks[i], ids[i], records[i] = r.TankID, r.ID, nilable(r.RecordID)
		parameters[i], methods[i], taken[i], values[i] = r.Parameter, r.Method, r.TakenAt, r.Value
		y, m, _ := r.TakenAt.UTC().Date()
		if first := care.Date(y, m, 1); !months[first] {
			months[first] = true
			b.Queue(`SELECT ensure_reading_month($1)`, dayToSQL(first))
		}
	}
	b.Queue(insertReadings, t.org, tanks, parameters, taken, ids, values, methods, records)
	return translate("insert readings", t.tx.SendBatch(ctx, b).Close())
}

type readingRow struct {
	ID        uuid.UUID
	TankID    uuid.UUID
	Parameter string
	Value     float64
	Unit      string
	TakenAt   time.Time
	Method    string
	RecordID  *uuid.UUID
}

func (r readingRow) reading() work.Reading {
	return work.Reading{
		ID: r.ID, TankID: r.TankID, Parameter: r.Parameter, Value: r.Value, Unit: r.Unit,
		TakenAt: r.TakenAt.UTC(), Method: r.Method, RecordID: orNil(r.RecordID),
	}
}

// Readings implements work.Reads.
func (db *DB) Readings(ctx context.Context, s tx.Scope, f work.ReadingFilter, p resource.Paging) (resource.Page[work.Reading], error) {
	var page resource.Page[work.Reading]
	if _, err := db.Tank(ctx, s, f.Tank); err != nil {
		return page, err
	}
	at, id, err := decodePlace(p.After)
	if err != nil {
		return page, err
	}
	err = db.read(ctx, s,
		query{selectHead, []any{s.Org}, value(&page.Head)},
		query{`
	SELECT
		m.id,
		m.tank_id,
		m.parameter,
		m.value,
		p.unit,
		m.taken_at,
		m.method,
		m.record_id
	FROM reading m
	JOIN parameter p ON p.code = m.parameter
	WHERE m.org_id = $1 AND m.tank_id = $2
		AND ($3::text IS NULL OR m.parameter = $3)
		AND ($4::timestamptz IS NULL OR m.taken_at >= $4)
		AND ($5::timestamptz IS NULL OR m.taken_at < $5)
		AND ($6::timestamptz IS NULL OR (m.taken_at, m.id) < ($6, $7::uuid))
	ORDER BY m.taken_at DESC, m.id DESC
	LIMIT $8`, []any{s.Org, f.Tank, nonEmpty(f.Parameter), f.From, f.To, at, nilable(id), p.Limit + 1}, into(&page.Items, readingRow.reading)})
	if err != nil {
		return page, err
	}
	if len(page.Items) > p.Limit {
		page.Items = page.Items[:p.Limit]
		last := page.Items[p.Limit-1]
		page.Next = encodePlace(last.TakenAt, last.ID)
	}
	return page, nil
}

// encodePlace makes a cursor of an instant and an id.
func encodePlace(at time.Time, id uuid.UUID) string {
	b := binary.BigEndian.AppendUint64(nil, uint64(at.UnixMicro())) //nolint:gosec // read back the same way
	return base64.RawURLEncoding.EncodeToString(append(b, id[:]...))
}

func decodePlace(s string) (*time.Time, uuid.UUID, error) {
	if s == "" {
		return nil, uuid.Nil, nil
	}
	b, err := base64.RawURLEncoding.DecodeString(s)
	if err != nil || len(b) != 24 {
		return nil, uuid.Nil, badCursor()
	}
	at := time.UnixMicro(int64(binary.BigEndian.Uint64(b))).UTC() //nolint:gosec // written the same way
	if y := at.Year(); y < 1 || y > 9999 {
		return nil, uuid.Nil, badCursor()
	}
	return &at, uuid.UUID(b[8:]), nil
}
