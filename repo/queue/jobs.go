package queue

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"

	"tankward/repo"
)

// sweepArgs is the checkpoint of a sweep: it goes on after this organisation.
type sweepArgs struct {
	After uuid.UUID `json:"after"`
}

// Kind implements river.JobArgs.
func (sweepArgs) Kind() string { return SweepAnswers }

type sweepWorker struct {
	river.WorkerDefaults[sweepArgs]
	use   Use
	pool  *pgxpool.Pool
	clock func() time.Time
}

// Work implements river.Worker.
func (w *sweepWorker) Work(ctx context.Context, job *river.Job[sweepArgs]) error {
	until := w.clock().Add(slice)
	p, err := w.use.SweepAnswers(ctx, job.Args.After, func() bool { return w.clock().Before(until) })
	if err != nil || p.Done {
		return err
	}
	return w.next(ctx, job, sweepArgs{After: p.Last})
}

// next ends a slice and puts the following one in, both or neither.
func (w *sweepWorker) next(ctx context.Context, job *river.Job[sweepArgs], args sweepArgs) error {
	client, err := river.ClientFromContextSafely[pgx.Tx](ctx)
	if err != nil {
		return fmt.Errorf("go on with a sweep: %w", err)
	}
	return repo.Together(ctx, w.pool, func(t pgx.Tx) error {
		if _, err := client.InsertTx(ctx, t, args, nil); err != nil {
			return fmt.Errorf("go on with a sweep: %w", err)
		}
		if _, err := river.JobCompleteTx[*riverpgxv5.Driver](ctx, t, job); err != nil {
			return fmt.Errorf("end a slice of a sweep: %w", err)
		}
		return nil
	})
}

type monthsArgs struct{}

// Kind implements river.JobArgs.
func (monthsArgs) Kind() string { return ReadingMonths }

type monthsWorker struct {
	river.WorkerDefaults[monthsArgs]
	use Use
}

// Work implements river.Worker.
func (w *monthsWorker) Work(ctx context.Context, _ *river.Job[monthsArgs]) error {
	return w.use.ReadingMonths(ctx)
}
