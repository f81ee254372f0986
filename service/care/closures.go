package care

// searchDays is how far behind its nominal day an item is moved when no
// closure ends later: a year and a day.
const searchDays = 366

// afterClosures is how many days behind the last closure's end the search goes
// on.
const afterClosures = 7

// mover finds the day that takes the place of a closed one.
type mover struct {
	access   *Access
	activity activity
	lastDone Day
}

// closed says whether the closures entered up to a day shut a day, and when
// the last of those that do was entered.
func (m *mover) closed(d, known Day) (bool, Day) {
	shut, entered := false, MinDay
	for i := range m.access.Closures {
		c := &m.access.Closures[i]
		if c.Entered <= known && c.Covers(d) {
			shut, entered = true, max(entered, c.Entered)
		}
	}
	if m.access.NoAccess != 0 && m.access.NoAccessEntered <= known && m.access.NoAccess>>d.Weekday()&1 == 1 {
		shut, entered = true, max(entered, m.access.NoAccessEntered)
	}
	return shut, entered
}

// move gives the item its day among the open ones. Closures count in the order
// in which they were entered: one entered after the end of the window that the
// earlier ones gave moves nothing.
func (m *mover) move(s *slot) {
	nominal, latest := s.due, s.latest
	if shut, _ := m.closed(nominal, MaxDay); !shut {
		return
	}
	known, entered := MinDay, MinDay
	for {
		next, more := m.nextEntry(known)
		if !more {
			break
		}
		if next > s.latest {
			break
		}
		known = next
		shut, _ := m.closed(nominal, known)
		if !shut {
			continue
		}
		var day Day
		day, entered, s.blocked = m.search(s, nominal, latest, known)
		s.due, s.latest = day, max(day, latest)
	}
	switch {
	case s.blocked:
		s.note(Fact{Kind: FactBlocked, Day: nominal, Entered: entered})
	case s.due != nominal:
		s.note(Fact{Kind: FactClosed, Day: nominal, To: s.due, Entered: entered})
	}
	if shut, entered := m.closed(s.due, MaxDay); shut && !s.blocked {
		s.note(Fact{Kind: FactClosedTooLate, Day: s.due, Entered: entered})
	}
}

// nextEntry gives the next day on which a closure was entered.
func (m *mover) nextEntry(after Day) (Day, bool) {
	next, found := MaxDay, false
	consider := func(d Day) {
		if d > after && (d < next || !found) {
			next, found = d, true
		}
	}
	for i := range m.access.Closures {
		consider(m.access.Closures[i].Entered)
	}
	if m.access.NoAccess != 0 {
		consider(m.access.NoAccessEntered)
	}
	return next, found
}

// search tries the days of the window from the nominal day outwards, the
// earlier first, then those behind it. It gives the day, the greatest entry
// day it had to respect, and whether there is none.
func (m *mover) search(s *slot, nominal, latest, known Day) (Day, Day, bool) {
	_, floor := m.closed(nominal, known)
	try := func(d Day) bool {
		shut, entered := m.closed(d, known)
		if !shut && d >= floor && d > m.lastDone && m.activity.active(d) {
			return true
		}
		if shut {
			floor = max(floor, entered)
		}
		return false
	}
	for step := Day(1); nominal-step >= s.earliest || nominal+step <= latest; step++ {
		if d := nominal - step; d >= s.earliest && try(d) {
			return d, floor, false
		}
		if d := nominal + step; d <= latest && try(d) {
			return d, floor, false
		}
	}
	for d, last := latest+1, m.limit(nominal, known); d <= last; d = m.reopens(d, known) {
		if try(d) {
			return d, floor, false
		}
	}
	return nominal, floor, true
}

// reopens gives the first day after a day that may be open: the end of the
// closures over it.
func (m *mover) reopens(d, known Day) Day {
	next := d + 1
	for i := range m.access.Closures {
		if c := &m.access.Closures[i]; c.Entered <= known && c.Covers(d) {
			next = max(next, c.To)
		}
	}
	return next
}

// limit gives the last day the search looks at.
func (m *mover) limit(nominal, known Day) Day {
	last := nominal + searchDays
	for i := range m.access.Closures {
		if c := &m.access.Closures[i]; c.Entered <= known && c.To < MaxDay-afterClosures {
			last = max(last, c.To-1+afterClosures)
		}
	}
	return last
}
