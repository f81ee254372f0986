package repo

import (
	"context"
	"errors"
	"time"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/resource"
	"tankward/service/stock"
	"tankward/service/tx"
)

var _ stock.Tx = (*Tx)(nil)

type livestockRow struct {
	metaRow
	TankID      uuid.UUID
	SpeciesCode *string
	SpeciesOwn  *uuid.UUID
	Form        string
	Label       string
	Source      string
	Place       string
	State       string
	ArrivedOn   time.Time
	Count       int
	PermitRef   string
}

func (r livestockRow) livestock() stock.Livestock {
	return stock.Livestock{Meta: r.meta(), Fields: stock.LivestockFields{
		TankID: r.TankID, Species: stock.SpeciesID{Code: zeroOr(r.SpeciesCode), Own: orNil(r.SpeciesOwn)},
		Form: stock.Counting(r.Form), Label: r.Label, Source: r.Source, Place: r.Place, State: stock.State(r.State),
		ArrivedOn: dayFromSQL(r.ArrivedOn), Count: r.Count, PermitRef: r.PermitRef,
	}}
}

func livestockFields(f stock.LivestockFields) []any {
	return []any{
		f.TankID, nonEmpty(f.Species.Code), nilable(f.Species.Own), string(f.Form), f.Label, f.Source, f.Place, string(f.State),
		dayToSQL(f.ArrivedOn), f.Count, f.PermitRef,
	}
}

const livestockColumns = `
		id,
		version,
		created_at,
		updated_at,
		archived_at,
		tank_id,
		species_code,
		species_own,
		form,
		label,
		source,
		place,
		state,
		arrived_on,
		count,
		permit_ref`

var livestockSQL = statements{
	resource: "livestock",
	insert: `
	INSERT INTO livestock (
		org_id,
		id,
		version,
		created_at,
		updated_at,
		create_hash,
		tank_id,
		species_code,
		species_own,
		form,
		label,
		source,
		place,
		state,
		arrived_on,
		count,
		permit_ref
	)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17)
	ON CONFLICT (org_id, id) DO NOTHING`,
	save: `
	UPDATE livestock
	SET
		version = $3,
		updated_at = $4,
		archived_at = $5,
		tank_id = $6,
		species_code = $7,
		species_own = $8,
		form = $9,
		label = $10,
		source = $11,
		place = $12,
		state = $13,
		arrived_on = $14,
		count = $15,
		permit_ref = $16
	WHERE org_id = $1 AND id = $2`,
	load: `
	SELECT` + livestockColumns + `
	FROM livestock
	WHERE org_id = $1 AND id = $2
	FOR NO KEY UPDATE`,
	hash: `SELECT create_hash FROM livestock WHERE org_id = $1 AND id = $2`,
}

// Livestock gives the store of livestock in this transaction.
func (t *Tx) Livestock() resource.Store[stock.LivestockFields] {
	return store[stock.LivestockFields, livestockRow]{t: t, sql: livestockSQL, row: livestockRow.livestock, fields: livestockFields}
}

// LivestockTank says in which tank an entry is, without a lock.
func (t *Tx) LivestockTank(ctx context.Context, id uuid.UUID) (uuid.UUID, error) {
	var tank uuid.UUID
	err := t.tx.QueryRow(ctx, `SELECT tank_id FROM livestock WHERE org_id = $1 AND id = $2`, t.org, id).Scan(&tank)
	if errors.Is(err, errNoRow) {
		return tank, fault.NoSuch("livestock", id)
	}
	return tank, translate("look up the tank of livestock", err)
}

// TankZone gives the time zone of a tank's site, without a lock.
func (t *Tx) TankZone(ctx context.Context, tank uuid.UUID) (string, error) {
	var zone string
	err := t.tx.QueryRow(ctx, `
	SELECT s.time_zone
	FROM tank k
	JOIN site s ON s.org_id = k.org_id AND s.id = k.site_id
	WHERE k.org_id = $1 AND k.id = $2`, t.org, tank).Scan(&zone)
	if errors.Is(err, errNoRow) {
		return zone, fault.NoSuch("tank", tank)
	}
	return zone, translate("look up the time zone of a tank", err)
}

// TankRests says whether a pause of the whole tank is in force on a day or
// begins later.
func (t *Tx) TankRests(ctx context.Context, tank uuid.UUID, from care.Day) (bool, error) {
	var rests bool
	err := t.tx.QueryRow(ctx, `
	SELECT EXISTS (
		SELECT 1
		FROM pause
		WHERE org_id = $1 AND tank_id = $2 AND routine_id IS NULL AND archived_at IS NULL
			AND (to_day IS NULL OR to_day > $3)
	)`, t.org, tank, dayToSQL(from)).Scan(&rests)
	return rests, translate("look up the pauses of a tank", err)
}

// LivingStock counts the animals recorded in a tank.
func (t *Tx) LivingStock(ctx context.Context, tank uuid.UUID) (int, error) {
	var n int
	err := t.tx.QueryRow(ctx, `
	SELECT coalesce(sum(count), 0)
	FROM livestock
	WHERE org_id = $1 AND tank_id = $2 AND archived_at IS NULL`, t.org, tank).Scan(&n)
	return n, translate("count the animals of a tank", err)
}

