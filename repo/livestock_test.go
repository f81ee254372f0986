package repo

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/google/uuid"
	"pgregory.net/rapid"

	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/stock"
	"tankward/service/tx"
	"tankward/service/work"
)

var today = care.DayOf(testNow)

func stockOn(db *DB) *stock.Service {
	return stock.New(NewRunner(db, func(t *Tx) stock.Tx { return t }), db, newID)
}

func workOn(db *DB) *work.Service {
	return work.New(NewRunner(db, func(t *Tx) work.Tx { return t }), db, newID)
}

// calling makes the envelope of a command.
func calling[R any](s tx.Scope) tx.Call[R] { return tx.Call[R]{Scope: s, Now: testNow} }

// newLivestock records two clownfish, in a new tank unless a change names one.
func newLivestock(t *testing.T, w *world, s tx.Scope, change ...func(*stock.LivestockFields)) (stock.Livestock, error) {
	t.Helper()
	f := stock.LivestockFields{Species: stock.SpeciesID{Code: "amphiprion-ocellaris"}, State: stock.Settling, ArrivedOn: today - 30, Count: 2}
	apply(&f, change)
	if f.TankID == uuid.Nil {
		f.TankID = addTank(t, w, s).ID
	}
	out, err := stockOn(w.db).Livestock.Create(t.Context(), calling[resource.Created[stock.LivestockFields]](s), newID(), f)
	return out.Result.Row, err
}

func addLivestock(t *testing.T, w *world, s tx.Scope, change ...func(*stock.LivestockFields)) stock.Livestock {
	t.Helper()
	row, err := newLivestock(t, w, s, change...)
	if err != nil {
		t.Fatal(err)
	}
	return row
}

func addPause(t *testing.T, w *world, s tx.Scope, change ...func(*work.PauseFields)) work.Pause {
	t.Helper()
	f := work.PauseFields{From: today, Reason: "rebuilding"}
	apply(&f, change)
	if f.TankID == uuid.Nil {
		f.TankID = addTank(t, w, s).ID
	}
	return added(t, w.db, s, kind("pause", (*Tx).Pauses), f)
}

func addEvent(t *testing.T, w *world, s tx.Scope, id uuid.UUID, n stock.NewEvent) (stock.Added, error) {
	t.Helper()
	out, err := stockOn(w.db).AddEvent(t.Context(), calling[stock.Added](s), id, n)
	return out.Result, err
}

func eventsOf(t *testing.T, w *world, s tx.Scope, livestock uuid.UUID) []stock.Event {
	t.Helper()
	page, err := w.db.LivestockEvents(t.Context(), s, livestock, resource.Paging{Limit: 500})
	if err != nil {
		t.Fatal(err)
	}
	return page.Items
}

func entry(t *testing.T, w *world, s tx.Scope, id uuid.UUID) stock.Livestock {
	t.Helper()
	row, err := w.db.Livestock(t.Context(), s, id)
	if err != nil {
		t.Fatal(err)
	}
	return row
}

// wantField fails the test unless err names the field.
func wantField(t *testing.T, err error, pointer string) {
	t.Helper()
	f := fault.As(err)
	if f == nil || !slices.ContainsFunc(f.Fields, func(f fault.Field) bool { return f.Pointer == pointer }) {
		t.Fatalf("got error %v, want a fault that names %s", err, pointer)
	}
}

func TestLivestockBeginsWithAnArrival(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	own := addSpecies(t, w, w.a.Scope)
	tank := addTank(t, w, w.a.Scope).ID
	got := addLivestock(t, w, w.a.Scope, func(f *stock.LivestockFields) {
		*f = stock.LivestockFields{
			TankID: tank, Species: stock.SpeciesID{Own: own.ID}, Label: "the blue ones", Source: "a member", Place: "left",
			State: stock.AtRisk, PermitRef: "PT-1", Count: 3,
		}
	})
	want := got
	want.Fields.ArrivedOn, want.Fields.Form = today, stock.Colony // what is not said: today, and as the species is counted
	if diff := cmp.Diff(want, entry(t, w, w.a.Scope, got.ID)); diff != "" {
		t.Errorf("read back (-want +got):\n%s", diff)
	}
	events := []stock.Event{{LivestockID: got.ID, Kind: stock.Arrival, Day: today, Delta: 3, RecordedAt: testNow, Actor: w.a.Actor}}
	if diff := cmp.Diff(events, eventsOf(t, w, w.a.Scope, got.ID), cmpopts.IgnoreFields(stock.Event{}, "ID")); diff != "" {
		t.Errorf("events (-want +got):\n%s", diff)
	}
}

