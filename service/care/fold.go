package care

import (
	"bytes"
	"cmp"
	"slices"
)

// fold walks through a routine's history day by day that matters. It is causal:
// what it holds after a day depends on nothing that happens later, except for
// closures and pauses, which count as they are known now.
type fold struct {
	h        *History
	activity activity
	records  []Record // sorted, after the seed
	parent   *fold

	// Places in the lists above; all before them has happened.
	day                                Day
	nextRecord, nextRevision           int
	nextPause, nextRampEvent, nextStep int

	rev   *Revision
	dates Dates // of a calendar
	lower Day   // the first nominal day the revision may give

	lastDone Day // MinDay: never
	closedTo Day // the greatest nominal day of a closed item; MinDay: none
	after    Day // a calendar's next occurrence lies after it
	resumed  Span
	gone     Identity // joined: the parent's item that is behind it
	isGone   bool
	used     map[Day]int // closed items by nominal day

	cur, next slot
	dropped   bool // an item came and went without a record since the last closing
	late      older
	last      older // of the items that were current before, the one due last
	lost      []Fact
	oldest    slot // the oldest unclosed item, once a newer one took its place
	takenOver Day
	seen      step // joined: the parent's course as it stands
	ramp      rampCourse

	closes  []closing
	counted []counted

	traced bool
	steps  []step
}

// closing is a closed item; changed says that it is not, or no longer, the one
// the fold began with.
type closing struct {
	Close
	changed bool
}

// counted is what a record counts for; closing is the place of the item in
// closes, or -1.
type counted struct {
	Counted
	closing int
}

// newFold prepares a fold; traced says that joined work follows it.
func newFold(h *History, traced bool) *fold {
	f := &fold{
		h: h, traced: traced, day: MinDay, lastDone: MinDay, closedTo: MinDay, after: MinDay, used: map[Day]int{},
		activity: activity{pauses: mergeSpans(h.Pauses)},
		records:  sortRecords(h.Records),
	}
	f.ramp = courseOf(h, f.activity.pauses)
	if h.Parent != nil {
		f.parent = newFold(h.Parent, true)
	}
	return f
}

// sortRecords gives the records by day and id: the order in which they count.
func sortRecords(records []Record) []Record {
	sorted := slices.Clone(records)
	slices.SortFunc(sorted, func(a, b Record) int {
		return cmp.Or(cmp.Compare(a.DoneOn, b.DoneOn), bytes.Compare(a.ID[:], b.ID[:]))
	})
	return sorted
}

// run lets everything up to the end of a day happen.
func (f *fold) run(to Day) {
	if f.parent != nil {
		f.parent.run(to)
	}
	f.start()
	f.advance(to)
}

// advance lets everything that has not happened yet happen, up to the end of a
// day.
func (f *fold) advance(to Day) {
	for {
		day := f.nextDay()
		if day > to || day == MaxDay {
			return
		}
		if other := f.nextEvent(); !f.traced && other > day {
			day = min(to, other-1) // until then only newer items take over
		}
		f.step(day)
	}
}

// start sets the state before anything has happened, or after the seed.
func (f *fold) start() {
	f.useRevision(0)
	f.nextRevision = 1
	if seed := f.h.Seed; seed != nil {
		f.sow(seed)
	} else {
		f.plan()
	}
}

// nextDay gives the next day on which anything happens.
func (f *fold) nextDay() Day {
	day := f.nextEvent()
	if f.next.ok {
		day = min(day, f.next.earliest)
	}
	return max(day, f.day)
}

// nextEvent gives the next day on which anything happens but that a newer item
// takes the current one's place.
func (f *fold) nextEvent() Day {
	day := MaxDay
	if f.nextRecord < len(f.records) {
		day = min(day, f.records[f.nextRecord].DoneOn)
	}
	if f.nextRevision < len(f.h.Revisions) {
		day = min(day, f.h.Revisions[f.nextRevision].From)
	}
	if f.nextPause < len(f.activity.pauses) {
		day = min(day, f.activity.pauses[f.nextPause].From)
	}
	if f.parent != nil && f.nextStep < len(f.parent.steps) {
		day = min(day, f.parent.steps[f.nextStep].day)
	}
	return max(min(day, f.nextRampDay()), f.day)
}

// step lets a day happen: first what the plan says, then what people did.
func (f *fold) step(day Day) {
	f.day = day
	f.takeOver()
	for f.nextRevision < len(f.h.Revisions) && f.h.Revisions[f.nextRevision].From <= day {
		f.revise()
	}
	for f.nextPause < len(f.activity.pauses) && f.activity.pauses[f.nextPause].From <= day {
		f.pause(f.activity.pauses[f.nextPause])
		f.nextPause++
	}
	for f.parent != nil && f.nextStep < len(f.parent.steps) && f.parent.steps[f.nextStep].day <= day {
		f.follow(f.parent.steps[f.nextStep])
		f.nextStep++
		f.takeOver()
	}
	f.rampEvents()
	f.takeOver()
	for f.nextRecord < len(f.records) && f.records[f.nextRecord].DoneOn <= day {
		f.nextRecord++
		f.record(f.records[f.nextRecord-1])
		f.takeOver()
	}
}

