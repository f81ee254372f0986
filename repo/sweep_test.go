package repo

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"tankward/service/sweep"
	"tankward/service/tx"
)

// keep stores the answers of n commands of a scope, made at a moment.
func keep(t *testing.T, w *world, s tx.Scope, n int, at time.Time) {
	t.Helper()
	then := DB{pool: w.db.pool, clock: func() time.Time { return at }, newID: newID}
	for range n {
		if _, _, err := (keyed{key: newID().String(), id: newID()}).run(t.Context(), &then, s); err != nil {
			t.Fatal(err)
		}
	}
}

func TestSweepRemovesOldAnswersOfAll(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	limit := testNow.Add(-sweep.AnswersKept)
	for _, s := range []tx.Scope{w.a.Scope, w.b.Scope} {
		keep(t, w, s, 3, limit.Add(-time.Second))
		keep(t, w, s, 2, limit)
	}
	keep(t, w, w.b.Scope, 1, testNow.Add(-365*24*time.Hour))
	head, err := w.db.Head(t.Context(), w.a.Scope)
	if err != nil {
		t.Fatal(err)
	}
	p, err := sweep.Answers(t.Context(), w.db, uuid.Nil, testNow, func() bool { return true })
	if err != nil {
		t.Fatal(err)
	}
	if p.Removed != 7 || !p.Done {
		t.Errorf("progress %+v, want 7 removed and all done", p)
	}
	for _, s := range []tx.Scope{w.a.Scope, w.b.Scope} {
		if n := rows(t, w.db, s, "stored_answer"); n != 2 {
			t.Errorf("%d answers are left, want 2", n)
		}
	}
	if after, err := w.db.Head(t.Context(), w.a.Scope); after != head || err != nil {
		t.Errorf("the sweep made changes: head %d, before %d, %v", after, head, err)
	}
}

func TestSweepGoesOnWhereItStopped(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for range 3 {
		newTenant(t, w.db, "Cedar")
	}
	orgs, err := w.db.OrganisationsAfter(t.Context(), uuid.Nil, 10)
	if err != nil || len(orgs) != 5 {
		t.Fatalf("%d organisations, %v", len(orgs), err)
	}
	var slices []uuid.UUID
	var p sweep.Progress
	for !p.Done {
		steps := 0
		p, err = sweep.Answers(t.Context(), w.db, p.Last, testNow, func() bool { steps++; return steps <= 2 })
		if err != nil {
			t.Fatal(err)
		}
		slices = append(slices, p.Last)
	}
	if diff := cmp.Diff([]uuid.UUID{orgs[1], orgs[3], orgs[4]}, slices); diff != "" {
		t.Errorf("slices of two ended at (-want +got):\n%s", diff)
	}
}

func TestSweepTakesNoMoreThanItsBatch(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	keep(t, w, w.a.Scope, 3, testNow.Add(-2*time.Hour))
	keep(t, w, w.a.Scope, 3, testNow.Add(-time.Hour))
	for i, want := range []int64{4, 2, 0} {
		if n, err := w.db.SweepAnswers(t.Context(), w.a.Org, testNow, 4); n != want || err != nil {
			t.Errorf("batch %d: %d removed, %v, want %d", i+1, n, err, want)
		}
	}
}

func TestOrganisationsInPages(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	newTenant(t, w.db, "Cedar")
	var paged, walked []uuid.UUID
	for after := uuid.Nil; ; {
		page, err := w.db.OrganisationsAfter(t.Context(), after, 2)
		if err != nil {
			t.Fatal(err)
		}
		if len(page) == 0 {
			break
		}
		paged = append(paged, page...)
		after = page[len(page)-1]
	}
	err := w.db.Organisations(t.Context(), func(org uuid.UUID) error {
		walked = append(walked, org)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(walked, paged); diff != "" || len(paged) != 3 {
		t.Errorf("pages (-walked +paged):\n%s", diff)
	}
}
