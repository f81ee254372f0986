package repo

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"tankward/service/access"
	"tankward/service/care"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/stock"
	"tankward/service/work"
)

// Bulk adds many rows at once, for histories that come from elsewhere. What it
// adds is taken as it is: nothing is derived from it, nothing follows.
//
// What comes in thousands goes as INSERT … SELECT FROM unnest: row security
// refuses COPY, and this is as fast.
type Bulk struct{ *Tx }

// NewBulk offers a transaction's bulk statements.
func NewBulk(t *Tx) Bulk { return Bulk{t} }

// AddMembers adds members.
func (b Bulk) AddMembers(ctx context.Context, rows []access.Member) error {
	return addAll(ctx, b.Members().(store[access.MemberFields, memberRow]), rows)
}

// AddCustomers adds customers.
func (b Bulk) AddCustomers(ctx context.Context, rows []fleet.Customer) error {
	return addAll(ctx, b.Customers().(store[fleet.CustomerFields, customerRow]), rows)
}

// AddSites adds sites.
func (b Bulk) AddSites(ctx context.Context, rows []fleet.Site) error {
	return addAll(ctx, b.Sites().(store[fleet.SiteFields, siteRow]), rows)
}

// AddClosures adds closures; nothing moves.
func (b Bulk) AddClosures(ctx context.Context, rows []fleet.Closure) error {
	return addAll(ctx, b.Closures().(store[fleet.ClosureFields, closureRow]), rows)
}

// AddTanks adds tanks.
func (b Bulk) AddTanks(ctx context.Context, rows []fleet.Tank) error {
	return addAll(ctx, b.Tanks().(store[fleet.TankFields, tankRow]), rows)
}

// AddEquipment adds equipment.
func (b Bulk) AddEquipment(ctx context.Context, rows []fleet.Equipment) error {
	return addAll(ctx, b.Tx.Equipment().(store[fleet.EquipmentFields, equipmentRow]), rows)
}

// AddLivestock adds livestock without events.
func (b Bulk) AddLivestock(ctx context.Context, rows []stock.Livestock) error {
	return addAll(ctx, b.Livestock().(store[stock.LivestockFields, livestockRow]), rows)
}

// AddPauses adds pauses; nothing moves.
func (b Bulk) AddPauses(ctx context.Context, rows []work.Pause) error {
	return addAll(ctx, b.Pauses().(store[work.PauseFields, pauseRow]), rows)
}

// addAll sends the insert of each row in one round trip.
func addAll[F, R any](ctx context.Context, s store[F, R], rows []resource.Row[F]) error {
	batch := &pgx.Batch{}
	for _, r := range rows {
		hash, err := resource.Hash(r.Fields)
		if err != nil {
			return err
		}
		batch.Queue(s.sql.insert, s.insertArgs(r, hash)...)
	}
	return translate("add "+s.sql.resource+" in bulk", s.t.tx.SendBatch(ctx, batch).Close())
}

// AddRoutines adds routines with what they say now, parents before what
// follows them.
func (b Bulk) AddRoutines(ctx context.Context, rows []work.Routine) error {
	if err := addAll(ctx, b.Routines().(routineStore).store, rows); err != nil {
		return err
	}
	return b.AddRevisions(ctx, rows)
}

// AddRevisions adds what routines say from a day on.
func (b Bulk) AddRevisions(ctx context.Context, rows []work.Routine) error {
	batch := &pgx.Batch{}
	for _, r := range rows {
		batch.Queue(writeRevision, revisionArgs(b.Tx, r)...)
	}
	return translate("add revisions in bulk", b.tx.SendBatch(ctx, batch).Close())
}

const addLivestockEvents = `
	INSERT INTO livestock_event (org_id, id, livestock_id, kind, day, delta, reason, recorded_at, actor_id, create_hash)
	SELECT
		$1,
		e.id,
		e.livestock_id,
		e.kind,
		e.day,
		e.delta,
		e.reason,
		e.recorded_at,
		e.actor_id,
		sha256(uuid_send(e.id))
	FROM unnest($2::uuid[], $3::uuid[], $4::text[], $5::date[], $6::integer[], $7::text[], $8::timestamptz[], $9::uuid[])
		AS e (id, livestock_id, kind, day, delta, reason, recorded_at, actor_id)`

// AddLivestockEvents adds events; the counts of their livestock are taken to
// have them in already.
func (b Bulk) AddLivestockEvents(ctx context.Context, rows []stock.Event) error {
	n := len(rows)
	ids, livestock, actors := make([]uuid.UUID, n), make([]uuid.UUID, n), make([]uuid.UUID, n)
	kinds, reasons, deltas := make([]string, n), make([]string, n), make([]int32, n)
	days, recorded := make([]time.Time, n), make([]time.Time, n)
	for i, e := range rows {
		ids[i], livestock[i], actors[i] = e.ID, e.LivestockID, e.Actor
		kinds[i], reasons[i], deltas[i] = string(e.Kind), e.Reason, int32(e.Delta) //nolint:gosec // counts of animals
		days[i], recorded[i] = dayToSQL(e.Day), e.RecordedAt
	}
	_, err := b.tx.Exec(ctx, addLivestockEvents, b.org, ids, livestock, kinds, days, deltas, reasons, recorded, actors)
	return translate("add livestock events in bulk", err)
}

