package repo

import (
	"context"

	"github.com/google/uuid"

	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
)

type customerRow struct {
	metaRow
	Name        string
	ContactName string
	Email       string
	Phone       string
	Note        string
}

func (r customerRow) customer() fleet.Customer {
	return fleet.Customer{Meta: r.meta(), Fields: fleet.CustomerFields{
		Name: r.Name, ContactName: r.ContactName, Email: r.Email, Phone: r.Phone, Note: r.Note,
	}}
}

const customerColumns = `
		id,
		version,
		created_at,
		updated_at,
		archived_at,
		name,
		contact_name,
		email,
		phone,
		note`

var customerSQL = statements{
	resource: "customer",
	insert: `
	INSERT INTO customer (
		org_id,
		id,
		version,
		created_at,
		updated_at,
		create_hash,
		name,
		contact_name,
		email,
		phone,
		note
	)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)
	ON CONFLICT (org_id, id) DO NOTHING`,
	save: `
	UPDATE customer
	SET
		version = $3,
		updated_at = $4,
		archived_at = $5,
		name = $6,
		contact_name = $7,
		email = $8,
		phone = $9,
		note = $10
	WHERE org_id = $1 AND id = $2`,
	load: `
	SELECT` + customerColumns + `
	FROM customer
	WHERE org_id = $1 AND id = $2
	FOR NO KEY UPDATE`,
	hash: `SELECT create_hash FROM customer WHERE org_id = $1 AND id = $2`,
}

// Customers gives the store of customers in this transaction.
func (t *Tx) Customers() resource.Store[fleet.CustomerFields] {
	return store[fleet.CustomerFields, customerRow]{
		t: t, sql: customerSQL, row: customerRow.customer,
		fields: func(f fleet.CustomerFields) []any {
			return []any{f.Name, f.ContactName, f.Email, f.Phone, f.Note}
		},
	}
}

// Customer gives one customer.
func (db *DB) Customer(ctx context.Context, s tx.Scope, id uuid.UUID) (fleet.Customer, error) {
	return get(ctx, db, s, named("customer", id, customerRow.customer), `
	SELECT`+customerColumns+`
	FROM customer
	WHERE org_id = $1 AND id = $2`)
}

// Customers lists customers by id.
func (db *DB) Customers(ctx context.Context, s tx.Scope, p resource.Paging) (resource.Page[fleet.Customer], error) {
	return list(ctx, asked{db, s, p}, customerRow.customer, `
	SELECT`+customerColumns+`
	FROM customer
	WHERE org_id = $1 AND id > $2 AND (archived_at IS NOT NULL) = $4
	ORDER BY id
	LIMIT $3`)
}
