package repo

import (
	"context"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/resource"
	"tankward/service/rounds"
	"tankward/service/tx"
	"tankward/service/visits"
)

// What is stored of a round comes back to the letter.
func TestRoundIsReadAsItWasStored(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	o := ownRound(t, w, w.a.Scope)
	book, err := w.db.Rounds(t.Context(), w.a.Scope, []visits.Key{o.key()})
	if err != nil || len(book.Rounds) != 1 {
		t.Fatalf("%d rounds, %v", len(book.Rounds), err)
	}
	got := book.Rounds[0]
	// Names, load and the present state of the work are added when it is shown.
	shown := []cmp.Option{
		cmpopts.IgnoreFields(visits.Round{}, "MemberName", "Load"), cmpopts.IgnoreFields(visits.Unserved{}, "SiteName"),
		cmpopts.IgnoreFields(visits.Visit{}, "Site", "Load"), cmpopts.IgnoreFields(visits.Item{}, "TankName", "DueItem.Zone"),
		cmpopts.EquateEmpty(), cmp.Comparer(func(a, b *care.Rule) bool { return a == b }),
	}
	if diff := cmp.Diff(o.round, got, shown...); diff != "" {
		t.Errorf("stored round (-made +read):\n%s", diff)
	}
	for _, v := range got.Visits {
		if book.Sites[v.Site.ID].Fields.Name == "" || book.Tanks[v.Items[0].Routine.Fields.TankID].Fields.Name == "" {
			t.Errorf("site %s or its tank is missing", v.Site.ID)
		}
	}
	if _, ok := book.Sites[got.Unserved[0].SiteID]; !ok {
		t.Error("the site that was left out is missing")
	}
}

// The unique constraint lets one of two rounds of a day in; the other transaction
// learns of it without an error.
func TestSecondRoundOfADayIsRefused(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	o := ownRound(t, w, w.a.Scope)
	before := snapshot(t, w)
	must(t, w.db, w.a.Scope, func(ctx context.Context, x *Tx) (tx.Trail, error) {
		second := o.round
		second.ID = newID()
		added, err := x.InsertRound(ctx, second)
		if added {
			t.Error("the second round was added")
		}
		return tx.Trail{}, err
	})
	if diff := cmp.Diff(before, snapshot(t, w)); diff != "" {
		t.Errorf("the second round left something (-before +after):\n%s", diff)
	}
}

func TestVisitsAreSavedAndItemsAdded(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	o := ownRound(t, w, w.a.Scope)
	v := o.round.Visits[0]
	started, finished := testNow.Add(time.Minute), testNow.Add(time.Hour)
	v.State, v.Version, v.UpdatedAt, v.StartedAt, v.FinishedAt = visits.Finished, 2, finished, &started, &finished
	v.ArriveAt, v.BeginAt, v.DepartAt = started, started.Add(time.Minute), finished
	v.ServiceMinutes, v.Drive = 7, rounds.Leg{Minutes: 3, Metres: 1234}
	later := v.Items[0]
	later.Identity, later.AddedLater, later.State = care.Identity{NominalDue: later.NominalDue + 1, Ordinal: 2}, true, care.Overdue
	later.LateSince, later.DonePercent, later.NoAccessCount, later.Level = later.Latest+1, 40, 3, 62.5
	round := o.round
	round.Version, round.Notes, round.Unserved, round.StartAt, round.EndAt = 2, []string{"a note"}, nil, nil, nil
	must(t, w.db, w.a.Scope, func(ctx context.Context, x *Tx) (tx.Trail, error) {
		seen, err := x.LockRound(ctx, o.key())
		if want := (visits.Versions{o.round.ID: 1, v.ID: 1, o.round.Visits[1].ID: 1}); !cmp.Equal(want, seen) {
			t.Errorf("locked %v, want %v", seen, want)
		}
		if err == nil {
			err = x.SaveVisits(ctx, []visits.Visit{v})
		}
		if err == nil {
			err = x.InsertItems(ctx, map[uuid.UUID][]visits.Item{v.ID: {later}})
		}
		if err == nil {
			err = x.SaveRound(ctx, round)
		}
		trail := tx.Did(tx.Change{Resource: "round", Action: "changed", ID: round.ID})
		trail.Add(tx.Did(tx.Change{Resource: "visit", Action: "changed", ID: v.ID}))
		return trail, err
	})
	page, err := w.db.Visits(t.Context(), w.a.Scope, visits.Filter{State: visits.Finished}, resource.Paging{Limit: 5})
	if err != nil || len(page.Visits) != 1 {
		t.Fatalf("%d visits, %v", len(page.Visits), err)
	}
	got := page.Visits[0]
	if diff := cmp.Diff(v, got, cmpopts.IgnoreFields(visits.Visit{}, "Site", "Load", "Items")); diff != "" {
		t.Errorf("visit (-saved +read):\n%s", diff)
	}
	for _, it := range got.Items {
		if it.Identity == later.Identity {
			if diff := cmp.Diff(later.Item, it.Item, cmpopts.EquateEmpty()); diff != "" || !it.AddedLater {
				t.Errorf("item (-added +read):\n%s", diff)
			}
		}
	}
	if len(got.Items) != 2 {
		t.Errorf("%d items", len(got.Items))
	}
	book, err := w.db.Rounds(t.Context(), w.a.Scope, []visits.Key{o.key()})
	if err != nil || book.Rounds[0].Version != 2 || len(book.Rounds[0].Unserved) != 0 || book.Rounds[0].StartAt != nil || book.Rounds[0].Notes[0] != "a note" {
		t.Errorf("round: %+v, %v", book.Rounds, err)
	}
}