func TestLivestockCreateIsRefused(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	a, b := w.a.Scope, w.b.Scope
	archived := addSpecies(t, w, a)
	if _, err := stockOn(w.db).Species.Archive(t.Context(), calling[stock.OwnSpecies](a), archived.ID, 0); err != nil {
		t.Fatal(err)
	}
	gone := addTank(t, w, a)
	if _, err := workOn(w.db).Tanks.Archive(t.Context(), calling[fleet.Tank](a), gone.ID, 0); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		change func(*stock.LivestockFields)
		class  fault.Class
		field  string
	}{
		"an unknown code":       {func(f *stock.LivestockFields) { f.Species = stock.SpeciesID{Code: "felis-catus"} }, fault.Invalid, "/species_id"},
		"an unknown species":    {func(f *stock.LivestockFields) { f.Species = stock.SpeciesID{Own: newID()} }, fault.Invalid, "/species_id"},
		"another's species":     {func(f *stock.LivestockFields) { f.Species = stock.SpeciesID{Own: addSpecies(t, w, b).ID} }, fault.Invalid, "/species_id"},
		"an archived species":   {func(f *stock.LivestockFields) { f.Species = stock.SpeciesID{Own: archived.ID} }, fault.Conflict, "/species_id"},
		"another's tank":        {func(f *stock.LivestockFields) { f.TankID = addTank(t, w, b).ID }, fault.Invalid, "/tank_id"},
		"an archived tank":      {func(f *stock.LivestockFields) { f.TankID = gone.ID }, fault.Conflict, "/tank_id"},
		"a paused tank":         {func(f *stock.LivestockFields) { f.TankID = addPause(t, w, a).Fields.TankID }, fault.Conflict, "/tank_id"},
		"a tank to be paused":   {func(f *stock.LivestockFields) { f.TankID = addPause(t, w, a, later).Fields.TankID }, fault.Conflict, "/tank_id"},
		"arrival in the future": {func(f *stock.LivestockFields) { f.ArrivedOn = today + 1 }, fault.Invalid, "/arrived_on"},
		"no animal":             {func(f *stock.LivestockFields) { f.Count = 0 }, fault.Invalid, "/count"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, err := newLivestock(t, w, a, c.change)
			wantFault(t, err, c.class)
			wantField(t, err, c.field)
		})
	}
}

func later(f *work.PauseFields) { f.From, f.To = today+20, new(today+30) }

// What belongs to another organisation is refused in the words for what is not
// there at all.
func TestAnothersSpeciesIsAsIfItDidNotExist(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	others, nobodys := addSpecies(t, w, w.b.Scope).ID, newID()
	said := func(id uuid.UUID) string {
		_, err := newLivestock(t, w, w.a.Scope, func(f *stock.LivestockFields) { f.Species = stock.SpeciesID{Own: id} })
		return strings.ReplaceAll(fmt.Sprint(err), id.String(), "ID")
	}
	if diff := cmp.Diff(said(nobodys), said(others)); diff != "" {
		t.Errorf("messages differ (-nobody's +another's):\n%s", diff)
	}
}

func TestPausedBeforeIsNoObstacle(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := addPause(t, w, w.a.Scope, func(f *work.PauseFields) { f.From, f.To = today-9, new(today) })
	if _, err := newLivestock(t, w, w.a.Scope, func(f *stock.LivestockFields) { f.TankID = p.Fields.TankID }); err != nil {
		t.Error(err)
	}
}

