package care

import (
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// forRandomHistories runs a check on so many random histories.
func forRandomHistories(t *testing.T, cases int, check func(*rand.Rand, History)) {
	t.Helper()
	random := rand.New(rand.NewPCG(randomSeed(t), 2))
	for range max(1, cases/divisor(t)) {
		check(random, randomHistory(random.IntN))
	}
}

// shuffled gives the history with the records of each routine in another order.
func shuffled(random *rand.Rand, h History) History {
	h = withRecords(h, func(rs []Record) []Record {
		random.Shuffle(len(rs), func(i, j int) { rs[i], rs[j] = rs[j], rs[i] })
		return rs
	})
	if h.Parent != nil {
		parent := shuffled(random, *h.Parent)
		h.Parent = &parent
	}
	return h
}

func TestRecordsCountInAnyOrder(t *testing.T) {
	t.Parallel()
	forRandomHistories(t, 2000, func(random *rand.Rand, h History) {
		other := shuffled(random, h)
		if diff := differ(Settle(h), Settle(other)); diff != "" {
			t.Fatalf("settled (-one order +another):\n%s%s", diff, describe(h))
		}
		day := playFrom + Day(random.IntN(270))
		if diff := differ(OpenOn(h, day), OpenOn(other, day)); diff != "" {
			t.Fatalf("open on %v (-one order +another):\n%s%s", day, diff, describe(h))
		}
	})
}

// What is open at the end of a day depends on no record of a later day.
func TestLaterRecordsChangeNothing(t *testing.T) {
	t.Parallel()
	forRandomHistories(t, 2000, func(random *rand.Rand, h History) {
		day := playFrom + Day(random.IntN(270))
		early := withRecords(h, func(rs []Record) []Record {
			return slices.DeleteFunc(rs, func(r Record) bool { return r.DoneOn > day })
		})
		if diff := differ(OpenOn(h, day), OpenOn(early, day)); diff != "" {
			t.Fatalf("open on %v (-all records +records up to the day):\n%s%s", day, diff, describe(h))
		}
	})
}

func TestItemsAreInOrder(t *testing.T) {
	t.Parallel()
	forRandomHistories(t, 2000, func(random *rand.Rand, h History) {
		for day := playFrom; day <= playTo; day += Day(1 + random.IntN(20)) {
			open := OpenOn(h, day)
			if len(open) > 1 {
				t.Fatalf("%d items open on %v, merge allows one%s", len(open), day, describe(h))
			}
			for _, it := range open {
				if it.Earliest > it.Due || it.Due > it.Latest || it.Earliest > day && it.State != Waiting && it.LateSince == 0 {
					t.Fatalf("on %v: %s%s", day, line(it), describe(h))
				}
			}
		}
	})
}

// Each item is closed once, each record counts once.
func TestClosesAndCountsAreUnique(t *testing.T) {
	t.Parallel()
	forRandomHistories(t, 2000, func(_ *rand.Rand, h History) {
		settled := Settle(h)
		closed := map[Identity]bool{}
		for _, c := range settled.Closes {
			if closed[c.Identity] {
				t.Fatalf("%v is closed twice%s", c.Identity, describe(h))
			}
			closed[c.Identity] = true
		}
		if len(settled.Counted) != len(h.Records) {
			t.Fatalf("%d records counted of %d%s", len(settled.Counted), len(h.Records), describe(h))
		}
		for _, c := range settled.Counted {
			if c.Extra && c.For != nil && (!closed[*c.For] || c.ClosedBy == [16]byte{}) {
				t.Fatalf("the extra %+v belongs to no closed item%s", c, describe(h))
			}
		}
		if !settled.Stored.None && closed[settled.Stored.Item.Identity] {
			t.Fatalf("the stored item %v is closed%s", settled.Stored.Item.Identity, describe(h))
		}
	})
}

// What is stored says the same as a fold, as long as it says anything.
func TestStoredAgreesWithTheFold(t *testing.T) {
	t.Parallel()
	forRandomHistories(t, 3000, func(random *rand.Rand, h History) {
		stored := Settle(h).Stored
		f := newFold(&h, false)
		for day := max(playFrom, f.lastEvent()); day <= playTo+60; day += Day(1 + random.IntN(8)) {
			got, ok := stored.On(day)
			if !ok {
				continue
			}
			if diff := differ(OpenOn(h, day), got); diff != "" {
				t.Fatalf("on %v (-fold +stored %+v):\n%s%s", day, stored, diff, describe(h))
			}
		}
	})
}

// seeded gives the history as it is loaded for a command that touches nothing
// before a day, and the parents as they have to be loaded for that.
func seeded(before, h History, day Day) History {
	rev := h.Revisions[len(h.Revisions)-1]
	if Seedable(h.Routine, rev.Cadence) {
		h.Seed = SeedBefore(day, Settle(before).Closes, before)
	}
	if h.Seed != nil {
		h = withRecords(h, func(rs []Record) []Record {
			return slices.DeleteFunc(rs, func(r Record) bool { return !h.Seed.before(r) })
		})
	}
	if h.Parent != nil {
		parent := seeded(*before.Parent, *h.Parent, min(day, ParentBefore(h.Routine, h.Seed)))
		h.Parent = &parent
	}
	return h
}

// changed gives the history with records of a day and later added or voided,
// in any link of the chain.
func changed(random *rand.Rand, h History, day Day) History {
	h = withRecords(h, func(rs []Record) []Record {
		rs = slices.DeleteFunc(rs, func(r Record) bool { return r.DoneOn >= day && random.IntN(3) == 0 })
		for random.IntN(2) == 0 {
			r := randomRecord(random.IntN, 9000+random.IntN(900))
			r.DoneOn = day + Day(random.IntN(30))
			rs = append(rs, r)
		}
		return rs
	})
	h = named(h)
	if h.Parent != nil {
		parent := changed(random, *h.Parent, day)
		h.Parent = &parent
	}
	return h
}

// A command folds only from the last closing before what it touches, and finds
// what a fold of everything finds.
func TestSeededFoldAgreesWithTheWholeFold(t *testing.T) {
	t.Parallel()
	used := 0
	forRandomHistories(t, 4000, func(random *rand.Rand, before History) {
		touched := playFrom + 20 + Day(random.IntN(250))
		whole := changed(random, before, touched)
		part := seeded(before, whole, touched)
		if part.Seed != nil {
			used++
		}
		compareSettled(t, whole, part)
		for day := touched; day <= playTo+60; day += Day(1 + random.IntN(15)) {
			if diff := differ(OpenOn(whole, day), OpenOn(part, day)); diff != "" {
				t.Fatalf("touched %v, open on %v (-whole +seeded):\n%s%s%s", touched, day, diff, describe(whole), describe(part))
			}
		}
	})
	if used == 0 {
		t.Error("no case had a seed")
	}
}

func compareSettled(t *testing.T, whole, part History) {
	t.Helper()
	want, got := Settle(whole), Settle(part)
	if diff := differ(want.Stored, got.Stored); diff != "" {
		t.Fatalf("stored (-whole +seeded):\n%s%s%s", diff, describe(whole), describe(part))
	}
	if n := len(want.Counted) - len(got.Counted); n >= 0 {
		want.Counted = want.Counted[n:]
	}
	if diff := differ(want.Counted, got.Counted); diff != "" {
		t.Fatalf("counted (-whole +seeded):\n%s%s%s", diff, describe(whole), describe(part))
	}
	want.Closes = slices.DeleteFunc(want.Closes, func(c Close) bool {
		s := part.Seed
		return s != nil && !s.before(Record{DoneOn: c.DoneOn, ID: c.RecordID})
	})
	if diff := differ(want.Closes, got.Closes); diff != "" {
		t.Fatalf("closes (-whole +seeded):\n%s%s%s", diff, describe(whole), describe(part))
	}
}

// A closure or a pause that comes or goes changes nothing before the day that
// is said to be touched.
func TestTouchedDaysAreEarlyEnough(t *testing.T) {
	t.Parallel()
	forRandomHistories(t, 4000, func(random *rand.Rand, before History) {
		early := 0
		for _, r := range before.Revisions {
			early = max(early, r.DaysEarly)
		}
		if before.Parent != nil {
			return // a chain is folded from the earliest of its links
		}
		whole := before
		var touched Day
		if random.IntN(2) == 0 {
			from := playFrom + Day(random.IntN(270))
			p := Span{from, from + Day(1+random.IntN(30))}
			whole.Pauses = append(slices.Clone(before.Pauses), p)
			touched = Touched(from, before.Access.Closures, early)
		} else {
			from := playFrom + Day(random.IntN(270))
			c := Closure{Span{from, from + Day(1+random.IntN(30))}, from - 20 + Day(random.IntN(25))}
			whole.Access.Closures = append(slices.Clone(before.Access.Closures), c)
			touched = Touched(min(from, c.Entered), before.Access.Closures, early)
		}
		compareSettled(t, whole, seeded(before, whole, touched))
		compareSettled(t, before, seeded(whole, before, touched))
	})
}

// The same with histories that rapid draws and makes small when it fails.
func TestStoredIsNoFunctionOfToday(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		h := randomHistory(func(n int) int { return rapid.IntRange(0, n-1).Draw(t, "roll") })
		stored := Settle(h).Stored
		f := newFold(&h, false)
		day := max(playFrom, f.lastEvent()) + Day(rapid.IntRange(0, 90).Draw(t, "days later"))
		if got, ok := stored.On(day); ok {
			if diff := differ(OpenOn(h, day), got); diff != "" {
				t.Fatalf("on %v (-fold +stored):\n%s%s", day, diff, describe(h))
			}
		}
	})
}

// A fold that leaps over years of neglected work finds what one finds that
// takes each occurrence in turn.
func TestLeapingChangesNothing(t *testing.T) {
	t.Parallel()
	forRandomHistories(t, 3000, func(random *rand.Rand, h History) {
		h = withRecords(h, func(rs []Record) []Record { return rs[:len(rs)/4] })
		day := playFrom + Day(random.IntN(400))
		leaping, stepping := newFold(&h, false), newFold(&h, true)
		leaping.run(day)
		stepping.run(day)
		if diff := differ(stepping.open(day), leaping.open(day)); diff != "" {
			t.Fatalf("open on %v (-stepping +leaping):\n%s%s", day, diff, describe(h))
		}
		if diff := differ(stepping.stored(), leaping.stored()); diff != "" {
			t.Fatalf("stored (-stepping +leaping):\n%s%s", diff, describe(h))
		}
	})
}
