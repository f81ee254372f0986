package care

import "slices"

// slot is an item that is open or still to come, with its dates as they stand.
type slot struct {
	ok                    bool
	id                    Identity
	earliest, due, latest Day
	cutLatest             Day // before a closure moved it
	blocked               bool
	waiting               bool // joined by days: shown before it may be done
	fixed                 bool // its day was named by a person: no revision moves it
	stepBack              bool
	kept                  bool // joined: follows its parent's item no longer, which is closed or waits
	late                  int  // joined: the days late it has once its parent closes
	level                 float64
	percent, noAccess     int
	lastShare, lastNo     Day
	facts                 []Fact
	mute                  bool // no facts are wanted
}

// note adds a link to the chain of facts.
func (s *slot) note(f Fact) {
	if !s.mute {
		s.facts = append(s.facts, f)
	}
}

// window sets the days around the nominal due.
func (s *slot) window(early, late int) {
	s.due = s.id.NominalDue
	s.earliest, s.latest = s.due-Day(early), s.due+Day(late)
	s.note(Fact{Kind: FactTolerance, Early: early, Late: late})
}

// notBefore lets the window begin not before a day.
func (s *slot) notBefore(d Day, why FactKind) {
	if s.earliest < d {
		s.earliest = d
		s.note(Fact{Kind: why, Day: d})
	}
}

// keepTogether moves due and latest up to a window that begins later.
func (s *slot) keepTogether() {
	s.due = max(s.due, s.earliest)
	if s.latest < s.due {
		s.latest, s.cutLatest = s.due, s.due
	}
}

// openOn says whether the work may be done on the day.
func (s *slot) openOn(d Day) bool { return s.ok && s.earliest <= d }

// older is unfinished work whose place a newer item took.
type older struct {
	ok      bool
	nominal Day
	latest  Day
}

// or gives the one of two that is due later, the second when both are due on
// one day.
func (o older) or(p older) older {
	if !p.ok || o.ok && o.nominal > p.nominal {
		return o
	}
	return p
}

// item gives the slot as an item on a day; false when it is not to be shown.
func (s *slot) item(day Day, late older, lost []Fact) (Item, bool) {
	if !s.openOn(day) && !(s.ok && s.waiting) {
		return Item{}, false
	}
	it := s.bare(late, lost)
	from := s.lateFrom(late)
	switch {
	case s.blocked && day >= s.earliest:
		it.State = Blocked
	case day >= from:
		it.State, it.LateSince = Overdue, from
	case day < s.earliest:
		it.State = Waiting
	case day < s.due:
		it.State = Early
	default:
		it.State = Due
	}
	return it, true
}

// lateFrom gives the first day on which the oldest unfinished work is late.
func (s *slot) lateFrom(late older) Day {
	switch {
	case s.blocked:
		return MaxDay
	case late.ok:
		return late.latest + 1
	}
	return s.latest + 1
}

// bare gives the item without what depends on the day.
func (s *slot) bare(late older, lost []Fact) Item {
	it := Item{
		Identity: s.id, Earliest: s.earliest, Due: s.due, Latest: s.latest,
		DonePercent: s.percent, NoAccessCount: s.noAccess, Level: s.level, Facts: slices.Clone(s.facts),
	}
	if late.ok {
		it.Facts = append(it.Facts, Fact{Kind: FactOlder, Day: late.nominal, To: late.latest})
	}
	it.Facts = append(it.Facts, lost...)
	if s.percent > 0 {
		it.Facts = append(it.Facts, Fact{Kind: FactShare, Percent: float64(s.percent), Day: s.lastShare})
	}
	if s.noAccess > 0 {
		it.Facts = append(it.Facts, Fact{Kind: FactNoAccess, Count: s.noAccess, Day: s.lastNo})
	}
	return it
}
