package care_test

import (
	"tankward/service/care"
)

// countRecords finds what each record of the day counts for, one after the
// other: what is open when its turn comes, else the item closed last.
func (w *refWalk) countRecords(records []care.Record) {
	for _, rec := range records {
		item := w.visible()
		switch {
		case item == nil:
			w.extra(rec)
		case !w.countsFor(item, rec):
			w.counted[rec.ID] = care.Counted{RecordID: rec.ID}
		default:
			item = w.itemBeforeStepBack(item, rec)
			identity := item.Identity
			w.counted[rec.ID] = care.Counted{RecordID: rec.ID, For: &identity}
			w.apply(item, rec)
		}
		w.askStepBackAgain()
		w.openPending()
	}
}

// countsFor: work counts for what is open on its day, whatever it names. A
// skip or a locked door that names another item counts for nothing. A step
// back stays until it is set and cannot be skipped.
func (w *refWalk) countsFor(item *refItem, rec care.Record) bool {
	switch {
	case rec.Result == care.Done || rec.Result == care.Partly:
		return true
	case rec.Result == care.Skipped && item.stepBack:
		return false
	}
	return rec.Names == nil || *rec.Names == item.Identity
}

// apply does to the open item what a record that counts for it says. Shares
// add up; the one that reaches the whole closes the item. The skip of a life
// support item says when it is due next. A locked door leaves it due.
func (w *refWalk) apply(item *refItem, rec care.Record) {
	switch rec.Result {
	case care.Done:
		w.finish(item, rec)
	case care.Partly:
		if item.percent+rec.Share >= 100 {
			w.finish(item, rec)
			return
		}
		item.percent += rec.Share
	case care.Skipped:
		if w.routine.Routine.Class == care.LifeSupport {
			w.newDue, w.asked = rec.NewDueOn, nil
		}
		w.close(item, rec, care.SkippedState)
	case care.NoAccess:
		item.noAccess++
	}
}

// finish closes an item whose work is whole. Only a step back stays due if the
// level that was set lies above the one to be set.
func (w *refWalk) finish(item *refItem, rec care.Record) {
	w.setLevel(rec, item.level)
	if item.stepBack && *w.standing > item.level+levelGrain {
		day := w.today
		w.lastDone = &day
		return
	}
	w.close(item, rec, care.DoneState)
}

// close ends an item with everything older than it. A skip anchors like work
// done.
func (w *refWalk) close(item *refItem, rec care.Record, state care.State) {
	w.open, w.dropped = nil, false
	w.carriedLate = care.MaxDay
	day := w.today
	w.lastDone = &day
	w.onceDone[item.given] = true
	w.taken[item.NominalDue] = item.Ordinal + 1
	w.plan()
	c := refClosing{item: item, record: rec, day: w.today, state: state, nextEarliest: w.nextEarliest()}
	w.closings = append(w.closings, c)
	w.closingsToday = append(w.closingsToday, c)
}

// extra keeps a record that came before its window or with nothing open. It
// belongs to the item closed last. Only finished work moves last done, a share
// only if it is the whole.
func (w *refWalk) extra(rec care.Record) {
	counted := care.Counted{RecordID: rec.ID, Extra: true}
	if n := len(w.closings); n > 0 {
		last := w.closings[n-1]
		counted.For, counted.ClosedBy = &last.item.Identity, last.record.ID
	}
	w.counted[rec.ID] = counted
	if rec.Result != care.Done && (rec.Result != care.Partly || rec.Share < 100) {
		return
	}
	day := w.today
	w.lastDone = &day
	w.setLevelAgain(rec)
	w.takePlaceOfSkip(rec)
	if w.kind() == care.Interval && w.open != nil { // it waits for the resume day
		w.discardOpen()
	}
	w.plan()
}

// takePlaceOfSkip: the closing record of an item is the first that finished
// the work, and only without one the skip. So finished work that belongs to a
// skipped item closes it instead, and the day that the skip asked for is no
// longer wanted. The skip and all its extras belong to the new closing. What
// follows the item in joined work stays with the skip. After another item went
// away in a pause or hold, or waits already, work is no longer that of the
// skipped one.
func (w *refWalk) takePlaceOfSkip(rec care.Record) {
	n := len(w.closings)
	if n == 0 || w.closings[n-1].state != care.SkippedState || w.dropped || w.waiting() {
		return
	}
	last := &w.closings[n-1]
	skip := last.record.ID
	last.record, last.day, last.state = rec, w.today, care.DoneState
	w.counted[rec.ID] = care.Counted{RecordID: rec.ID, For: &last.item.Identity}
	if _, own := w.counted[skip]; own {
		w.counted[skip] = care.Counted{RecordID: skip, For: &last.item.Identity, Extra: true, ClosedBy: rec.ID}
	}
	for id, c := range w.counted {
		if c.Extra && c.ClosedBy == skip {
			c.ClosedBy = rec.ID
			w.counted[id] = c
		}
	}
	w.newDue, w.asked = 0, nil
}
