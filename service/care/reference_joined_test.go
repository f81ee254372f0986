package care_test

import (
	"tankward/service/care"
)

// followParent opens and moves joined work with what happened to its parent
// today.
func (w *refWalk) followParent() {
	if w.kind() != care.Joined {
		return
	}
	if w.now().Cadence.Gap.Unit == care.Days {
		w.followClosings()
		return
	}
	w.followWindow(w.parent.openAtStart)
	for _, c := range w.parent.closingsToday {
		if w.open == nil || w.open.Identity != c.item.Identity || !w.followed[c.item.Identity] {
			continue
		}
		w.open.parentClosed, w.open.closedOn = true, w.today
		w.refreshJoined()
		if skippedWithJoined(c) {
			w.close(w.open, c.record, care.SkippedState)
		}
	}
	w.refreshJoined()
}

// skippedWithJoined: only such a skip of the parent skips what follows it.
func skippedWithJoined(c refClosing) bool {
	return c.state == care.SkippedState && c.record.WithJoined
}

// followWindow opens joined work of the same visit with its parent's item, once
// for each of them. If the one before is still open they are merged.
func (w *refWalk) followWindow(parent *refItem) {
	if parent == nil || w.followed[parent.Identity] {
		return
	}
	w.followed[parent.Identity] = true
	if parent.NominalDue < w.routine.Routine.FirstDay || parent.NominalDue > w.routine.Routine.LastDay {
		return
	}
	w.takeOver(&refItem{Identity: parent.Identity, revision: w.now()})
}

// followNewDue follows an item of the parent that opened in the course of the
// day.
func (w *refWalk) followNewDue() {
	if w.kind() == care.Joined && w.now().Cadence.Gap.Unit == care.Minutes {
		w.followWindow(w.parent.visible())
	}
}

// refreshJoined keeps the window of joined work of the same visit: its parent's
// while that is open; when the parent has closed without it, that day and its
// own days late, up to the day before the parent's next window if that is
// known. When the parent's item went away in a pause the last window stays.
func (w *refWalk) refreshJoined() {
	item := w.open
	if w.kind() != care.Joined || item == nil || item.asked || item.revision.Cadence.Gap.Unit != care.Minutes {
		return
	}
	parent := w.parent.openAtStart
	switch {
	case item.parentClosed:
		item.blocked = false
		item.due = item.closedOn
		item.latest = min(item.closedOn+care.Day(item.revision.DaysLate), w.parent.nextEarliest()-1)
	case parent != nil && parent.Identity == item.Identity:
		item.earliest, item.due, item.latest = parent.earliest, parent.due, parent.latest
		item.blocked = parent.blocked
	case w.parent.open != nil && w.parent.open.Identity == item.Identity:
		parent = w.parent.open
		item.earliest, item.due, item.latest = parent.earliest, parent.due, parent.latest
		item.blocked = parent.blocked
	}
	w.waitForResume(item)
}

// nextEarliest is the first day of the next window, MaxDay when it is unknown:
// of joined work whose own parent is still open, or with a gap in days.
func (w *refWalk) nextEarliest() care.Day {
	if w.kind() == care.Joined {
		if w.now().Cadence.Gap.Unit == care.Days || w.parent.open != nil {
			return care.MaxDay
		}
		return w.parent.nextEarliest()
	}
	for _, p := range w.pending {
		if !p.closedByClosure {
			return p.earliest
		}
	}
	return care.MaxDay
}

// followClosings opens joined work with a gap in days when its parent closes;
// it takes over from the one before.
func (w *refWalk) followClosings() {
	gap, routine := w.now().Cadence.Gap, w.routine.Routine
	for _, c := range w.parent.closingsToday {
		nominal := w.today + care.Day(gap.Least)
		if nominal < routine.FirstDay || nominal > routine.LastDay {
			continue
		}
		item := &refItem{
			Identity: care.Identity{NominalDue: nominal, Ordinal: w.taken[nominal]}, revision: w.now(),
			cutEarliest: nominal, cutLatest: w.today + care.Day(gap.Greatest),
		}
		if c.state == care.DoneState && gap.Least == 0 {
			// The parent was done there today, so a closure does not matter.
			item.earliest, item.due, item.latest = item.cutEarliest, nominal, item.cutLatest
		} else {
			w.move(item)
		}
		w.waitForResume(item)
		w.takeOver(item)
		if skippedWithJoined(c) {
			w.close(item, c.record, care.SkippedState)
		}
	}
}
