package care_test

import (
	"slices"

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
	for _, c := range w.parent.closingsToday {
		w.followWindow(c.item)
		if w.open == nil || w.open.Identity != c.item.Identity || !w.followed[c.item.Identity] {
			continue
		}
		if !w.skipWithParent(c) {
			w.parentClosed(w.open, c)
		}
	}
	w.followWindow(w.parent.visible()) // on a day that a skip of today asked for
	w.refreshJoined()
}

// skipWithParent skips the open item if the parent was skipped with its joined
// work, and only then. It says whether it was.
func (w *refWalk) skipWithParent(c refClosing) bool {
	skipped := c.state == care.SkippedState && c.record.WithJoined
	if skipped {
		w.close(w.open, c.record, care.SkippedState)
	}
	return skipped
}

// followWindow opens joined work of the same visit with its parent's item, once
// for each of them. If the one before is still open they are merged. What the
// parent's course gives in a pause of the joined work never existed.
func (w *refWalk) followWindow(parent *refItem) {
	if parent == nil || w.followed[parent.Identity] {
		return
	}
	w.followed[parent.Identity] = true
	if w.named(parent.Identity) {
		return
	}
	if !w.exists(parent) {
		return
	}
	item := &refItem{Identity: parent.Identity, revision: w.now()}
	w.takeOver(item)
	w.windowOf(item, parent)
}

// exists says whether the routine has an item beside that of its parent.
func (w *refWalk) exists(parent *refItem) bool {
	day, routine := parent.NominalDue, w.routine.Routine
	return day >= routine.FirstDay && day <= routine.LastDay && !w.paused(day)
}

// named says that the item is the one of a day that a skip asked for.
func (w *refWalk) named(identity care.Identity) bool {
	if w.open != nil && w.open.asked && w.open.Identity == identity {
		return true
	}
	return slices.ContainsFunc(w.closings, func(c refClosing) bool {
		return c.item.asked && c.item.Identity == identity
	})
}

// windowOf gives joined work the window of its parent.
func (w *refWalk) windowOf(item, parent *refItem) {
	item.earliest, item.due, item.latest = parent.earliest, parent.due, parent.latest
	item.blocked = parent.blocked
	w.waitForResume(item)
}

// parentClosed: the parent has closed without the joined work, so it is due
// today, and its latest its own days late after, up to the day before the
// parent's next window as far as that was known when it closed.
func (w *refWalk) parentClosed(item *refItem, c refClosing) {
	if w.today < w.routine.Routine.FirstDay {
		w.discardOpen()
		return
	}
	item.parentClosed, item.blocked = true, false
	item.due = w.today
	item.latest = min(w.today+care.Day(item.revision.DaysLate), c.nextEarliest-1)
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
	for _, parent := range []*refItem{w.parent.openAtDawn, w.parent.open} {
		if parent != nil && parent.Identity == item.Identity {
			w.windowOf(item, parent)
		}
	}
}

// upcoming is the item that opens next as far as it is known: nothing is known
// of the next closing of a parent.
func (w *refWalk) upcoming() *refItem {
	for _, p := range w.pending {
		if !p.closedByClosure {
			return p
		}
	}
	if w.kind() != care.Joined || w.now().Cadence.Gap.Unit == care.Days {
		return nil
	}
	next := w.parent.open
	if next == nil || w.followed[next.Identity] {
		next = w.parent.upcoming()
	}
	if next == nil || !w.exists(next) {
		return nil
	}
	item := &refItem{Identity: next.Identity, revision: w.now()}
	w.windowOf(item, next)
	return item
}

// nextEarliest is the first day of the next window, MaxDay when it is unknown.
func (w *refWalk) nextEarliest() care.Day {
	if item := w.upcoming(); item != nil {
		return item.earliest
	}
	return care.MaxDay
}

// followClosings opens joined work with a gap in days when its parent closes;
// it takes over from the one before.
func (w *refWalk) followClosings() {
	gap, routine := w.now().Cadence.Gap, w.routine.Routine
	for _, c := range w.parent.closingsToday {
		nominal := w.today + care.Day(gap.Least)
		if w.today < routine.FirstDay || nominal > routine.LastDay || w.pauseEnd(nominal) == care.MaxDay {
			continue
		}
		if w.open != nil && w.open.NominalDue == nominal { // the parent closed twice today
			w.skipWithParent(c)
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
		w.skipWithParent(c)
	}
}
