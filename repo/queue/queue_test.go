package queue

import (
	"context"
	"errors"
	"log/slog"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"tankward/repo"
	"tankward/repo/pgtest"
	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/sweep"
	"tankward/service/tx"
)

func TestMain(m *testing.M) { pgtest.Main(m, repo.Migrate) }

var testNow = time.Date(2026, time.March, 9, 8, 30, 0, 0, time.UTC)

func clock() time.Time { return testNow }

type bundle struct {
	url  string
	db   *repo.DB
	poll time.Duration
}

func setup(t *testing.T) bundle {
	t.Helper()
	b := bundle{url: pgtest.Database(t)}
	var err error
	b.db, err = repo.Open(t.Context(), b.url, repo.Options{
		Clock: clock, NewID: func() uuid.UUID { return uuid.Must(uuid.NewV7()) }, VerifyTrail: true,
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(b.db.Close)
	return b
}

// open gives a queue whose use cases, unless given, say that all is done.
func (b bundle) open(t *testing.T, use Use) *Queue {
	t.Helper()
	if use.SweepAnswers == nil {
		use.SweepAnswers = func(context.Context, uuid.UUID, func() bool) (sweep.Progress, error) {
			return sweep.Progress{Done: true}, nil
		}
	}
	if use.ReadingMonths == nil {
		use.ReadingMonths = func(context.Context) error { return nil }
	}
	q, err := Open(t.Context(), b.url, use, Options{Clock: clock, Log: slog.New(slog.DiscardHandler), PollEvery: b.poll})
	if err != nil {
		t.Fatal(err)
	}
	b.db.UseQueue(q)
	t.Cleanup(func() {
		if err := q.Stop(context.WithoutCancel(t.Context())); err != nil {
			t.Error(err)
		}
	})
	return q
}

func start(t *testing.T, q *Queue) {
	t.Helper()
	if err := q.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
}

// put runs a command that does nothing but make jobs, and then fails with end.
func (b bundle) put(t *testing.T, end error, jobs ...tx.Job) error {
	t.Helper()
	s := tx.Scope{Org: uuid.Must(uuid.NewV7()), Role: tx.Owner}
	_, _, err := repo.NewRunner(b.db, func(x *repo.Tx) *repo.Tx { return x }).InTx(t.Context(), s, "", [32]byte{},
		func(context.Context, *repo.Tx) (tx.Trail, tx.Answer, error) {
			return tx.Trail{Jobs: jobs}, tx.Answer{}, end
		})
	return err
}

func (b bundle) jobs(t *testing.T, kind string) int {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), b.url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.WithoutCancel(t.Context()))
	var n int
	if err := conn.QueryRow(t.Context(), `SELECT count(*) FROM river.river_job WHERE kind = $1`, kind).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

func wait[T any](t *testing.T, c <-chan T) T {
	t.Helper()
	select {
	case v := <-c:
		return v
	case <-time.After(30 * time.Second):
		t.Fatal("nothing happened in 30 s")
		panic("unreachable")
	}
}

func sweepAfter(after uuid.UUID) tx.Job { return tx.Job{Kind: SweepAnswers, Args: sweepArgs{after}} }

// The queue polls once an hour here, so a job put in after the start is only
// worked because the listener, under the application's role, heard of it.
func TestWorkersHearOfJobs(t *testing.T) {
	t.Parallel()
	b := setup(t)
	b.poll = time.Hour
	worked := make(chan uuid.UUID, 100)
	q := b.open(t, Use{SweepAnswers: func(_ context.Context, after uuid.UUID, _ func() bool) (sweep.Progress, error) {
		worked <- after
		return sweep.Progress{Done: true}, nil
	}})
	before := uuid.Must(uuid.NewV7())
	if err := b.put(t, nil, sweepAfter(before)); err != nil {
		t.Fatal(err)
	}
	start(t, q)
	for wait(t, worked) != before { // the daily job may come first
	}
	// The first look at the queue is over. The listener may not be ready yet, so
	// one job may go unheard; one of the next has to bring them all.
	want := map[uuid.UUID]bool{}
	for len(want) == 0 || len(worked) == 0 {
		id := uuid.Must(uuid.NewV7())
		want[id] = true
		if err := b.put(t, nil, sweepAfter(id)); err != nil {
			t.Fatal(err)
		}
		select {
		case got := <-worked:
			if got != uuid.Nil {
				delete(want, got)
			}
		case <-time.After(200 * time.Millisecond):
			continue
		case <-t.Context().Done():
			t.Fatal("no job put in after the start was heard of")
		}
		break
	}
	for len(want) > 0 {
		delete(want, wait(t, worked))
	}
}

func TestJobGoesWithItsCommand(t *testing.T) {
	t.Parallel()
	b := setup(t)
	b.open(t, Use{})
	refused := fault.Denied("no")
	if err := b.put(t, refused, sweepAfter(uuid.Nil)); !errors.Is(err, refused) {
		t.Fatalf("got %v, want the command's own refusal", err)
	}
	if n := b.jobs(t, SweepAnswers); n != 0 {
		t.Errorf("a command that failed left %d jobs", n)
	}
	if err := b.put(t, nil, sweepAfter(uuid.Nil), sweepAfter(uuid.Max)); err != nil {
		t.Fatal(err)
	}
	if n := b.jobs(t, SweepAnswers); n != 2 {
		t.Errorf("the command left %d jobs, want 2", n)
	}
}

func TestUnknownKindFailsTheCommand(t *testing.T) {
	t.Parallel()
	b := setup(t)
	b.open(t, Use{})
	if err := b.put(t, nil, sweepAfter(uuid.Nil), tx.Job{Kind: "make_coffee"}); err == nil {
		t.Error("a job that no worker knows was put in")
	}
	if n := b.jobs(t, SweepAnswers); n != 0 {
		t.Errorf("the failed command left %d jobs", n)
	}
}

func TestSweepGoesOnInSlices(t *testing.T) {
	t.Parallel()
	b := setup(t)
	ids := []uuid.UUID{uuid.Nil, uuid.Must(uuid.NewV7()), uuid.Must(uuid.NewV7())}
	slices := make(chan uuid.UUID, 10)
	q := b.open(t, Use{SweepAnswers: func(_ context.Context, after uuid.UUID, _ func() bool) (sweep.Progress, error) {
		slices <- after
		for i, id := range ids[:2] {
			if after == id {
				return sweep.Progress{Last: ids[i+1]}, nil
			}
		}
		return sweep.Progress{Last: after, Done: true}, nil
	}})
	start(t, q) // the daily job begins
	var got []uuid.UUID
	for range ids {
		got = append(got, wait(t, slices))
	}
	if diff := cmp.Diff(ids, got); diff != "" {
		t.Errorf("slices began after (-want +got):\n%s", diff)
	}
	if n := b.jobs(t, SweepAnswers); n != 3 {
		t.Errorf("the sweep took %d jobs, want one a slice", n)
	}
}

func TestOneDailyJobForAllProcesses(t *testing.T) {
	t.Parallel()
	b := setup(t)
	for range 2 {
		made := make(chan struct{}, 10)
		q := b.open(t, Use{ReadingMonths: func(context.Context) error {
			made <- struct{}{}
			return nil
		}})
		start(t, q)
		if b.jobs(t, ReadingMonths) == 0 {
			wait(t, made)
		}
		if err := q.client.Stop(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	if n := b.jobs(t, ReadingMonths); n != 1 {
		t.Errorf("two processes put in %d daily jobs, want 1", n)
	}
}

func TestStopLetsAJobFinish(t *testing.T) {
	t.Parallel()
	b := setup(t)
	begun, end, finished := make(chan struct{}), make(chan struct{}), make(chan error, 1)
	q := b.open(t, Use{ReadingMonths: func(ctx context.Context) error {
		close(begun)
		<-end
		finished <- ctx.Err()
		return nil
	}})
	ctx, cancel := context.WithCancel(t.Context())
	if err := q.Start(ctx); err != nil {
		t.Fatal(err)
	}
	wait(t, begun)
	cancel() // as a signal to the process does
	stopped := make(chan error, 1)
	go func() { stopped <- q.client.Stop(context.WithoutCancel(ctx)) }()
	close(end)
	if err := wait(t, finished); err != nil {
		t.Errorf("the job's context ended before the job: %v", err)
	}
	if err := wait(t, stopped); err != nil {
		t.Error(err)
	}
}

func TestStopBreaksOffAJobThatHangs(t *testing.T) {
	t.Parallel()
	b := setup(t)
	begun := make(chan struct{})
	q := b.open(t, Use{ReadingMonths: func(ctx context.Context) error {
		close(begun)
		<-ctx.Done()
		return ctx.Err()
	}})
	start(t, q)
	wait(t, begun)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := q.Stop(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want to hear that the wait was cut short", err)
	}
}

func TestDailyJobsOnRealTables(t *testing.T) {
	t.Parallel()
	b := setup(t)
	swept, made := make(chan error, 10), make(chan error, 10)
	q := b.open(t, Use{
		SweepAnswers: func(ctx context.Context, after uuid.UUID, goOn func() bool) (sweep.Progress, error) {
			p, err := sweep.Answers(ctx, b.db, after, testNow, goOn)
			swept <- err
			return p, err
		},
		ReadingMonths: func(ctx context.Context) error {
			err := sweep.ReadingMonths(ctx, b.db, care.DayOf(testNow))
			made <- err
			return err
		},
	})
	start(t, q)
	if err := errors.Join(wait(t, swept), wait(t, made)); err != nil {
		t.Fatal(err)
	}
	conn, err := pgx.Connect(t.Context(), b.url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.WithoutCancel(t.Context()))
	rows, err := conn.Query(t.Context(), `
		SELECT inhrelid::regclass::text
		FROM pg_inherits
		WHERE inhparent = 'reading'::regclass
		ORDER BY 1`)
	if err != nil {
		t.Fatal(err)
	}
	got, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]string{"reading_202603", "reading_202604", "reading_202605"}, got); diff != "" {
		t.Errorf("months (-want +got):\n%s", diff)
	}
}
