package repo

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"tankward/service/tx"
)

type commandTag = pgconn.CommandTag

// finishing is what a command's transaction writes last.
type finishing struct {
	scope  tx.Scope
	key    string
	trail  tx.Trail
	answer tx.Answer
	before map[string]int64 // with Options.VerifyTrail: what touched gave first
}

// finish writes jobs, audit entries, the kept answer and, last of all, the
// change log: its head stays locked until the commit, so that numbers are in
// commit order.
func (db *DB) finish(ctx context.Context, t *Tx, f finishing) error {
	if db.verify {
		if err := t.verifyTrail(ctx, f.before, f.trail); err != nil {
			return err
		}
	}
	if len(f.trail.Jobs) > 0 && db.queue == nil {
		return errors.New("the command has jobs, and no queue is in use")
	}
	for _, j := range f.trail.Jobs {
		if err := db.queue.InsertTx(ctx, t.tx, j.Kind, j.Args); err != nil {
			return fmt.Errorf("put a job into the queue: %w", err)
		}
	}
	now := db.clock()
	b := &pgx.Batch{}
	for _, a := range f.trail.Audit {
		b.Queue(insertAudit, t.org, db.newID(), now, f.scope.Actor, string(f.scope.Role),
			a.Command, a.Resource, a.ID, nonNil(a.Fields), a.Reason, f.scope.Request)
	}
	if f.key != "" {
		b.Queue(keepAnswer, t.org, f.scope.Actor, f.key, f.answer.Status, f.answer.ETag, f.answer.Location, nonNilBytes(f.answer.Body))
	}
	if len(f.trail.Changes) > 0 {
		b.Queue(appendChanges, changeArgs(t.org, now, f.scope.Actor, f.trail.Changes)...)
	}
	if b.Len() == 0 {
		return nil
	}
	if err := t.tx.SendBatch(ctx, b).Close(); err != nil {
		return fmt.Errorf("write the trail: %w", err)
	}
	return nil
}

const insertAudit = `
	INSERT INTO audit_entry (
		org_id,
		id,
		at,
		actor_id,
		role,
		command,
		resource,
		subject_id,
		fields,
		reason,
		request_id
	)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)`

const keepAnswer = `
	UPDATE stored_answer
	SET
		status = $4,
		etag = $5,
		location = $6,
		body = $7
	WHERE org_id = $1 AND actor_id = $2 AND key = $3`

const appendChanges = `
	WITH head AS (
		INSERT INTO change_head (org_id, last_seq)
		VALUES ($1, $2)
		ON CONFLICT (org_id) DO UPDATE
		SET last_seq = change_head.last_seq + excluded.last_seq
		RETURNING last_seq
	)
	INSERT INTO change (
		org_id,
		seq,
		at,
		resource,
		action,
		id,
		site_id,
		tank_id,
		actor_id,
		fields
	)
	SELECT
		$1,
		head.last_seq - $2 + c.ord,
		$3,
		c.resource,
		c.action,
		c.id,
		c.site_id,
		c.tank_id,
		$4,
		string_to_array(c.fields, ',')
	FROM head
	CROSS JOIN unnest($5::text[], $6::text[], $7::uuid[], $8::uuid[], $9::uuid[], $10::text[])
		WITH ORDINALITY AS c (resource, action, id, site_id, tank_id, fields, ord)`

func changeArgs(org uuid.UUID, at time.Time, actor uuid.UUID, changes []tx.Change) []any {
	n := len(changes)
	resources, actions, fields := make([]string, n), make([]string, n), make([]string, n)
	ids, sites, tanks := make([]uuid.UUID, n), make([]*uuid.UUID, n), make([]*uuid.UUID, n)
	for i, c := range changes {
		resources[i], actions[i], fields[i] = c.Resource, c.Action, strings.Join(c.Fields, ",")
		ids[i], sites[i], tanks[i] = c.ID, nilable(c.Site), nilable(c.Tank)
	}
	return []any{org, int64(n), at, actor, resources, actions, ids, sites, tanks, fields}
}

// resourceOf says under which resource a table's changes stand in the trail.
// Tables that only repeat what other rows say have none.
var resourceOf = map[string]string{
	"organisation": "organisation", "member": "member", "access_key": "access_key", "key_hash": "access_key",
	"customer": "customer", "site": "site", "site_access_notes": "access_notes", "closure": "closure",
	"tank": "tank", "equipment": "equipment", "species": "species",
	"livestock": "livestock", "livestock_event": "livestock",
	"routine": "routine", "routine_revision": "routine", "ramp_event": "routine", "pause": "pause",
	"work_record": "work_record", "reading": "work_record",
	"round": "round", "visit": "visit", "visit_item": "visit",
}

// derived tables are rewritten from others, or are the trail itself.
var derived = map[string]bool{
	"due_item": true, "item_close": true, "stored_answer": true, "organisation_directory": true,
	"change": true, "change_head": true, "audit_entry": true,
}

// touched gives how many rows of each table were written. Postgres counts what
// earlier transactions of this connection wrote as well, until it has passed
// their figures on, so only the difference over a transaction says something.
func (t *Tx) touched(ctx context.Context) (map[string]int64, error) {
	rows, err := t.tx.Query(ctx, `
		SELECT
			relname::text AS table_name,
			n_tup_ins + n_tup_upd + n_tup_del AS written
		FROM pg_stat_xact_user_tables
		WHERE schemaname = 'public'`)
	if err != nil {
		return nil, fmt.Errorf("list touched tables: %w", err)
	}
	all, err := pgx.CollectRows(rows, pgx.RowToStructByName[touchedRow])
	if err != nil {
		return nil, fmt.Errorf("list touched tables: %w", err)
	}
	out := map[string]int64{}
	for _, r := range all {
		out[r.TableName] = r.Written
	}
	return out, nil
}

type touchedRow struct {
	TableName string
	Written   int64
}

// verifyTrail fails when the transaction changed a table whose resource has no
// entry in the trail. before is what touched gave at its start.
func (t *Tx) verifyTrail(ctx context.Context, before map[string]int64, trail tx.Trail) error {
	after, err := t.touched(ctx)
	if err != nil {
		return err
	}
	said := map[string]bool{}
	for _, c := range trail.Changes {
		said[c.Resource] = true
	}
	for table, n := range after {
		if n == before[table] {
			continue
		}
		if strings.HasPrefix(table, "reading_") {
			table = "reading"
		}
		if !derived[table] && !said[resourceOf[table]] {
			return fmt.Errorf("the command changed table %s without a change entry for %q", table, resourceOf[table])
		}
	}
	return nil
}

func nilable(id uuid.UUID) *uuid.UUID {
	if id == uuid.Nil {
		return nil
	}
	return &id
}

func orNil(id *uuid.UUID) uuid.UUID {
	if id == nil {
		return uuid.Nil
	}
	return *id
}

func nonNil(s []string) []string {
	if s == nil {
		return []string{}
	}
	return s
}

func nonNilBytes(b []byte) []byte {
	if b == nil {
		return []byte{}
	}
	return b
}
