package care

import (
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// derived is what can be worked out from an item's facts alone.
type derived struct {
	nominal, earliest, due, latest Day
	ordinal                        int
	percent, noAccess              int
	level                          float64
	olderLatest                    Day
	blocked                        bool

	base Day // of an interval or a step
}

// derive works an item's dates out again. It knows nothing of the routine.
func derive(tb testing.TB, facts []Fact) derived {
	tb.Helper()
	v := derived{base: MinDay, nominal: MinDay}
	for _, f := range facts {
		v.nominalBy(tb, f)
		v.windowBy(f)
		v.movedBy(f)
		v.happened(f)
	}
	return v
}

func (v *derived) nominalBy(tb testing.TB, f Fact) {
	tb.Helper()
	switch f.Kind {
	case FactFirstDay, FactOnce, FactNewDue, FactParentItem:
		v.nominal = f.Day
	case FactLastDone:
		v.base = f.Day
	case FactLevelSet, FactRampResumed:
		v.base = max(v.base, f.Day)
	case FactInterval:
		c := Cadence{Every: f.Every, Unit: f.Unit}
		v.nominal = max(v.nominal, c.after(v.base))
	case FactStep:
		v.level = f.Percent
		if v.base != MinDay {
			v.nominal = max(v.nominal, v.base+Day(f.Every))
		}
	case FactStepBack:
		v.nominal, v.level = f.Day, f.Percent
	case FactRule:
		rule := mustRule(tb, f.Text)
		dates := rule.From(f.Day)
		v.nominal, _ = dates.Next(f.To - 1)
	case FactRevised:
		v.nominal = max(v.nominal, f.Day)
	case FactResumed, FactInactive:
		v.nominal = f.To
	case FactOrdinal:
		v.ordinal = f.Count
	case FactGap:
		v.nominal = f.Day + Day(f.Early)
	}
}

func (v *derived) windowBy(f Fact) {
	switch f.Kind {
	case FactTolerance:
		v.earliest, v.due, v.latest = v.nominal-Day(f.Early), v.nominal, v.nominal+Day(f.Late)
	case FactCutByNext:
		v.latest = min(v.latest, f.Day-1)
	case FactCutByPrevious:
		v.notBefore(f.Day + 1)
	case FactNotBeforeDone, FactNotBeforeFirst, FactNotBeforeResume, FactNotBeforeActive, FactNotBeforeRevised:
		v.notBefore(f.Day)
	case FactParentWindow:
		v.earliest, v.latest = f.Day, f.To
	case FactParentDue:
		v.due = f.Day
	case FactParentClosed:
		v.blocked = false
		v.due = max(f.Day, v.earliest)
		v.latest = v.due + Day(f.Late)
	case FactCutByParent:
		v.latest = max(v.due, f.Day-1)
	case FactGapWindow:
		v.earliest, v.due, v.latest = v.nominal, v.nominal, max(v.nominal, f.Day)
	}
}

func (v *derived) notBefore(d Day) {
	v.earliest = max(v.earliest, d)
	v.due = max(v.due, v.earliest)
	v.latest = max(v.latest, v.due)
}

func (v *derived) movedBy(f Fact) {
	switch f.Kind {
	case FactClosed:
		v.due = f.To
		v.latest = max(v.latest, f.To)
	case FactBlocked, FactParentBlocked:
		v.blocked = true
	}
}

func (v *derived) happened(f Fact) {
	switch f.Kind {
	case FactOlder:
		v.olderLatest = f.To
	case FactShare:
		v.percent = int(f.Percent)
	case FactNoAccess:
		v.noAccess = f.Count
	}
}

// item gives the derived item as it stands on a day.
func (v *derived) item(day Day, waits bool) Item {
	it := Item{
		Identity: Identity{v.nominal, v.ordinal}, Earliest: v.earliest, Due: v.due, Latest: v.latest,
		DonePercent: v.percent, NoAccessCount: v.noAccess, Level: v.level,
	}
	late := v.latest + 1
	if v.olderLatest != 0 {
		late = v.olderLatest + 1
	}
	switch {
	case v.blocked && day >= v.earliest:
		it.State = Blocked
	case day >= late && !v.blocked:
		it.State, it.LateSince = Overdue, late
	case waits && day < v.earliest:
		it.State = Waiting
	case day < v.due:
		it.State = Early
	default:
		it.State = Due
	}
	return it
}

// Every date of an item follows from its facts, whatever led to it.
func TestFactsLeadToTheDates(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(randomSeed(t), 1))
	cases := 10_000 / divisor(t)
	for n := 0; n < cases; {
		h := randomHistory(random.IntN)
		for day := playFrom; day <= playTo; day += Day(1 + random.IntN(40)) {
			for _, it := range OpenOn(h, day) {
				n++
				facts := derive(t, it.Facts)
				want, got := it, facts.item(day, it.State == Waiting)
				want.Facts = nil
				if diff := cmp.Diff(want, got); diff != "" {
					t.Fatalf("on %v (-item +derived from facts):\n%s\nfacts %+v%s", day, diff, it.Facts, describe(h))
				}
				if text := Explain(it, h.Routine.Kind); len(text) < 20 {
					t.Fatalf("explanation %q", text)
				}
			}
		}
	}
}

// The random histories are varied enough: each kind of fact turns up. The seed
// is fixed, so that the rare ones do.
func TestRandomItemsHaveEveryFact(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(5, 5))
	missing := map[FactKind]bool{}
	for _, kind := range allFacts {
		missing[kind] = true
	}
	for n := 0; n < 5000 && len(missing) > 0; n++ {
		h := randomHistory(random.IntN)
		for day := playFrom; day <= playTo; day += Day(1 + random.IntN(20)) {
			for _, it := range OpenOn(h, day) {
				for _, f := range it.Facts {
					delete(missing, f.Kind)
				}
			}
		}
	}
	for kind := range missing {
		t.Errorf("no random item has the fact %s", kind)
	}
}

// allFacts are the facts that random items together must have.
var allFacts = []FactKind{
	FactFirstDay,
	FactLastDone,
	FactInterval,
	FactRule,
	FactOnce,
	FactRevised,
	FactResumed,
	FactInactive,
	FactNewDue,
	FactOrdinal,
	FactTolerance,
	FactCutByNext,
	FactCutByPrevious,
	FactNotBeforeFirst,
	FactNotBeforeDone,
	FactNotBeforeResume,
	FactNotBeforeActive,
	FactNotBeforeRevised,
	FactClosed,
	FactClosedTooLate,
	FactBlocked,
	FactForKeeper,
	FactParentItem,
	FactParentWindow,
	FactParentDue,
	FactParentBlocked,
	FactParentClosed,
	FactCutByParent,
	FactGap,
	FactGapWindow,
	FactLevelSet,
	FactRampResumed,
	FactStep,
	FactStepBack,
	FactOlder,
	FactShareLost,
	FactShare,
	FactNoAccess,
}
