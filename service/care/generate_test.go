package care

import (
	"fmt"
	"slices"
)

// dice gives a number from 0 up to n, n not included.
type dice func(n int) int

func (roll dice) chance(percent int) bool { return roll(100) < percent }

func (roll dice) day(from, to Day) Day { return from + Day(roll(int(to-from)+1)) }

func choose[T any](roll dice, list ...T) T { return list[roll(len(list))] }

// The days that random histories play in.
var (
	playFrom = Date(2026, 1, 1)
	playTo   = Date(2026, 9, 30)
)

// randomHistory makes a history that Validate lets through, with its parents.
func randomHistory(roll dice) History {
	access := randomAccess(roll)
	switch roll(10) {
	case 0, 1, 2:
		return randomChain(roll, access, 1+roll(2))
	case 3:
		return randomRamp(roll, access)
	}
	return randomRoutine(roll, access, choose(roll, Interval, Interval, Calendar, Calendar, Once))
}

func randomRoutine(roll dice, access Access, kind CadenceKind) History {
	h := History{Routine: Routine{
		ID: testID(1_000_000 + roll(1000)), Kind: choose(roll, WaterChange, Feeding, GlassCleaning), Class: choose(roll, LifeSupport, WaterQuality, Upkeep, Upkeep),
		CatchUp: Merge, FirstDay: roll.day(playFrom, playFrom+60), LastDay: MaxDay,
	}, Access: access}
	if roll.chance(15) {
		h.Routine.LastDay = roll.day(h.Routine.FirstDay, playTo)
	}
	h.Revisions = []Revision{randomRevision(roll, h.Routine, kind)}
	for from := h.Routine.FirstDay; roll.chance(25); {
		from = roll.day(from+1, from+90)
		next := randomRevision(roll, h.Routine, choose(roll, kind, kind, Interval, Calendar))
		next.From = from
		h.Revisions = append(h.Revisions, next)
	}
	h.Pauses = randomPauses(roll)
	h.Records = randomRecords(roll, 0, 24)
	return named(h)
}

// named leaves a next due day only where a skip has to name one.
func named(h History) History {
	for i := range h.Records {
		if h.Routine.Class != LifeSupport {
			h.Records[i].NewDueOn = 0
		}
	}
	return h
}

func randomRevision(roll dice, r Routine, kind CadenceKind) Revision {
	for {
		rev := Revision{
			From: r.FirstDay, Performer: choose(roll, Technician, Technician, Technician, Keeper, Shop), Cadence: randomCadence(roll, r, kind),
			DaysEarly: choose(roll, 0, 0, 1, 2, 3, 5), DaysLate: choose(roll, 0, 1, 2, 3, 7, 14),
		}
		if roll.chance(15) {
			for range 9 {
				rev.Months |= 1 << (1 + roll(12))
			}
		}
		if len(Validate(r, rev)) == 0 {
			return rev
		}
	}
}

func randomCadence(roll dice, r Routine, kind CadenceKind) Cadence {
	switch kind {
	case Interval:
		return Cadence{Kind: Interval, Every: 1 + roll(12), Unit: choose(roll, Days, Days, Days, Weeks, Months)}
	case Once:
		return Cadence{Kind: Once, On: roll.day(r.FirstDay, min(r.LastDay, r.FirstDay+90))}
	}
	return weeklyOn(choose(roll,
		"FREQ=DAILY", "FREQ=DAILY;INTERVAL=3", "FREQ=WEEKLY;BYDAY=MO", "FREQ=WEEKLY;BYDAY=TU,FR", "FREQ=WEEKLY;INTERVAL=2;BYDAY=WE,TH",
		"FREQ=MONTHLY;BYMONTHDAY=31", "FREQ=MONTHLY;BYDAY=-1FR", "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-1", "FREQ=WEEKLY;COUNT=5", "FREQ=DAILY;BYDAY=MO,WE,FR;UNTIL=20260601",
	))
}

func randomAccess(roll dice) Access {
	var a Access
	for roll.chance(45) && len(a.Closures) < 4 {
		from := roll.day(playFrom, playTo)
		c := Closure{Span: Span{from, from + 1 + Day(choose(roll, 0, 1, 3, 8, 20, 40))}, Entered: roll.day(from-30, from+5)}
		a.Closures = append(a.Closures, c)
	}
	if roll.chance(25) {
		a.NoAccess, a.NoAccessEntered = uint8(2*roll(127)), roll.day(playFrom-10, playFrom+90)
	}
	if roll.chance(3) {
		a.NoAccess = 0xfe
	}
	return a
}

func randomPauses(roll dice) []Span {
	var pauses []Span
	for roll.chance(30) {
		from := roll.day(playFrom, playTo)
		pauses = append(pauses, Span{from, from + Day(choose(roll, 1, 5, 14, 40))})
	}
	if roll.chance(5) {
		pauses = append(pauses, Span{roll.day(playFrom, playTo), MaxDay})
	}
	return pauses
}

