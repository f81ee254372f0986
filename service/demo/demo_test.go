package demo_test

import (
	"fmt"
	"os"
	"sync"
	"testing"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/demo"
	"tankward/service/fleet"
	"tankward/service/stock"
	"tankward/service/tx"
	"tankward/service/work"
)

// tuesday is a day like any other.
var tuesday = care.Date(2026, 11, 10)

func world(t *testing.T, seed uint64, day care.Day) demo.World {
	t.Helper()
	w, err := demo.Make(seed, day)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// ofTuesday is made once for the tests that only look.
var ofTuesday = sync.OnceValues(func() (demo.World, error) { return demo.Make(demo.Seed, tuesday) })

func sample(t *testing.T) demo.World {
	t.Helper()
	w, err := ofTuesday()
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func TestSameSeedAndDayGiveTheSame(t *testing.T) {
	t.Parallel()
	digest := func(w demo.World) string {
		d, err := w.Digest()
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	first := digest(sample(t))
	if again := digest(world(t, demo.Seed, tuesday)); again != first {
		t.Error("the same seed and day give another scenario")
	}
	if other := digest(world(t, demo.Seed+1, tuesday)); other == first {
		t.Error("another seed gives the same scenario")
	}
	if other := digest(world(t, demo.Seed, tuesday+1)); other == first {
		t.Error("another day gives the same scenario")
	}
}

func TestSize(t *testing.T) {
	t.Parallel()
	w := sample(t)
	roles := func(o *demo.Org) map[tx.Role]int {
		n := map[tx.Role]int{}
		for _, m := range o.Members {
			n[m.Fields.Role]++
		}
		return n
	}
	b, c := &w.Business, &w.Club
	if n := roles(b); n[tx.TechnicianR] != 3 || n[tx.Owner] != 1 || n[tx.Coordinator] != 1 || n[tx.Viewer] != 1 {
		t.Errorf("the business has %v", n)
	}
	if n := roles(c); n[tx.TechnicianR] != 15 || n[tx.Coordinator] != 1 {
		t.Errorf("the club has %v", n)
	}
	kinds := map[fleet.TankKind]int{}
	for _, tank := range append(append([]fleet.Tank{}, b.Tanks...), c.Tanks...) {
		kinds[tank.Fields.Kind]++
	}
	if len(b.Sites) != 40 || len(b.Tanks) < 115 || len(b.Tanks) > 125 || len(c.Tanks) != 6 || kinds[fleet.ClubDisplay] != 6 || len(kinds) != 8 {
		t.Errorf("%d sites, %d and %d tanks of the kinds %v", len(b.Sites), len(b.Tanks), len(c.Tanks), kinds)
	}
	for _, o := range []*demo.Org{b, c} {
		first, last := care.MaxDay, care.MinDay
		for _, r := range o.Records {
			first, last = min(first, *r.DoneOn), max(last, *r.DoneOn)
		}
		if first > tuesday-350 || last != tuesday-1 {
			t.Errorf("%s has records from %s to %s", o.Organisation.Fields.Name, first, last)
		}
	}
}

// What the dice threw was decided by the engine: each record counts for an item
// that was open, and each closing is the one that was meant.
func TestRecordsCount(t *testing.T) {
	t.Parallel()
	w := sample(t)
	for _, o := range []*demo.Org{&w.Business, &w.Club} {
		byID := map[uuid.UUID]work.Record{}
		for _, r := range o.Records {
			byID[r.ID] = r
		}
		if len(byID) != len(o.Records) {
			t.Fatalf("%s: two records have one id", o.Organisation.Fields.Name)
		}
		for _, s := range o.Settlements {
			for _, c := range s.Settled.Counted {
				r := byID[c.RecordID]
				if c.Extra || c.For == nil || r.Names != nil && *r.Names != *c.For {
					t.Errorf("%s, %s: the record of %s names %v and counts as %+v", o.Organisation.Fields.Name, s.Plan.Routine.Fields.Name, r.DoneOn, r.Names, c)
				}
			}
		}
	}
}

// Whatever the day of the week, there is something to look at.
func TestTodayIsWorthALook(t *testing.T) {
	t.Parallel()
	days := []care.Day{tuesday, tuesday + 1, tuesday + 2, tuesday + 3, tuesday + 4, tuesday + 5, tuesday + 6}
	if os.Getenv("TANKWARD_RANDOM_DIVISOR") != "" {
		days = days[4:6] // the weekend, when offices are shut
	}
	for _, day := range days {
		t.Run(fmt.Sprint(day.Time().Weekday()), func(t *testing.T) {
			t.Parallel()
			checkToday(t, world(t, demo.Seed, day))
		})
	}
}

func checkToday(t *testing.T, w demo.World) {
	t.Helper()
	o := &w.Business
	responsible, works := map[uuid.UUID]uuid.UUID{}, map[uuid.UUID]bool{}
	for _, s := range o.Sites {
		responsible[s.ID] = s.Fields.ResponsibleMember
	}
	due := map[uuid.UUID]int{}
	seen := map[string]int{}
	for _, s := range o.Settlements {
		f := s.Plan.Routine.Fields
		for _, it := range care.OpenOn(s.Plan.History, w.Day) {
			seen[string(it.State)]++
			if f.PerformedBy == care.Technician && (it.State == care.Due || it.State == care.Overdue) {
				due[responsible[f.SiteID]]++
			}
			switch {
			case it.State == care.Overdue && it.NoAccessCount > 0:
				seen["late, nobody opened"]++
			case it.State == care.Overdue && it.DonePercent > 0:
				seen["late, partly done"]++
			case it.State == care.Due && f.Cadence.Kind == care.OnRamp:
				seen["light step due"]++
			}
		}
		if f.Cadence.Kind == care.OnRamp {
			seen[fmt.Sprintf("ramp held %t", care.RampOn(s.Plan.History, w.Day).Held)]++
		}
		if len(s.Plan.History.Revisions) > 1 {
			seen["revised"]++
		}
	}
	for _, what := range []string{
		"late, nobody opened", "late, partly done", "light step due", "ramp held true", "ramp held false", "revised",
		"early", "due", "overdue", "waiting", "blocked",
	} {
		if seen[what] == 0 {
			t.Errorf("nothing is %s: %v", what, seen)
		}
	}
	for _, m := range o.Members {
		for _, s := range m.Fields.Shifts {
			works[m.ID] = works[m.ID] || s.Weekday == w.Day.Weekday()
		}
		if m.Fields.Role == tx.TechnicianR && (due[m.ID] < 5 || !works[m.ID]) {
			t.Errorf("%s has %d pieces of work due and works: %t", m.Fields.Name, due[m.ID], works[m.ID])
		}
	}
	if n := seen["overdue"]; n > 60 {
		t.Errorf("%d pieces of work are late; a business like that has no customers", n)
	}
}

func TestAnimalsFit(t *testing.T) {
	t.Parallel()
	w := sample(t)
	for _, o := range []*demo.Org{&w.Business, &w.Club} {
		tanks := map[uuid.UUID]fleet.Tank{}
		for _, tank := range o.Tanks {
			tanks[tank.ID] = tank
		}
		sums := map[uuid.UUID]int{}
		for _, e := range o.Events {
			sums[e.LivestockID] += e.Delta
		}
		for _, l := range o.Livestock {
			tank := tanks[l.Fields.TankID]
			sp, ok := stock.ByCode(l.Fields.Species.Code)
			if !ok {
				t.Fatalf("no species %s", l.Fields.Species)
			}
			if l.Fields.Count != sums[l.ID] || l.Fields.Count < 0 {
				t.Errorf("%s: %s are %d, the events give %d", tank.Fields.Name, sp.Code, l.Fields.Count, sums[l.ID])
			}
			if tank.Fields.Status == fleet.PausedTank {
				t.Errorf("%s is paused and holds %s", tank.Fields.Name, sp.Code)
			}
			if f, ok := sp.Fact(stock.MinVolumeL); ok && f.Value != nil && tank.Fields.Kind != fleet.Quarantine && tank.Fields.NetL < *f.Value {
				t.Errorf("%s holds %g L, %s needs %g", tank.Fields.Name, tank.Fields.NetL, sp.Code, *f.Value)
			}
			if _, listed := sp.Fact(stock.CITESAppendix); listed && l.Fields.PermitRef == "" {
				t.Errorf("%s: %s has no papers", tank.Fields.Name, sp.Code)
			}
		}
	}
}

// Readings lie where kept tanks lie, and most within the tank's own targets.
func TestReadings(t *testing.T) {
	t.Parallel()
	w := sample(t)
	tanks := map[uuid.UUID]fleet.Tank{}
	for _, tank := range w.Business.Tanks {
		tanks[tank.ID] = tank
	}
	outside, all := 0, 0
	for _, r := range w.Business.Readings {
		if r.Value < 0 || r.Unit == "" || r.RecordID == uuid.Nil {
			t.Fatalf("reading %+v", r)
		}
		target, ok := tanks[r.TankID].Fields.Target(r.Parameter)
		if !ok {
			continue
		}
		all++
		if r.Value < *target.Low || r.Value > *target.High {
			outside++
		}
	}
	if all < 10_000 || outside*10 > all || outside == 0 {
		t.Errorf("%d of %d readings lie outside of their targets; want some, and less than a tenth", outside, all)
	}
}

func TestEverythingIsValid(t *testing.T) {
	t.Parallel()
	w := sample(t)
	for _, o := range []*demo.Org{&w.Business, &w.Club} {
		var errs []error
		errs = append(errs, o.Organisation.Fields.Validate())
		for _, r := range o.Customers {
			errs = append(errs, r.Fields.Validate())
		}
		for _, r := range o.Closures {
			errs = append(errs, r.Fields.Validate())
		}
		for _, r := range o.Equipment {
			errs = append(errs, r.Fields.Validate())
		}
		for _, r := range o.Pauses {
			errs = append(errs, r.Fields.Validate())
		}
		for _, r := range o.Routines {
			errs = append(errs, r.Fields.Validate())
		}
		for _, err := range errs {
			if err != nil {
				t.Error(err)
			}
		}
	}
}
