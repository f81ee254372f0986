package repo

import (
	"context"
	"testing"

	"github.com/google/uuid"

	"tankward/service/access"
	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
	"tankward/service/visits"
	"tankward/service/work"
)

// roundThings is a stored round of organisation A: two visits, and a site that is
// shut.
type roundThings struct {
	driver access.Member
	round  visits.Round
}

func visitsOn(db *DB) *visits.Service {
	return visits.New(NewRunner(db, func(t *Tx) visits.Tx { return t }), db, workOn(db), newID)
}

func ownRound(t *testing.T, w *world, s tx.Scope) roundThings {
	t.Helper()
	var o roundThings
	o.driver = addMember(t, w, s, func(f *access.MemberFields) {
		f.Shifts = []fleet.Window{{Weekday: 1, From: 8 * 60, To: 17 * 60}}
		f.StartPosition = &fleet.Point{Lat: 38.70, Lon: -9.14}
	})
	for i, windows := range [][]fleet.Window{nil, {{Weekday: 1, From: 9 * 60, To: 12 * 60}}, {{Weekday: 1, From: 20 * 60, To: 21 * 60}}} {
		site := addSite(t, w, s, func(f *fleet.SiteFields) {
			f.ResponsibleMember, f.AccessWindows = o.driver.ID, windows
			f.Position.Lat += float64(i) / 100
		})
		tank := addTank(t, w, s, func(f *fleet.TankFields) { f.SiteID = site.ID })
		addRoutine(t, w, s, func(f *work.RoutineFields) { f.TankID = tank.ID })
	}
	var err error
	if o.round, _, err = visitsOn(w.db).Round(t.Context(), s, o.driver.ID, nil, testNow); err != nil {
		t.Fatal(err)
	}
	if len(o.round.Visits) != 2 || len(o.round.Unserved) != 1 || !o.round.Stored() {
		t.Fatalf("%d visits, left out %v", len(o.round.Visits), o.round.Unserved)
	}
	return o
}

func (o roundThings) key() visits.Key { return visits.Key{Member: o.driver.ID, Day: o.round.Day} }

// onRounds has the attempts on rounds and visits.
var onRounds = map[string]attempt{
	"Tx.InsertRound": func(t *testing.T, w *world, own owned) {
		t.Helper()
		wantFault(t, asB(t, w, "round visit", func(ctx context.Context, x *Tx) error {
			_, err := x.InsertRound(ctx, own.round)
			return err
		}), fault.Conflict)
	},
	"Tx.LockRound": mineOnly("", func(ctx context.Context, t *testing.T, x *Tx, o owned) error {
		t.Helper()
		found, err := x.LockRound(ctx, o.roundThings.key())
		if len(found) != 0 {
			t.Errorf("locked %v", found)
		}
		return err
	}),
	"Tx.SaveRound": mineOnly("round", func(ctx context.Context, _ *testing.T, x *Tx, o owned) error {
		r := o.round
		r.Version, r.Unserved, r.Notes = 99, nil, []string{"spoiled"}
		return x.SaveRound(ctx, r)
	}),
	"Tx.InsertVisits": func(t *testing.T, w *world, own owned) {
		t.Helper()
		v := own.round.Visits[0]
		v.ID, v.Items = newID(), nil
		wantFault(t, asB(t, w, "visit", func(ctx context.Context, x *Tx) error { return x.InsertVisits(ctx, []visits.Visit{v}) }), fault.Conflict)
	},
	"Tx.InsertItems": func(t *testing.T, w *world, own owned) {
		t.Helper()
		v := own.round.Visits[0]
		it := v.Items[0]
		it.Ordinal++
		wantFault(t, asB(t, w, "visit", func(ctx context.Context, x *Tx) error {
			return x.InsertItems(ctx, map[uuid.UUID][]visits.Item{v.ID: {it}})
		}), fault.Conflict)
	},
	"Tx.SaveVisits": mineOnly("visit", func(ctx context.Context, _ *testing.T, x *Tx, o owned) error {
		v := o.round.Visits[0]
		v.State, v.Version = visits.Abandoned, 99
		return x.SaveVisits(ctx, []visits.Visit{v})
	}),
	"Tx.LoadVisit": notMine(func(ctx context.Context, x *Tx, o owned) error {
		_, err := x.LoadVisit(ctx, o.round.Visits[0].ID)
		return err
	}),
	"DB.Crew": finds(func(ctx context.Context, db *DB, s tx.Scope, o owned) (int, error) {
		page, err := db.Crew(ctx, s, visits.CrewFilter{Member: o.driver.ID}, resource.Paging{Limit: 10})
		if err != nil {
			return 0, err
		}
		all, err := db.Crew(ctx, s, visits.CrewFilter{}, resource.Paging{Limit: 10})
		return len(page.Items) + len(all.Items), err
	}),
	"DB.Rounds": finds(func(ctx context.Context, db *DB, s tx.Scope, o owned) (int, error) {
		book, err := db.Rounds(ctx, s, []visits.Key{o.roundThings.key()})
		return len(book.Rounds) + len(book.Sites) + len(book.Tanks) + len(book.Closures), err
	}),
	"DB.Visits": finds(func(ctx context.Context, db *DB, s tx.Scope, o owned) (int, error) {
		page, err := db.Visits(ctx, s, visits.Filter{ID: o.round.Visits[0].ID}, resource.Paging{Limit: 10})
		if err != nil {
			return 0, err
		}
		all, err := db.Visits(ctx, s, visits.Filter{}, resource.Paging{Limit: 10})
		return len(page.Visits) + len(page.Sites) + len(page.Tanks) + len(all.Visits), err
	}),
}

// The use cases too know nothing of another organisation.
func TestRoundsFromOutside(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	o := ownRound(t, w, w.a.Scope)
	service := visitsOn(w.db)
	_, _, err := service.Round(t.Context(), w.b.Scope, o.driver.ID, nil, testNow)
	wantFault(t, err, fault.NotFound)
	_, _, err = service.Visit(t.Context(), w.b.Scope, o.round.Visits[0].ID, testNow)
	wantFault(t, err, fault.NotFound)
	call := tx.Call[visits.Visit]{Scope: w.b.Scope, Now: testNow}
	for _, move := range []func(context.Context, tx.Call[visits.Visit], visits.Move) (tx.Outcome[visits.Visit], error){service.Start, service.Finish} {
		_, err = move(t.Context(), call, visits.Move{Visit: o.round.Visits[0].ID})
		wantFault(t, err, fault.NotFound)
	}
	page, err := service.Rounds(t.Context(), w.b.Scope, nil, resource.Paging{Limit: 10}, testNow)
	if err != nil || len(page.Items) != 0 {
		t.Errorf("rounds of the other organisation: %d, %v", len(page.Items), err)
	}
	if n := rows(t, w.db, w.b.Scope, "round"); n != 0 {
		t.Errorf("the other organisation has %d rounds", n)
	}
}
