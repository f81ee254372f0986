// Package queue is the job queue: jobs go in with the transaction that makes
// them due, and workers call use cases. Its tables have a schema of their own and
// belong to no organisation.
package queue

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"

	"tankward/repo"
	"tankward/service/sweep"
)

// The kinds of jobs.
const (
	SweepAnswers  = "sweep_answers"
	ReadingMonths = "reading_months"
)

const (
	// jobTimeout bounds one run; a process that was killed leaves its jobs to
	// others after rescueAfter. The library's own limits are a minute and an hour.
	jobTimeout  = 30 * time.Second
	rescueAfter = 60 * time.Second
	// slice is how long a job that walks all organisations goes on before it
	// leaves the rest to the next, well within jobTimeout.
	slice = 20 * time.Second
	// lookEvery is how often the leader sees whether today's run of a daily job
	// is there; a change of leader would forget a plain daily timer.
	lookEvery = time.Hour
	daily     = 24 * time.Hour
	// stopLimit is for a job that doesn't end when it is told to.
	stopLimit  = 5 * time.Second
	maxWorkers = 4
	// maxConns: the workers, the listener, and the queue's own statements.
	maxConns = maxWorkers + 4
)

// Use are the use cases that jobs carry out.
type Use struct {
	// SweepAnswers removes old answers, after one organisation in the order of
	// their ids, as long as goOn says so.
	SweepAnswers func(ctx context.Context, after uuid.UUID, goOn func() bool) (sweep.Progress, error)
	// ReadingMonths makes room for the readings of this month and those ahead.
	ReadingMonths func(ctx context.Context) error
}

// Options tune a Queue.
type Options struct {
	Clock func() time.Time // required
	Log   *slog.Logger     // required
	// PollEvery is how often workers look for jobs without being told of one;
	// zero means every second.
	PollEvery time.Duration
}

// Queue puts jobs into the queue and, once started, works them. It implements
// repo.JobInserter.
type Queue struct {
	pool   *pgxpool.Pool
	client *river.Client[pgx.Tx]
}

var _ repo.JobInserter = (*Queue)(nil)

// Open connects to the database at url as the application. The queue's tables
// are made by repo.Migrate.
func Open(ctx context.Context, url string, use Use, o Options) (*Queue, error) {
	pool, err := repo.OpenPool(ctx, url, maxConns)
	if err != nil {
		return nil, err
	}
	workers := river.NewWorkers()
	if err := errors.Join(
		river.AddWorkerSafely(workers, &sweepWorker{use: use, pool: pool, clock: o.Clock}),
		river.AddWorkerSafely(workers, &monthsWorker{use: use}),
	); err != nil {
		pool.Close()
		return nil, fmt.Errorf("register workers: %w", err)
	}
	client, err := river.NewClient(riverpgxv5.New(pool), &river.Config{
		Schema:               repo.QueueSchema,
		Logger:               slog.New(quiet{o.Log.Handler()}),
		Workers:              workers,
		Queues:               map[string]river.QueueConfig{river.QueueDefault: {MaxWorkers: maxWorkers}},
		JobTimeout:           jobTimeout,
		RescueStuckJobsAfter: rescueAfter,
		FetchPollInterval:    o.PollEvery,
		PeriodicJobs:         []*river.PeriodicJob{everyDay(sweepArgs{}), everyDay(monthsArgs{})},
		// Rebuilding an index needs its owner, which the application is not.
		ReindexerSchedule: river.NeverSchedule(),
	})
	if err != nil {
		pool.Close()
		return nil, fmt.Errorf("set up the job queue: %w", err)
	}
	return &Queue{pool: pool, client: client}, nil
}

// everyDay puts a job in at the start and once a day, however often leaders and
// processes change.
func everyDay(args river.JobArgs) *river.PeriodicJob {
	return river.NewPeriodicJob(river.PeriodicInterval(lookEvery),
		func() (river.JobArgs, *river.InsertOpts) {
			return args, &river.InsertOpts{UniqueOpts: river.UniqueOpts{ByArgs: true, ByPeriod: daily}}
		},
		&river.PeriodicJobOpts{RunOnStart: true})
}

// Start begins to work jobs, until Stop.
func (q *Queue) Start(ctx context.Context) error {
	// The end of ctx must not break jobs off: Stop lets them finish.
	if err := q.client.Start(context.WithoutCancel(ctx)); err != nil {
		return fmt.Errorf("start the job queue: %w", err)
	}
	return nil
}

// Stop takes no more jobs, waits for those that run and closes the connections.
// When ctx ends first, running jobs are cancelled; they are tried again later.
func (q *Queue) Stop(ctx context.Context) error {
	defer q.pool.Close()
	err := q.client.Stop(ctx)
	if err == nil || ctx.Err() == nil {
		return err
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopLimit)
	defer cancel()
	return errors.Join(err, q.client.StopAndCancel(ctx))
}

// InsertTx implements repo.JobInserter; a kind that no worker knows is an error.
func (q *Queue) InsertTx(ctx context.Context, t pgx.Tx, kind string, args any) error {
	if _, err := q.client.InsertTx(ctx, t, anyArgs{kind, args}, nil); err != nil {
		return fmt.Errorf("insert job %s: %w", kind, err)
	}
	return nil
}

// anyArgs passes on what a command gave: the service does not know the library.
type anyArgs struct {
	kind string
	args any
}

// Kind implements river.JobArgs.
func (a anyArgs) Kind() string { return a.kind }

// MarshalJSON implements json.Marshaler.
func (a anyArgs) MarshalJSON() ([]byte, error) { return json.Marshal(a.args) }

// quiet leaves out what the queue says of itself every few seconds.
type quiet struct{ slog.Handler }

// Enabled implements slog.Handler.
func (q quiet) Enabled(ctx context.Context, l slog.Level) bool {
	return l >= slog.LevelWarn && q.Handler.Enabled(ctx, l)
}

// WithAttrs implements slog.Handler.
func (q quiet) WithAttrs(as []slog.Attr) slog.Handler { return quiet{q.Handler.WithAttrs(as)} }

// WithGroup implements slog.Handler.
func (q quiet) WithGroup(name string) slog.Handler { return quiet{q.Handler.WithGroup(name)} }
