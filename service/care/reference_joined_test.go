package care_test

import (
	"slices"

	"tankward/service/care"
)

// followDawn opens joined work of the same visit with what its parent has open
// before anybody did anything today.
func (w *refWalk) followDawn() {
	if w.kind() == care.Joined && w.now().Cadence.Gap.Unit == care.Minutes {
		w.followWindow(w.parent.openAtDawn)
		w.refreshJoined()
	}
}

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
	for _, c := range w.parent.closingsToday {
		w.followWindow(c.item)
		if w.open == nil || w.open.follows != c.item {
			continue
		}
		if w.today < w.routine.Routine.FirstDay {
			w.discardOpen() // the parent closed before there was anything to do
		} else if !w.skipWithParent(c) {
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
	if parent == nil || w.followed[parent] {
		return
	}
	w.followed[parent] = true
	if w.named(parent) || !w.exists(parent) {
		return
	}
	item := &refItem{Identity: parent.Identity, revision: w.now(), follows: parent}
	w.takeOver(item)
	w.windowOf(item, parent)
}

// exists says whether the routine has an item beside that of its parent.
func (w *refWalk) exists(parent *refItem) bool {
	day, routine := parent.NominalDue, w.routine.Routine
	return day >= routine.FirstDay && day <= routine.LastDay && !w.paused(day)
}

// named says that the item is the one of a day that a skip asked for: open, then
// the two are one, or closed already.
func (w *refWalk) named(parent *refItem) bool {
	if w.open != nil && w.open.asked && w.open.Identity == parent.Identity {
		w.open.follows = parent
		return true
	}
	return slices.ContainsFunc(w.closings, func(c refClosing) bool {
		return c.item.asked && c.item.Identity == parent.Identity
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
	if w.kind() != care.Joined || item == nil || item.follows == nil || item.asked || item.parentClosed {
		return
	}
	if parent := item.follows; parent == w.parent.openAtDawn || parent == w.parent.open {
		w.windowOf(item, parent)
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
	if next == nil || w.followed[next] {
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
			cutEarliest: w.floor(w.now(), nominal, nominal),
		}
		item.cutLatest = max(w.today+care.Day(gap.Greatest), item.cutEarliest)
		item.parentDone = c.state == care.DoneState && item.cutEarliest == w.today
		w.move(item)
		w.takeOver(item)
		w.skipWithParent(c)
	}
}
