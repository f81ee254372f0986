package care_test

import (
	"slices"
	"strings"

	"tankward/service/care"
)

// move sets the item's dates from its window on nominal days and from the
// closures, which count in the order of the days on which they were entered:
// one entered after the latest that the earlier ones gave moves nothing.
func (w *refWalk) move(item *refItem) {
	item.earliest, item.due, item.latest = item.cutEarliest, item.center(), item.cutLatest
	if w.neverMoved(item) {
		return
	}
	shut := refShut{}
	for _, entered := range entryDays(w.routine.Access) {
		if entered > item.latest || item.blocked {
			return
		}
		shut.take(w.routine.Access, entered)
		w.moveAmong(item, shut)
	}
}

// neverMoved: life support and daily feeding pass to the keeper instead, shop
// and device work does not care for a shut site, a step back stays, and where
// the parent was done today its joined work can be done too.
func (w *refWalk) neverMoved(item *refItem) bool {
	routine, performer := w.routine.Routine, item.revision.Performer
	dailyFeeding := routine.Kind == care.Feeding && w.dueEveryDay(item.revision)
	return routine.Class == care.LifeSupport || dailyFeeding || item.stepBack || item.parentDone ||
		performer == care.Shop || performer == care.Device
}

func (w *refWalk) dueEveryDay(rev care.Revision) bool {
	switch rev.Cadence.Kind {
	case care.Interval:
		return rev.Cadence.Every == 1 && rev.Cadence.Unit == care.Days
	case care.Calendar:
		text := w.routine.rules[w.revision]
		return strings.HasPrefix(text, "FREQ=DAILY") && !strings.Contains(text, "INTERVAL=")
	}
	return false
}

// entryDays gives the days on which something shut was entered, in order.
func entryDays(a care.Access) []care.Day {
	var days []care.Day
	for _, c := range a.Closures {
		days = append(days, c.Entered)
	}
	if a.NoAccess != 0 {
		days = append(days, a.NoAccessEntered)
	}
	slices.Sort(days)
	return slices.Compact(days)
}

// refShut is what keeps a site shut, as far as it counts for an item.
type refShut struct {
	closures        []care.Closure
	weekdays        uint8
	weekdaysEntered care.Day
}

// take adds all that was entered on a day.
func (s *refShut) take(a care.Access, entered care.Day) {
	for _, c := range a.Closures {
		if c.Entered == entered {
			s.closures = append(s.closures, c)
		}
	}
	if a.NoAccess != 0 && a.NoAccessEntered == entered {
		s.weekdays, s.weekdaysEntered = a.NoAccess, entered
	}
}

// on says whether a day is shut, and the greatest entry day of what shuts it.
func (s *refShut) on(day care.Day) (bool, care.Day) {
	shut, entered := false, care.MinDay
	for _, c := range s.closures {
		if c.From <= day && day < c.To {
			shut, entered = true, max(entered, c.Entered)
		}
	}
	if s.weekdays&(1<<day.Weekday()) != 0 {
		shut, entered = true, max(entered, s.weekdaysEntered)
	}
	return shut, entered
}

// lastSearchDay is seven days after the last closure ends, or a year on.
func (s *refShut) lastSearchDay(nominal care.Day) care.Day {
	last := nominal + 366
	for _, c := range s.closures {
		if c.To != care.MaxDay {
			last = max(last, c.To-1+7)
		}
	}
	return last
}

// moveAmong looks for an open day: the day before due, the day after, two days
// before and so on inside the window, then the first one after it, which
// becomes the latest. No day counts before anything that shuts the nominal day
// or a refused candidate was entered, none up to last done, none in a pause or
// an inactive month.
func (w *refWalk) moveAmong(item *refItem, shut refShut) {
	center := item.center()
	item.due, item.latest, item.moved = center, item.cutLatest, false
	closed, enteredFloor := shut.on(center)
	if !closed {
		return
	}
	accept := func(day care.Day) bool {
		closed, entered := shut.on(day)
		refused := closed || day < enteredFloor || w.lastDone != nil && day <= *w.lastDone ||
			w.paused(day) || !active(item.revision, day)
		if refused {
			enteredFloor = max(enteredFloor, entered)
		}
		return !refused
	}
	for k := care.Day(1); k <= 2000; k++ {
		for _, day := range []care.Day{center - k, center + k} {
			if day >= item.cutEarliest && day <= item.cutLatest && accept(day) {
				item.due, item.moved = day, true
				return
			}
		}
		if center-k < item.cutEarliest && center+k > item.cutLatest {
			break
		}
	}
	for day := item.cutLatest + 1; day <= shut.lastSearchDay(center); day++ {
		if accept(day) {
			item.due, item.latest, item.moved = day, day, true
			return
		}
	}
	item.blocked = true
}
