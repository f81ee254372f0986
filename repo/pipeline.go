package repo

import (
	"context"
	"fmt"
	"hash/fnv"
	"strconv"
	"sync"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"tankward/service/tx"
)

// query is one prepared statement of a bound read with what takes its rows.
type query struct {
	sql  string
	args []any
	scan func(pgx.Rows) error
}

// statementNames caches the name of each statement text; texts are constants.
var statementNames sync.Map

func statementName(sql string) string {
	if n, ok := statementNames.Load(sql); ok {
		return n.(string)
	}
	h := fnv.New64a()
	_, _ = h.Write([]byte(sql))
	n := "tw_" + strconv.FormatUint(h.Sum64(), 36)
	statementNames.Store(sql, n)
	return n
}

// bind gives the statement that binds a transaction to an organisation. The id
// is a parsed UUID, so it can stand in the text; SET takes no parameters.
func bind(org uuid.UUID) string {
	return "SET LOCAL tankward.org_id = '" + org.String() + "'"
}

// read runs the queries in one read-only transaction bound to the scope's
// organisation, sent as a single pipeline: one round trip however many.
func (db *DB) read(ctx context.Context, s tx.Scope, queries ...query) error {
	conn, err := db.pool.Acquire(ctx)
	if err != nil {
		return translate("acquire a connection", err)
	}
	defer conn.Release()
	c := conn.Conn()
	ready := make([]encoded, len(queries))
	for i, q := range queries {
		if ready[i], err = encode(ctx, c, q); err != nil {
			return translate("prepare", err)
		}
	}
	p := c.PgConn().StartPipeline(ctx)
	p.SendQueryParams("BEGIN READ ONLY", nil, nil, nil, nil)
	p.SendQueryParams(bind(s.Org), nil, nil, nil, nil)
	for _, e := range ready {
		p.SendQueryPrepared(e.name, e.values, e.formats, e.results)
	}
	p.SendQueryParams("COMMIT", nil, nil, nil, nil)
	err = p.Sync()
	if err == nil {
		err = collect(c, p, queries)
	}
	if closeErr := p.Close(); err == nil {
		err = closeErr
	}
	if err != nil {
		endFailed(ctx, c.PgConn())
		return translate("read", err)
	}
	return nil
}

// endFailed ends the transaction that an error leaves open; without this the
// pool would throw the connection away.
func endFailed(ctx context.Context, c *pgconn.PgConn) {
	if c.IsClosed() || c.TxStatus() == idle {
		return
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), rollbackLimit)
	defer cancel()
	_, _ = c.Exec(ctx, "ROLLBACK").ReadAll()
}

// idle is the protocol's word for a connection outside of a transaction.
const idle = 'I'

// encoded is a query that is ready to be sent. Everything is encoded before the
// pipeline starts, so that nothing of ours can fail in the midst of it.
type encoded struct {
	name             string
	values           [][]byte
	formats, results []int16
}

func encode(ctx context.Context, c *pgx.Conn, q query) (encoded, error) {
	sd, err := c.Prepare(ctx, statementName(q.sql), q.sql)
	if err != nil {
		return encoded{}, err
	}
	if len(q.args) != len(sd.ParamOIDs) {
		return encoded{}, fmt.Errorf("statement takes %d parameters, got %d", len(sd.ParamOIDs), len(q.args))
	}
	e := encoded{
		name: sd.Name, values: make([][]byte, len(q.args)),
		formats: make([]int16, len(q.args)), results: make([]int16, len(sd.Fields)),
	}
	for i, a := range q.args {
		e.formats[i] = c.TypeMap().FormatCodeForOID(sd.ParamOIDs[i])
		if s, ok := a.(string); ok && e.formats[i] == pgx.TextFormatCode {
			e.values[i] = []byte(s)
			continue
		}
		if e.values[i], err = c.TypeMap().Encode(sd.ParamOIDs[i], e.formats[i], a, nil); err != nil {
			return encoded{}, fmt.Errorf("encode parameter %d: %w", i+1, err)
		}
	}
	for i, f := range sd.Fields {
		e.results[i] = c.TypeMap().FormatCodeForOID(f.DataTypeOID)
	}
	return e, nil
}

func collect(c *pgx.Conn, p *pgconn.Pipeline, queries []query) error {
	for i := range 2 + len(queries) {
		res, err := p.GetResults()
		if err != nil {
			return err
		}
		rr, ok := res.(*pgconn.ResultReader)
		if !ok {
			return fmt.Errorf("unexpected %T in a pipeline", res)
		}
		if i < 2 {
			if _, err := rr.Close(); err != nil {
				return err
			}
			continue
		}
		rows := pgx.RowsFromResultReader(c.TypeMap(), rr)
		err = queries[i-2].scan(rows)
		rows.Close()
		if err != nil {
			return err
		}
		if err := rows.Err(); err != nil {
			return err
		}
	}
	return nil
}

// run is how several queries are sent at once: outside of a transaction by
// DB.read, inside of one by Tx.read.
type run func(ctx context.Context, queries ...query) error

// reader gives the way to read for a scope.
func (db *DB) reader(s tx.Scope) run {
	return func(ctx context.Context, queries ...query) error { return db.read(ctx, s, queries...) }
}

// read sends queries inside the command's transaction, in one round trip.
func (t *Tx) read(ctx context.Context, queries ...query) error {
	b := &pgx.Batch{}
	for _, q := range queries {
		b.Queue(q.sql, q.args...).Query(q.scan)
	}
	return translate("read in a transaction", t.tx.SendBatch(ctx, b).Close())
}

// into collects all rows of type R, matched by column name, and converts each.
func into[R, T any](dst *[]T, convert func(R) T) func(pgx.Rows) error {
	return func(rows pgx.Rows) error {
		out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (T, error) {
			row, err := pgx.RowToStructByName[R](r)
			if err != nil {
				var zero T
				return zero, err
			}
			return convert(row), nil
		})
		if err != nil {
			return err
		}
		*dst = out
		return nil
	}
}

// value scans a single column of a single row.
func value[T any](dst *T) func(pgx.Rows) error {
	return func(rows pgx.Rows) error {
		v, err := pgx.CollectExactlyOneRow(rows, pgx.RowTo[T])
		if err != nil {
			return err
		}
		*dst = v
		return nil
	}
}
