package care_test

import (
	"tankward/service/care"
)

// countRecords finds what each record of the day counts for.
func (w *refWalk) countRecords(records []care.Record) {
	item := w.visible()
	if item == nil {
		for _, rec := range records {
			w.extra(rec)
		}
		if w.joinedSkip != nil && w.open != nil { // its gap in days still runs
			w.close(w.open, *w.joinedSkip, care.SkippedState)
		}
		return
	}
	closing := w.closingIndex(item, records)
	for i, rec := range records {
		switch {
		case closing >= 0 && i > closing: // no longer after last done
			w.extra(rec)
		case item.stepBack && rec.Result == care.Done && !w.countsFor(item, rec):
			w.extra(rec)
		case !w.countsFor(item, rec):
			w.counted[rec.ID] = care.Counted{RecordID: rec.ID}
		default:
			identity := item.Identity
			w.counted[rec.ID] = care.Counted{RecordID: rec.ID, For: &identity}
			w.apply(item, rec, i == closing)
		}
	}
	if closing < 0 && w.joinedSkip != nil {
		w.close(item, *w.joinedSkip, care.SkippedState)
	}
}

// countsFor: work counts for what is open on its day, whatever it names. A
// skip or a locked door that names another item counts for nothing. A step
// back stays until it is set and cannot be skipped.
func (w *refWalk) countsFor(item *refItem, rec care.Record) bool {
	switch rec.Result {
	case care.Done:
		return !item.stepBack || rec.Level <= item.level+levelGrain
	case care.Partly:
		return true
	case care.Skipped:
		if item.stepBack {
			return false
		}
	}
	return rec.Names == nil || *rec.Names == item.Identity
}

// closingIndex finds the record of the day that closes the item: the first
// that finishes the work, alone or as the last share; only if none does, the
// first skip. It is -1 when the item stays open.
func (w *refWalk) closingIndex(item *refItem, records []care.Record) int {
	share, skip := item.percent, -1
	for i, rec := range records {
		if !w.countsFor(item, rec) {
			continue
		}
		switch rec.Result {
		case care.Done:
			return i
		case care.Partly:
			share += rec.Share
			if share >= 100 {
				return i
			}
		case care.Skipped:
			if skip < 0 {
				skip = i
			}
		}
	}
	return skip
}

// apply does to the open item what a record that counts for it says.
func (w *refWalk) apply(item *refItem, rec care.Record, closes bool) {
	switch {
	case closes && rec.Result == care.Skipped:
		w.close(item, rec, care.SkippedState)
	case closes:
		w.setLevel(rec)
		w.close(item, rec, care.DoneState)
	case rec.Result == care.Partly:
		item.percent += rec.Share
	case rec.Result == care.NoAccess:
		item.noAccess++
	}
}

// close ends an item with everything older than it. A skip anchors like work
// done; the skip of a life support item says when it is due next.
func (w *refWalk) close(item *refItem, rec care.Record, state care.State) {
	c := refClosing{item: item, record: rec, day: w.today, state: state}
	w.closings = append(w.closings, c)
	w.closingsToday = append(w.closingsToday, c)
	w.open = nil
	w.carriedLate = care.MaxDay
	day := w.today
	w.lastDone = &day
	w.onceDone[item.given] = true
	if state == care.SkippedState && w.routine.Routine.Class == care.LifeSupport {
		w.newDue = rec.NewDueOn
	}
	w.plan()
}

// extra keeps a record that came before its window, on the day of last done or
// with nothing open. It belongs to the item closed last. Only finished work
// moves last done, a share only if it is the whole.
func (w *refWalk) extra(rec care.Record) {
	counted := care.Counted{RecordID: rec.ID, Extra: true}
	if n := len(w.closings); n > 0 {
		last := w.closings[n-1]
		counted.For, counted.ClosedBy = &last.item.Identity, last.record.ID
	}
	w.counted[rec.ID] = counted
	finished := rec.Result == care.Done || rec.Result == care.Partly && rec.Share >= 100
	if !finished {
		return
	}
	if w.lastDone == nil || *w.lastDone < w.today {
		w.newDue = 0
	}
	day := w.today
	w.lastDone = &day
	w.setLevel(rec)
	w.plan()
}

// setLevel: a ramp stands at the level last set, whichever record set it.
func (w *refWalk) setLevel(rec care.Record) {
	if w.kind() == care.OnRamp {
		level := rec.Level
		w.standing = &level
	}
}