// LeastCount gives the lowest count of an entry on a day or after it: what the
// events up to the day add up to, and each day's sum from there on.
func (t *Tx) LeastCount(ctx context.Context, livestock uuid.UUID, from care.Day) (int, error) {
	var least int
	err := t.tx.QueryRow(ctx, `
	SELECT coalesce(min(d.count), 0)
	FROM (
		SELECT sum(sum(delta)) OVER (ORDER BY greatest(day, $3::date)) AS count
		FROM livestock_event
		WHERE org_id = $1 AND livestock_id = $2
		GROUP BY greatest(day, $3::date)
	) d`, t.org, livestock, dayToSQL(from)).Scan(&least)
	return least, translate("add up livestock events", err)
}

type livestockEventRow struct {
	ID          uuid.UUID
	LivestockID uuid.UUID
	Kind        string
	Day         time.Time
	Delta       int
	Reason      string
	RecordedAt  time.Time
	ActorID     uuid.UUID
}

func (r livestockEventRow) event() stock.Event {
	return stock.Event{
		ID: r.ID, LivestockID: r.LivestockID, Kind: stock.EventKind(r.Kind), Day: dayFromSQL(r.Day), Delta: r.Delta,
		Reason: r.Reason, RecordedAt: r.RecordedAt.UTC(), Actor: r.ActorID,
	}
}

const livestockEventColumns = `
		id,
		livestock_id,
		kind,
		day,
		delta,
		reason,
		recorded_at,
		actor_id`

// InsertLivestockEvent adds an event, recorded by the transaction's actor, unless
// its id is taken, and says whether it did.
func (t *Tx) InsertLivestockEvent(ctx context.Context, e stock.Event, hash [32]byte) (bool, error) {
	tag, err := t.tx.Exec(ctx, `
	INSERT INTO livestock_event (
		org_id,
		id,
		livestock_id,
		kind,
		day,
		delta,
		reason,
		recorded_at,
		actor_id,
		create_hash
	)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
	ON CONFLICT (org_id, id) DO NOTHING`,
		t.org, e.ID, e.LivestockID, string(e.Kind), dayToSQL(e.Day), e.Delta, e.Reason, e.RecordedAt, t.actor, hash[:])
	if err != nil {
		return false, translate("insert livestock event", err)
	}
	return tag.RowsAffected() == 1, nil
}

// LivestockEventHash gives the hash an event was created from.
func (t *Tx) LivestockEventHash(ctx context.Context, id uuid.UUID) ([32]byte, error) {
	var b []byte
	err := t.tx.QueryRow(ctx, `SELECT create_hash FROM livestock_event WHERE org_id = $1 AND id = $2`, t.org, id).Scan(&b)
	if errors.Is(err, errNoRow) {
		return [32]byte{}, fault.NoSuch("livestock event", id)
	}
	if err != nil {
		return [32]byte{}, translate("look up livestock event", err)
	}
	return [32]byte(b), nil
}

// LoadLivestockEvent gives an event.
func (t *Tx) LoadLivestockEvent(ctx context.Context, id uuid.UUID) (stock.Event, error) {
	return loadOne(ctx, t, named("livestock event", id, livestockEventRow.event), `
	SELECT`+livestockEventColumns+`
	FROM livestock_event
	WHERE org_id = $1 AND id = $2`, t.org, id)
}

const selectLivestock = `
	SELECT` + livestockColumns + `
	FROM livestock
	WHERE org_id = $1 AND id = $2`

// Livestock gives one entry.
func (db *DB) Livestock(ctx context.Context, s tx.Scope, id uuid.UUID) (stock.Livestock, error) {
	return get(ctx, db, s, named("livestock", id, livestockRow.livestock), selectLivestock)
}

// LivestockList lists livestock by id.
func (db *DB) LivestockList(ctx context.Context, s tx.Scope, f stock.LivestockFilter, p resource.Paging) (resource.Page[stock.Livestock], error) {
	return list(ctx, asked{db, s, p}, livestockRow.livestock, `
	SELECT`+livestockColumns+`
	FROM livestock
	WHERE org_id = $1 AND id > $2 AND (archived_at IS NOT NULL) = $4
		AND ($5::uuid IS NULL OR tank_id = $5)
		AND ($6::text IS NULL OR species_code = $6)
		AND ($7::uuid IS NULL OR species_own = $7)
		AND ($8::text IS NULL OR state = $8)
	ORDER BY id
	LIMIT $3`, nilable(f.Tank), nonEmpty(f.Species.Code), nilable(f.Species.Own), nonEmpty(string(f.State)))
}

// LivestockEvents lists the events of an entry, the oldest day first.
func (db *DB) LivestockEvents(ctx context.Context, s tx.Scope, livestock uuid.UUID, p resource.Paging) (resource.Page[stock.Event], error) {
	var page resource.Page[stock.Event]
	after, id, err := decodePlace(p.After)
	if err != nil {
		return page, err
	}
	var entry []stock.Livestock
	err = db.read(ctx, s,
		query{selectHead, []any{s.Org}, value(&page.Head)},
		query{selectLivestock, []any{s.Org, livestock}, into(&entry, livestockRow.livestock)},
		query{`
	SELECT` + livestockEventColumns + `
	FROM livestock_event
	WHERE org_id = $1 AND livestock_id = $2
		AND ($3::date IS NULL OR (day, id) > ($3, $4))
	ORDER BY day, id
	LIMIT $5`, []any{s.Org, livestock, after, id, p.Limit + 1}, into(&page.Items, livestockEventRow.event)})
	if err != nil {
		return page, err
	}
	if len(entry) == 0 {
		return page, fault.NoSuch("livestock", livestock)
	}
	if len(page.Items) > p.Limit {
		page.Items = page.Items[:p.Limit]
		last := page.Items[p.Limit-1]
		page.Next = encodePlace(last.Day.Time(), last.ID)
	}
	return page, nil
}