// randomRecords makes records with ids from a number on. Their order in the
// slice is not that of their days.
func randomRecords(roll dice, firstID, most int) []Record {
	records := make([]Record, roll(most+1))
	for i := range records {
		records[i] = randomRecord(roll, firstID+i)
	}
	return records
}

func randomRecord(roll dice, id int) Record {
	r := Record{ID: testID(roll(1000)*10_000 + id + 1), DoneOn: roll.day(playFrom-5, playTo), Result: choose(roll, Done, Done, Done, Partly, Skipped, NoAccess)}
	switch r.Result {
	case Partly:
		r.Share = choose(roll, 20, 40, 50, 80, 100)
	case Skipped:
		r.WithJoined = roll.chance(40)
		if roll.chance(50) {
			r.NewDueOn = r.DoneOn + Day(roll(2))
		}
	}
	if roll.chance(20) {
		r.Names = &Identity{NominalDue: r.DoneOn + Day(roll(7)) - 3}
	}
	if roll.chance(70) {
		r.Level = choose[float64](roll, 50, 62.5, 75, 87.5, 100, 60, 80)
	}
	return r
}

func randomRamp(roll dice, access Access) History {
	h := randomRoutine(roll, access, Interval)
	h.Revisions = h.Revisions[:1]
	h.Revisions[0].Cadence = Cadence{Kind: OnRamp, Ramp: &RampPlan{
		From: 50, To: 100, Days: choose(roll, 14, 28), StepDays: choose(roll, 3, 7), Curve: choose(roll, Linear, Linear, Geometric), GreatestRise: 12.5,
	}}
	h.Revisions[0].DaysEarly, h.Revisions[0].Months = 0, 0
	for roll.chance(60) && len(h.RampEvents) < 6 {
		h.RampEvents = append(h.RampEvents, RampEvent{roll.day(playFrom, playTo), choose(roll, Hold, Resume, Resume, StepBack)})
	}
	return h
}

// randomChain makes joined work, so many links under a parent.
func randomChain(roll dice, access Access, links int) History {
	h := randomRoutine(roll, access, choose(roll, Interval, Calendar))
	if roll.chance(15) {
		h = randomRamp(roll, access)
	}
	for n := range links {
		parent := h
		h = History{Routine: Routine{
			ID: testID(2_000_000 + n), Kind: FilterSockChange, Class: choose(roll, WaterQuality, Upkeep, LifeSupport), CatchUp: Merge,
			FirstDay: roll.day(playFrom, playFrom+60), LastDay: MaxDay,
		}, Access: access, Parent: &parent}
		gap := Gap{Unit: Minutes, Greatest: 60}
		if roll.chance(35) {
			gap = Gap{Unit: Days, Least: roll(4)}
			gap.Greatest = gap.Least + roll(4)
		}
		rev := Revision{From: h.Routine.FirstDay, Performer: Technician, Cadence: Cadence{Kind: Joined, Parent: parent.Routine.ID, Gap: gap}}
		if gap.Unit == Minutes {
			rev.DaysLate = choose(roll, 0, 1, 3)
		}
		h.Revisions = []Revision{rev}
		h.Records = randomRecords(roll, 100*(n+1), 16)
		h = named(h)
		if roll.chance(60) {
			h.Pauses = parent.Pauses
		} else if roll.chance(30) {
			h.Pauses = randomPauses(roll)
		}
	}
	return h
}

// describe writes a history so that a failing case can be read.
func describe(h History) string {
	text := fmt.Sprintf("\nroutine %s %v first %v last %v\n", h.Routine.Kind, h.Routine.Class, h.Routine.FirstDay, h.Routine.LastDay)
	for _, r := range h.Revisions {
		text += fmt.Sprintf("  from %v %+v early %d late %d months %v by %s\n", r.From, describeCadence(r.Cadence), r.DaysEarly, r.DaysLate, r.Months.list(), r.Performer)
	}
	for _, r := range sortRecords(h.Records) {
		text += fmt.Sprintf("  %v %s %d%% names %v with %v new %v level %v id %v\n", r.DoneOn, r.Result, r.Share, r.Names, r.WithJoined, r.NewDueOn, r.Level, r.ID)
	}
	text += fmt.Sprintf("  closures %v no access %07b entered %v\n  pauses %v\n  ramp %v\n", h.Access.Closures, h.Access.NoAccess, h.Access.NoAccessEntered, h.Pauses, h.RampEvents)
	if h.Seed != nil {
		text += fmt.Sprintf("  seed %+v\n", *h.Seed)
	}
	if h.Parent != nil {
		text += "follows" + describe(*h.Parent)
	}
	return text
}

func describeCadence(c Cadence) string {
	switch c.Kind {
	case Interval:
		return fmt.Sprint("every ", c.Every, " ", c.Unit)
	case Calendar:
		return c.Rule.String()
	case Once:
		return "once " + c.On.String()
	case Joined:
		return fmt.Sprintf("joined %+v", c.Gap)
	}
	return fmt.Sprintf("ramp %+v", *c.Ramp)
}

// withRecords gives the history with records taken out or added.
func withRecords(h History, change func([]Record) []Record) History {
	h.Records = change(slices.Clone(h.Records))
	return h
}
