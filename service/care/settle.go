package care

import "slices"

// OpenOn gives what is open at the end of a day, as known now.
func OpenOn(h History, day Day) []Item {
	f := newFold(&h, false)
	f.run(day)
	return f.open(day)
}

// open gives what is open at the end of a day that the fold has reached.
func (f *fold) open(day Day) []Item {
	if _, paused := spanAt(f.activity.pauses, day); paused && !f.cur.stepBack && !f.cur.waiting {
		return nil
	}
	it, ok := f.cur.item(day, f.late, f.lost)
	if !ok {
		return nil
	}
	return []Item{it}
}

// Settle gives what a command writes back: the stored item, which record
// closes which item, and what each record counts for.
func Settle(h History) Settled {
	f := newFold(&h, false)
	f.run(f.lastEvent())
	settled := Settled{Closes: f.changedCloses(), Counted: f.tell()}
	f.awaitItem()
	settled.Stored = f.stored()
	return settled
}

// has says whether a fact is among those of the item.
func (it *Item) has(kind FactKind) bool {
	return slices.ContainsFunc(it.Facts, func(f Fact) bool { return f.Kind == kind })
}

// PerformedBy gives who does the item: what is due on a closed day and cannot
// wait is the keeper's, whoever the routine names.
func (it *Item) PerformedBy(named Performer) Performer {
	if it.has(FactForKeeper) {
		return Keeper
	}
	return named
}

// awaitDays is how far ahead an item is looked for that comes by itself: longer
// than any stretch of inactive months.
const awaitDays = 800

// awaitItem goes on until there is an item, where the plan alone brings one: a
// ramp after its pause, work that follows a calendar in a month of its own.
func (f *fold) awaitItem() {
	last := min(f.h.Routine.LastDay, max(f.day, f.h.Routine.FirstDay)+awaitDays)
	for day := f.comingDay(); !f.cur.ok && day <= last; day = f.comingDay() {
		f.advanceAll(day)
	}
}

// comingDay gives the next day on which anything happens here or where the work
// follows.
func (f *fold) comingDay() Day {
	day := f.nextDay()
	if f.parent != nil {
		day = min(day, f.parent.comingDay())
	}
	return day
}

func (f *fold) advanceAll(to Day) {
	if f.parent != nil {
		f.parent.advanceAll(to)
	}
	f.advance(to)
}

// lastEvent gives the last day on which anybody did anything, so that what is
// stored is no function of today.
func (f *fold) lastEvent() Day {
	last := MinDay
	if n := len(f.records); n > 0 {
		last = f.records[n-1].DoneOn
	}
	if n := len(f.h.Revisions); n > 1 {
		last = max(last, f.h.Revisions[n-1].From)
	}
	for _, e := range f.h.RampEvents {
		last = max(last, e.Day)
	}
	if f.h.Seed != nil {
		last = max(last, f.h.Seed.DoneOn)
	}
	if f.parent != nil {
		last = max(last, f.parent.lastEvent())
	}
	return last
}

// stored gives the oldest unclosed item and the first day on which it may no
// longer be all.
func (f *fold) stored() Stored {
	s, until := &f.cur, f.nextChange()
	late, lost := f.late, f.lost
	if f.oldest.ok {
		s, until, late, lost = &f.oldest, f.takenOver, older{}, nil
	}
	if !s.ok {
		return Stored{None: true, NextEarliest: until, LateFrom: MaxDay}
	}
	out := Stored{Item: s.bare(late, lost), NextEarliest: until, LateFrom: s.lateFrom(late)}
	switch {
	case s.blocked:
		out.Item.State = Blocked
	case s.waiting:
		out.Item.State = Waiting
	}
	return out
}

// nextChange gives the next day on which something happens by itself: another
// item opens or a pause begins, here or where the work follows.
func (f *fold) nextChange() Day {
	day := MaxDay
	if f.next.ok {
		day = min(day, f.next.earliest)
	}
	if f.nextPause < len(f.activity.pauses) {
		day = min(day, f.activity.pauses[f.nextPause].From)
	}
	day = min(day, f.nextRampDay())
	if f.parent != nil && f.inSameVisit() {
		day = min(day, f.parent.nextChange())
	}
	return day
}

// changedCloses gives the closed items that the fold did not begin with.
func (f *fold) changedCloses() []Close {
	var closes []Close
	for _, c := range f.closes {
		if c.changed {
			closes = append(closes, c.Close)
		}
	}
	return closes
}

// tell says what each record counts for.
func (f *fold) tell() []Counted {
	told := make([]Counted, len(f.counted))
	for i, c := range f.counted {
		told[i] = c.Counted
		if c.Extra && c.closing >= 0 {
			told[i].ClosedBy = f.closes[c.closing].RecordID
		}
	}
	return told
}

// On gives what is open at the end of a day that lies before NextEarliest and
// not before the newest record; false means that a fold is needed.
func (s Stored) On(day Day) ([]Item, bool) {
	if day >= s.NextEarliest {
		return nil, false
	}
	it := s.Item
	if s.None || day < it.Earliest && it.State != Waiting && !it.has(FactGap) {
		return nil, true
	}
	switch {
	case it.State == Blocked && day >= it.Earliest:
	case day >= s.LateFrom:
		it.State, it.LateSince = Overdue, s.LateFrom
	case day < it.Earliest:
		it.State = Waiting
	case day < it.Due:
		it.State = Early
	default:
		it.State = Due
	}
	return []Item{it}, true
}