func TestEventsKeepTheCount(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.a.Scope
	animals := addLivestock(t, w, s)
	for i, step := range []struct {
		kind  stock.EventKind
		delta int
		want  int
	}{{stock.Birth, 4, 6}, {stock.Death, -1, 5}, {stock.Removal, -2, 3}, {stock.Correction, -1, 2}, {stock.Split, 1, 3}, {stock.Correction, 2, 5}, {stock.Arrival, 1, 6}} {
		got, err := addEvent(t, w, s, newID(), stock.NewEvent{LivestockID: animals.ID, Kind: step.kind, Delta: step.delta, Reason: "seen"})
		if err != nil || !got.New || got.Event.Day != today || got.Event.Actor != s.Actor {
			t.Fatalf("%s: %+v, %v", step.kind, got, err)
		}
		if now := entry(t, w, s, animals.ID); now.Fields.Count != step.want || now.Version != i+2 {
			t.Errorf("after %s: count %d, version %d; want %d, %d", step.kind, now.Fields.Count, now.Version, step.want, i+2)
		}
	}
	sum := 0
	for _, e := range eventsOf(t, w, s, animals.ID) {
		sum += e.Delta
	}
	if sum != 6 {
		t.Errorf("the events add up to %d", sum)
	}
}

func TestEventsAreRefused(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.a.Scope
	// 2 came 30 days ago, 3 were born 10 days ago, 4 died today: 1 is left.
	animals := addLivestock(t, w, s)
	for _, n := range []stock.NewEvent{{Kind: stock.Birth, Day: new(today - 10), Delta: 3}, {Kind: stock.Death, Delta: -4}} {
		n.LivestockID = animals.ID
		if _, err := addEvent(t, w, s, newID(), n); err != nil {
			t.Fatal(err)
		}
	}
	for name, c := range map[string]struct {
		event stock.NewEvent
		field string
	}{
		"more than there are":           {stock.NewEvent{Kind: stock.Death, Delta: -2}, "/delta"},
		"more than there were":          {stock.NewEvent{Kind: stock.Death, Day: new(today - 20), Delta: -3}, "/delta"},
		"more than were left later":     {stock.NewEvent{Kind: stock.Death, Day: new(today - 20), Delta: -2}, "/delta"},
		"a birth that takes away":       {stock.NewEvent{Kind: stock.Birth, Delta: -1}, "/delta"},
		"a death that adds":             {stock.NewEvent{Kind: stock.Death, Delta: 1}, "/delta"},
		"a correction of nothing":       {stock.NewEvent{Kind: stock.Correction}, "/delta"},
		"an unknown kind":               {stock.NewEvent{Kind: "escape", Delta: -1}, "/kind"},
		"tomorrow":                      {stock.NewEvent{Kind: stock.Birth, Day: new(today + 1), Delta: 1}, "/day"},
		"before they came":              {stock.NewEvent{Kind: stock.Birth, Day: new(today - 31), Delta: 1}, "/day"},
		"more than any tank can hold":   {stock.NewEvent{Kind: stock.Birth, Delta: 1_000_000}, "/delta"},
		"a reason that is far too long": {stock.NewEvent{Kind: stock.Birth, Delta: 1, Reason: strings.Repeat("x", 501)}, "/reason"},
	} {
		t.Log(name)
		c.event.LivestockID = animals.ID
		_, err := addEvent(t, w, s, newID(), c.event)
		wantFault(t, err, fault.Invalid)
		wantField(t, err, c.field)
	}
	if now := entry(t, w, s, animals.ID); now.Fields.Count != 1 || now.Version != 3 {
		t.Errorf("a refusal changed the entry: %+v", now)
	}
}

// A random history is accepted exactly when a count per day, kept by hand, never
// falls below 0.
func TestEventsAgreeWithCountsByDay(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.a.Scope
	tank := addTank(t, w, s).ID
	rapid.Check(t, func(r *rapid.T) {
		const days = 6
		first := rapid.IntRange(1, 4).Draw(r, "arrived")
		animals := addLivestock(t, w, s, func(f *stock.LivestockFields) { f.TankID, f.ArrivedOn, f.Count = tank, today-days+1, first })
		var byDay [days]int
		byDay[0] = first
		for range rapid.IntRange(1, 8).Draw(r, "events") {
			at := rapid.IntRange(0, days-1).Draw(r, "day")
			delta := rapid.SampledFrom([]int{-3, -2, -1, 1, 2}).Draw(r, "delta")
			after := byDay
			after[at] += delta
			allowed, sum := true, 0
			for _, n := range after {
				sum += n
				allowed = allowed && sum >= 0
			}
			_, err := addEvent(t, w, s, newID(), stock.NewEvent{
				LivestockID: animals.ID, Kind: stock.Correction, Day: new(today - days + 1 + care.Day(at)), Delta: delta,
			})
			if allowed != (err == nil) {
				r.Fatalf("%+d on day %d of %v: %v", delta, at, byDay, err)
			}
			if err == nil {
				byDay = after
			} else {
				wantField(t, err, "/delta")
			}
		}
	})
}