const addRecords = recordInto + `
	SELECT
		$1,
		r.id,
		r.site_id,
		r.tank_id,
		r.routine_id,
		r.work_kind,
		r.named_nominal_due,
		r.named_ordinal,
		r.done_on,
		r.done_at,
		r.received_at,
		r.result,
		r.share_percent,
		r.reason,
		r.with_joined,
		r.new_due_on,
		r.minutes,
		r.amounts::jsonb,
		r.level_percent,
		r.note,
		r.done_by_kind,
		r.done_by_id,
		r.done_by_name,
		r.recorded_by,
		r.visit_id,
		r.create_hash
	FROM unnest(
		$2::uuid[], $3::uuid[], $4::uuid[], $5::uuid[], $6::text[], $7::date[], $8::integer[], $9::date[], $10::timestamptz[],
		$11::timestamptz[], $12::text[], $13::smallint[], $14::text[], $15::boolean[], $16::date[], $17::integer[], $18::text[],
		$19::double precision[], $20::text[], $21::text[], $22::uuid[], $23::text[], $24::uuid[], $25::uuid[], $26::bytea[]
	) AS r (
		id, site_id, tank_id, routine_id, work_kind, named_nominal_due, named_ordinal, done_on, done_at, received_at, result,
		share_percent, reason, with_joined, new_due_on, minutes, amounts, level_percent, note, done_by_kind, done_by_id,
		done_by_name, recorded_by, visit_id, create_hash
	)`

// recordArrays are the arrays that AddRecords sends, one entry a record.
type recordArrays struct {
	ids, sites, tanks, recorders            []uuid.UUID
	routines, doneByIDs, visits             []*uuid.UUID
	kinds, results, reasons, amounts, notes []string
	doneByKinds, doneByNames                []string
	nominal, doneAt, newDue                 []*time.Time
	doneOn, received                        []time.Time
	ordinals, minutes                       []*int32
	shares                                  []*int16
	withJoined                              []bool
	levels                                  []*float64
	hashes                                  [][]byte
}

func (c *recordArrays) add(r work.Record) error {
	amounts, err := json.Marshal(materialsToJSON(r.Amounts))
	if err != nil {
		return fmt.Errorf("encode amounts: %w", err)
	}
	var nominal *time.Time
	var ordinal *int32
	if r.Names != nil {
		n := int32(r.Names.Ordinal) //nolint:gosec // small
		nominal, ordinal = dayPtrToSQL(&r.Names.NominalDue), &n
	}
	// Nobody sent it, so that no request repeats it.
	hash := sha256.Sum256(r.ID[:])
	c.ids, c.sites, c.tanks = append(c.ids, r.ID), append(c.sites, r.SiteID), append(c.tanks, r.TankID)
	c.recorders, c.routines = append(c.recorders, r.RecordedBy), append(c.routines, nilable(r.RoutineID))
	c.doneByIDs, c.visits = append(c.doneByIDs, nilable(r.DoneBy.ID)), append(c.visits, nilable(r.VisitID))
	c.kinds, c.results = append(c.kinds, string(r.WorkKind)), append(c.results, string(r.Result))
	c.reasons, c.amounts, c.notes = append(c.reasons, r.Reason), append(c.amounts, string(amounts)), append(c.notes, r.Note)
	c.doneByKinds, c.doneByNames = append(c.doneByKinds, r.DoneBy.Kind), append(c.doneByNames, r.DoneBy.Name)
	c.nominal, c.ordinals = append(c.nominal, nominal), append(c.ordinals, ordinal)
	c.doneOn, c.doneAt, c.received = append(c.doneOn, dayToSQL(*r.DoneOn)), append(c.doneAt, r.DoneAt), append(c.received, r.ReceivedAt)
	c.newDue, c.withJoined = append(c.newDue, dayPtrToSQL(r.NewDueOn)), append(c.withJoined, r.WithJoined)
	c.minutes, c.levels, c.hashes = append(c.minutes, small[int32](r.Minutes)), append(c.levels, r.Level), append(c.hashes, hash[:])
	var share *int
	if r.Result == care.Partly {
		share = &r.Share
	}
	c.shares = append(c.shares, small[int16](share))
	return nil
}

func small[T int16 | int32](n *int) *T {
	if n == nil {
		return nil
	}
	v := T(*n)
	return &v
}

// AddRecords adds records; nothing is folded.
func (b Bulk) AddRecords(ctx context.Context, rows []work.Record) error {
	var c recordArrays
	for _, r := range rows {
		if err := c.add(r); err != nil {
			return err
		}
	}
	_, err := b.tx.Exec(ctx, addRecords, b.org, c.ids, c.sites, c.tanks, c.routines, c.kinds, c.nominal, c.ordinals, c.doneOn, c.doneAt,
		c.received, c.results, c.shares, c.reasons, c.withJoined, c.newDue, c.minutes, c.amounts, c.levels, c.notes, c.doneByKinds,
		c.doneByIDs, c.doneByNames, c.recorders, c.visits, c.hashes)
	return translate("add records in bulk", err)
}

// AddDue stores what folds of whole histories found out about routines of which
// nothing is stored yet.
func (b Bulk) AddDue(ctx context.Context, all []work.Settlement) error {
	var due dueColumns
	var closed closeColumns
	for _, s := range all {
		closed.add(s)
		if s.Settled.Stored.None {
			continue
		}
		if err := due.add(s.Plan, s.Settled.Stored); err != nil {
			return err
		}
	}
	batch := &pgx.Batch{}
	batch.Queue(insertCloses, closed.args(b.org)...)
	batch.Queue(upsertDue, due.args(b.org)...)
	return translate("add due work in bulk", b.tx.SendBatch(ctx, batch).Close())
}
