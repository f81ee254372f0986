package repo

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"tankward/service/care"
	"tankward/service/sweep"
)

var _ sweep.Store = (*DB)(nil)

// OrganisationsAfter gives a page of the directory, by id.
func (db *DB) OrganisationsAfter(ctx context.Context, after uuid.UUID, most int) ([]uuid.UUID, error) {
	rows, err := db.pool.Query(ctx, `
	SELECT org_id
	FROM organisation_directory
	WHERE org_id > $1
	ORDER BY org_id
	LIMIT $2`, after, most)
	if err != nil {
		return nil, translate("walk the directory", err)
	}
	ids, err := pgx.CollectRows(rows, pgx.RowTo[uuid.UUID])
	return ids, translate("walk the directory", err)
}

// SweepAnswers removes up to most answers of an organisation that were stored
// before a moment, the oldest first, and gives how many it removed. Answers are
// the service's own notes on requests, so no change entry is due.
func (db *DB) SweepAnswers(ctx context.Context, org uuid.UUID, before time.Time, most int) (int64, error) {
	return db.maintain(ctx, org, `
	WITH old AS (
		SELECT
			actor_id,
			key
		FROM stored_answer
		WHERE org_id = $1 AND created_at < $2
		ORDER BY created_at
		LIMIT $3
	)
	DELETE FROM stored_answer
	USING old
	WHERE stored_answer.org_id = $1
		AND stored_answer.actor_id = old.actor_id
		AND stored_answer.key = old.key`, org, before, most)
}

// EnsureReadingMonth makes the partition for the readings of a day's month.
func (db *DB) EnsureReadingMonth(ctx context.Context, d care.Day) error {
	_, err := db.pool.Exec(ctx, `SELECT ensure_reading_month($1)`, dayToSQL(d))
	return translate("make a month of readings", err)
}