// useRevision puts a revision in force.
func (f *fold) useRevision(n int) {
	f.rev = &f.h.Revisions[n]
	f.lower = f.h.Routine.FirstDay
	if n > 0 && f.rev.Cadence.Kind != Joined {
		f.lower = max(f.lower, f.rev.From)
	}
	f.activity.months = f.rev.Months
	if f.rev.Cadence.Kind == Calendar {
		f.dates = f.rev.Cadence.Rule.From(f.h.Routine.FirstDay)
		f.dates.last = min(f.dates.last, f.h.Routine.LastDay)
	}
}

// revise puts the next revision in force. The item that is open keeps its
// dates until it closes.
func (f *fold) revise() {
	f.useRevision(f.nextRevision)
	f.nextRevision++
	if f.cur.openOn(f.day) || f.cur.ok && (f.cur.waiting || f.cur.fixed) {
		f.lookAhead()
		f.snapshot()
		return
	}
	f.plan()
}

// pause lets a pause begin: what was due before it closes as paused, the rest
// waits for the resume day.
func (f *fold) pause(p Span) {
	f.after = max(f.after, p.From-1)
	f.resumed = p
	switch {
	case f.rev.Cadence.Kind == OnRamp: // rampEvents knows the pauses
	case f.cur.ok && f.cur.id.NominalDue < p.From:
		f.dropCurrent()
		f.plan()
	case f.cur.ok && p.To < MaxDay:
		f.forgetBefore(p.From)
		f.cur.kept = f.cur.kept || f.cur.earliest < p.From
		f.cur.notBefore(p.To, FactNotBeforeResume)
		f.cur.keepTogether()
		f.lookAhead()
		f.snapshot()
	}
}

// forgetBefore lets older work that was due before a pause go: it closes as
// paused, and what took its place is no longer late.
func (f *fold) forgetBefore(from Day) {
	if f.late.ok && f.late.nominal < from {
		f.late, f.dropped = older{}, true
	}
	if f.oldest.ok && f.oldest.id.NominalDue < from {
		f.oldest = slot{}
	}
}

// dropCurrent lets the current item go without a record.
func (f *fold) dropCurrent() {
	f.leave(&f.cur)
	f.past(&f.cur)
	f.dropped = true
	f.late, f.oldest = older{}, slot{}
	f.loseShare(f.cur)
}

// loseShare keeps as a fact that a part of an item was done.
func (f *fold) loseShare(s slot) {
	if s.ok && s.percent > 0 {
		f.lost = append(f.lost, Fact{Kind: FactShareLost, Percent: float64(s.percent), Day: s.id.NominalDue})
	}
}

// takeOver lets newer items take the place of the current one from the day on
// which their windows begin.
func (f *fold) takeOver() {
	for f.next.openOn(f.day) {
		f.replaceCurrent(f.next)
		f.leap()
		f.lookAhead()
		f.snapshot()
	}
}

// leap lets the newest occurrence that is open take over at once, so that a
// calendar nobody has looked after for years costs no more than one of weeks.
// The oldest work that is late must be known, and nothing may follow the course.
func (f *fold) leap() {
	if f.traced || !f.late.ok || f.rev.Cadence.Kind != Calendar {
		return
	}
	for before := f.day + Day(f.rev.DaysEarly) + 1; ; {
		nominal, ok := f.prevNominal(before)
		if !ok || nominal <= f.cur.id.NominalDue {
			return
		}
		if s := f.occurrence(nominal); s.earliest <= f.day && !f.mergedByClosure(&s) {
			f.cur = s
			return
		}
		before = nominal
	}
}

// replaceCurrent puts a newer item in the place of the current one, which
// stays unfinished; the newer carries its lateness.
func (f *fold) replaceCurrent(by slot) {
	if c := &f.cur; c.ok {
		merged := c.due > c.cutLatest && c.due >= by.earliest // by a closure
		if !f.oldest.ok && !merged {
			f.oldest, f.takenOver = f.cur, min(f.day, by.earliest)
		}
		if !f.late.ok && !c.blocked && !merged {
			f.late = older{ok: true, nominal: c.id.NominalDue, latest: c.latest}
		}
		f.past(c)
		f.loseShare(f.cur)
	}
	by.mute = false
	f.cur = by
}

// past remembers an item that is no longer current: the next window begins
// after its own.
func (f *fold) past(s *slot) {
	f.last = f.last.or(older{ok: s.ok, nominal: s.id.NominalDue, latest: s.cutLatest})
}

// plan works out the routine's next item, and the one after it where that is
// known, when nothing is open.
func (f *fold) plan() {
	f.cur = slot{}
	switch f.rev.Cadence.Kind {
	case Interval:
		f.cur = f.intervalItem()
	case Once:
		f.cur = f.onceItem()
	case Calendar:
		f.cur = f.occurrenceAfter(f.after)
	case OnRamp:
		f.cur = f.rampItem()
	case Joined:
		f.cur = f.joinedItem()
	}
	f.lookAhead()
	f.snapshot()
}

// lookAhead finds the item that will take the current one's place by itself.
func (f *fold) lookAhead() {
	f.next = slot{}
	if !f.cur.ok {
		return
	}
	switch f.rev.Cadence.Kind {
	case Calendar:
		f.next = f.occurrenceAfter(max(f.after, f.cur.id.NominalDue))
	case Joined:
		f.next = f.joinedNext()
	default: // what follows is known only when the current one closes
	}
}

// ordinal gives the ordinal of a new item on a nominal day.
func (f *fold) ordinal(d Day) int { return f.used[d] }

// mover gives what finds open days for the routine as it stands.
func (f *fold) mover() mover {
	return mover{access: &f.h.Access, activity: f.activity, lastDone: f.lastDone}
}
