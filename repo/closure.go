package repo

import (
	"context"
	"time"

	"github.com/google/uuid"

	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
)

type closureRow struct {
	metaRow
	SiteID    *uuid.UUID
	FromDay   time.Time
	ToDay     time.Time
	Reason    string
	EnteredOn time.Time
}

func (r closureRow) closure() fleet.Closure {
	return fleet.Closure{Meta: r.meta(), Fields: fleet.ClosureFields{
		SiteID: orNil(r.SiteID), From: dayFromSQL(r.FromDay), To: dayFromSQL(r.ToDay),
		Reason: r.Reason, EnteredOn: dayFromSQL(r.EnteredOn),
	}}
}

const closureColumns = `
		id,
		version,
		created_at,
		updated_at,
		archived_at,
		site_id,
		from_day,
		to_day,
		reason,
		entered_on`

var closureSQL = statements{
	resource: "closure",
	insert: `
	INSERT INTO closure (
		org_id,
		id,
		version,
		created_at,
		updated_at,
		create_hash,
		site_id,
		from_day,
		to_day,
		reason,
		entered_on
	)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)
	ON CONFLICT (org_id, id) DO NOTHING`,
	save: `
	UPDATE closure
	SET
		version = $3,
		updated_at = $4,
		archived_at = $5,
		site_id = $6,
		from_day = $7,
		to_day = $8,
		reason = $9,
		entered_on = $10
	WHERE org_id = $1 AND id = $2`,
	load: `
	SELECT` + closureColumns + `
	FROM closure
	WHERE org_id = $1 AND id = $2
	FOR NO KEY UPDATE`,
	hash: `SELECT create_hash FROM closure WHERE org_id = $1 AND id = $2`,
}

// Closures gives the store of closures in this transaction.
func (t *Tx) Closures() resource.Store[fleet.ClosureFields] {
	return store[fleet.ClosureFields, closureRow]{
		t: t, sql: closureSQL, row: closureRow.closure,
		fields: func(f fleet.ClosureFields) []any {
			return []any{nilable(f.SiteID), dayToSQL(f.From), dayToSQL(f.To), f.Reason, dayToSQL(f.EnteredOn)}
		},
	}
}

// Closure gives one closure.
func (db *DB) Closure(ctx context.Context, s tx.Scope, id uuid.UUID) (fleet.Closure, error) {
	return get(ctx, db, s, named("closure", id, closureRow.closure), `
	SELECT`+closureColumns+`
	FROM closure
	WHERE org_id = $1 AND id = $2`)
}

// Closures lists closures by id.
func (db *DB) Closures(ctx context.Context, s tx.Scope, f fleet.ClosureFilter, p resource.Paging) (resource.Page[fleet.Closure], error) {
	return list(ctx, asked{db, s, p}, closureRow.closure, `
	SELECT`+closureColumns+`
	FROM closure
	WHERE org_id = $1 AND id > $2 AND (archived_at IS NOT NULL) = $4
		AND ($5::uuid IS NULL OR site_id = $5)
		AND ($6::date IS NULL OR to_day >= $6)
		AND ($7::date IS NULL OR from_day <= $7)
	ORDER BY id
	LIMIT $3`, nilable(f.Site), dayPtrToSQL(f.From), dayPtrToSQL(f.To))
}