func TestEventWithTheSameID(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.a.Scope
	animals, others := addLivestock(t, w, s), addLivestock(t, w, s)
	id := newID()
	n := stock.NewEvent{LivestockID: animals.ID, Kind: stock.Death, Delta: -1}
	first, err := addEvent(t, w, s, id, n)
	if err != nil {
		t.Fatal(err)
	}
	again, err := addEvent(t, w, s, id, n)
	if err != nil || again.New {
		t.Errorf("again: %+v, %v", again, err)
	}
	if diff := cmp.Diff(first.Event, again.Event); diff != "" {
		t.Errorf("again (-first +again):\n%s", diff)
	}
	for _, other := range []stock.NewEvent{
		{LivestockID: animals.ID, Kind: stock.Removal, Delta: -1}, {LivestockID: others.ID, Kind: stock.Death, Delta: -1},
	} {
		_, err := addEvent(t, w, s, id, other)
		wantFault(t, err, fault.Conflict)
		wantField(t, err, "/id")
	}
	if got := entry(t, w, s, animals.ID).Fields.Count; got != 1 {
		t.Errorf("count %d, want 1", got)
	}
}

func TestDeathsAtTheSameTime(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.a.Scope
	animals := addLivestock(t, w, s, func(f *stock.LivestockFields) { f.Count = 5 })
	var wg sync.WaitGroup
	var done atomic.Int32
	for range 12 {
		wg.Go(func() {
			_, err := addEvent(t, w, s, newID(), stock.NewEvent{LivestockID: animals.ID, Kind: stock.Death, Delta: -1})
			switch {
			case err == nil:
				done.Add(1)
			case !fault.Is(err, fault.Invalid):
				t.Error(err)
			}
		})
	}
	wg.Wait()
	if now := entry(t, w, s, animals.ID); done.Load() != 5 || now.Fields.Count != 0 {
		t.Errorf("%d deaths of 5 animals, count %d", done.Load(), now.Fields.Count)
	}
}

func TestNoAnimalGoesIntoAClosedTank(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.a.Scope
	empty := func() stock.Livestock {
		animals := addLivestock(t, w, s)
		if _, err := addEvent(t, w, s, newID(), stock.NewEvent{LivestockID: animals.ID, Kind: stock.Removal, Delta: -2}); err != nil {
			t.Fatal(err)
		}
		return animals
	}
	inArchived, inPaused, archived := empty(), empty(), empty()
	if _, err := workOn(w.db).Tanks.Archive(t.Context(), calling[fleet.Tank](s), inArchived.Fields.TankID, 0); err != nil {
		t.Fatal(err)
	}
	addPause(t, w, s, func(f *work.PauseFields) { f.TankID = inPaused.Fields.TankID })
	if _, err := stockOn(w.db).Livestock.Archive(t.Context(), calling[stock.Livestock](s), archived.ID, 0); err != nil {
		t.Fatal(err)
	}
	for name, animals := range map[string]stock.Livestock{"archived tank": inArchived, "paused tank": inPaused, "archived entry": archived} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, err := addEvent(t, w, s, newID(), stock.NewEvent{LivestockID: animals.ID, Kind: stock.Correction, Delta: 1})
			wantFault(t, err, fault.Conflict)
		})
	}
}

func TestLivestockStaysWhatItIs(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.a.Scope
	animals, elsewhere := addLivestock(t, w, s), addTank(t, w, s)
	kind := stockOn(w.db).Livestock
	for pointer, change := range map[string]func(*stock.LivestockFields){
		"/tank_id":    func(f *stock.LivestockFields) { f.TankID = elsewhere.ID },
		"/species_id": func(f *stock.LivestockFields) { f.Species = stock.SpeciesID{Code: "amphiprion-percula"} },
		"/arrived_on": func(f *stock.LivestockFields) { f.ArrivedOn = today },
	} {
		_, err := kind.Patch(t.Context(), calling[stock.Livestock](s), animals.ID, 0, func(f stock.LivestockFields) (stock.LivestockFields, error) {
			change(&f)
			return f, nil
		})
		wantFault(t, err, fault.Invalid)
		wantField(t, err, pointer)
	}
	out, err := kind.Patch(t.Context(), calling[stock.Livestock](s), animals.ID, 1, func(f stock.LivestockFields) (stock.LivestockFields, error) {
		f.Count, f.State = 99, stock.Settled
		return f, nil
	})
	if got := out.Result.Fields; err != nil || got.Count != 2 || got.State != stock.Settled {
		t.Errorf("patched to %+v, %v; only events move the count", got, err)
	}
	_, err = kind.Archive(t.Context(), calling[stock.Livestock](s), animals.ID, 0)
	wantFault(t, err, fault.Conflict)
}

