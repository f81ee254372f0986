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
		w.openAtDawn = w.visible()
		w.followClosings()
		return
	}
	w.followWindow(w.parent.openAtDawn)
	w.refreshJoined()
	w.openAtDawn = w.visible()
	w.followWindow(w.parent.openAtStart)
	w.refreshJoined()
	for _, c := range w.parent.closingsToday {
		w.followWindow(c.item)
		if w.open == nil || w.open.Identity != c.item.Identity || !w.followed[c.item.Identity] {
			continue
		}
		if skippedWithJoined(c) {
			w.close(w.open, c.record, care.SkippedState)
		} else {
			w.parentClosed(w.open)
		}
	}
	w.refreshJoined()
}

// skippedWithJoined: only such a skip of the parent skips what follows it.
func skippedWithJoined(c refClosing) bool {
	return c.state == care.SkippedState && c.record.WithJoined
}

// followWindow opens joined work of the same visit with its parent's item, once
// for each of them. If the one before is still open they are merged. What the
// parent's course gives in a pause of the joined work never existed.
func (w *refWalk) followWindow(parent *refItem) {
	if parent == nil || w.followed[parent.Identity] {
		return
	}
	w.followed[parent.Identity] = true
	day, routine := parent.NominalDue, w.routine.Routine
	if day < routine.FirstDay || day > routine.LastDay || w.paused(day) {
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

// parentClosed: the parent has closed without the joined work, so it is due
// today, and its latest its own days late after, up to the day before the
// parent's next window as far as that is known today.
func (w *refWalk) parentClosed(item *refItem) {
	if w.today < w.routine.Routine.FirstDay {
		w.discardOpen()
		return
	}
	item.parentClosed, item.blocked = true, false
	item.due = w.today
	item.latest = min(w.today+care.Day(item.revision.DaysLate), w.parent.nextEarliest()-1)
	w.waitForResume(item)
}

// refreshJoined keeps the window of joined work of the same visit the same as
// its parent's while that is open. When the parent's item went away in a pause
// the last window stays.
func (w *refWalk) refreshJoined() {
	item := w.open
	if w.kind() != care.Joined || item == nil || item.asked || item.parentClosed || item.revision.Cadence.Gap.Unit != care.Minutes {
		return
	}
	for _, parent := range []*refItem{w.parent.openAtDawn, w.parent.openAtStart, w.parent.open} {
		if parent != nil && parent.Identity == item.Identity {
			item.earliest, item.due, item.latest = parent.earliest, parent.due, parent.latest
			item.blocked = parent.blocked
		}
	}
	w.waitForResume(item)
}

// nextEarliest is the first day of the next window, MaxDay when it is unknown:
// of joined work with a gap in days, or of what only the next closing tells.
func (w *refWalk) nextEarliest() care.Day {
	if w.kind() == care.Joined {
		if w.now().Cadence.Gap.Unit == care.Days {
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
		if nominal < routine.FirstDay || nominal > routine.LastDay || w.pauseEnd(nominal) == care.MaxDay {
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