func TestLivingStock(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.a.Scope
	tank := addTank(t, w, s).ID
	in := func(f *stock.LivestockFields) { f.TankID = tank }
	addLivestock(t, w, s, in)
	animals := addLivestock(t, w, s, in, func(f *stock.LivestockFields) { f.Count = 7 })
	addLivestock(t, w, s) // in another tank
	if _, err := addEvent(t, w, s, newID(), stock.NewEvent{LivestockID: animals.ID, Kind: stock.Death, Delta: -3}); err != nil {
		t.Fatal(err)
	}
	out, err := workOn(w.db).Tanks.Archive(t.Context(), calling[fleet.Tank](s), tank, 0)
	wantFault(t, err, fault.Conflict)
	if !strings.Contains(err.Error(), "6 recorded") {
		t.Errorf("got %v, %v; 6 animals live in the tank", out, err)
	}
}

func TestLivestockLists(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.a.Scope
	own := addSpecies(t, w, s)
	one := addLivestock(t, w, s)
	two := addLivestock(t, w, s, func(f *stock.LivestockFields) { f.TankID, f.State = one.Fields.TankID, stock.AtRisk })
	three := addLivestock(t, w, s, func(f *stock.LivestockFields) { f.Species = stock.SpeciesID{Own: own.ID} })
	for name, c := range map[string]struct {
		filter stock.LivestockFilter
		want   []uuid.UUID
	}{
		"all":         {stock.LivestockFilter{}, []uuid.UUID{one.ID, two.ID, three.ID}},
		"tank":        {stock.LivestockFilter{Tank: one.Fields.TankID}, []uuid.UUID{one.ID, two.ID}},
		"code":        {stock.LivestockFilter{Species: one.Fields.Species}, []uuid.UUID{one.ID, two.ID}},
		"own species": {stock.LivestockFilter{Species: stock.SpeciesID{Own: own.ID}}, []uuid.UUID{three.ID}},
		"state":       {stock.LivestockFilter{State: stock.AtRisk}, []uuid.UUID{two.ID}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var got []uuid.UUID
			for _, r := range all(t, 2, func(p resource.Paging) (resource.Page[stock.Livestock], error) {
				return w.db.LivestockList(t.Context(), s, c.filter, p)
			}) {
				got = append(got, r.ID)
			}
			if diff := cmp.Diff(c.want, got); diff != "" {
				t.Errorf("found (-want +got):\n%s", diff)
			}
		})
	}
}

func TestEventsAreListedByDay(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.a.Scope
	animals := addLivestock(t, w, s, func(f *stock.LivestockFields) {
		f.ArrivedOn = care.DayOf(time.Date(1969, 12, 30, 0, 0, 0, 0, time.UTC))
	})
	for _, back := range []care.Day{3, 3, 0, 8, 3} {
		if _, err := addEvent(t, w, s, newID(), stock.NewEvent{LivestockID: animals.ID, Kind: stock.Birth, Day: new(today - back), Delta: 1}); err != nil {
			t.Fatal(err)
		}
	}
	got := all(t, 2, func(p resource.Paging) (resource.Page[stock.Event], error) {
		return w.db.LivestockEvents(t.Context(), s, animals.ID, p)
	})
	if diff := cmp.Diff(eventsOf(t, w, s, animals.ID), got); diff != "" {
		t.Errorf("in pages (-whole +pages):\n%s", diff)
	}
	byDay := slices.IsSortedFunc(got, func(a, b stock.Event) int { return int(a.Day) - int(b.Day) })
	if len(got) != 6 || !byDay || got[0].Kind != stock.Arrival {
		t.Errorf("got %v", got)
	}
}
