package care

import "github.com/google/uuid"

// closer is what closes an item: a record of the routine, or of the parent
// whose skipping skips the joined work too.
type closer struct {
	id         uuid.UUID
	day        Day
	skipped    bool
	withJoined bool
	newDue     Day
}

func closerOf(r Record) closer {
	c := closer{id: r.ID, day: r.DoneOn}
	if r.Result == Skipped {
		c.skipped, c.withJoined, c.newDue = true, r.WithJoined, r.NewDueOn
	}
	return c
}

// record lets a record count.
func (f *fold) record(r Record) {
	f.assign(r)
	if f.ramp.vain == f.day {
		f.askStepBack()
	}
}

// assign lets a record count for the open item, or for the one closed last.
func (f *fold) assign(r Record) {
	switch {
	case f.rev.Cadence.Kind == OnRamp && f.rampRecord(r):
	case !f.cur.openOn(f.day):
		f.extra(r)
	case (r.Result == Skipped || r.Result == NoAccess) && r.Names != nil && *r.Names != f.cur.id:
		f.count(r, nil, -1)
	default:
		f.countForCurrent(r)
	}
}

// countForCurrent lets a record count for the item that is open.
func (f *fold) countForCurrent(r Record) {
	id := f.cur.id
	f.count(r, &id, -1)
	switch r.Result {
	case NoAccess:
		f.cur.noAccess++
		f.cur.lastNo = r.DoneOn
	case Partly:
		f.cur.percent += r.Share
		f.cur.lastShare = r.DoneOn
		if f.cur.percent >= 100 {
			f.closeBy(r)
		}
	default:
		f.closeBy(r)
	}
}

// closeBy closes the current item by a record.
func (f *fold) closeBy(r Record) {
	if f.rev.Cadence.Kind == OnRamp && r.Result != Skipped {
		f.ramp.set(f.cur.level, r)
	}
	f.closeCurrent(closerOf(r))
}

// count keeps what a record counts for.
func (f *fold) count(r Record, id *Identity, place int) {
	f.counted = append(f.counted, counted{Counted: Counted{RecordID: r.ID, For: id}, closing: place})
}

// closeCurrent closes the current item; older ones it took the place of are
// closed with it, as missed.
func (f *fold) closeCurrent(c closer) {
	closed := f.cur
	state := DoneState
	if c.skipped {
		state = SkippedState
	}
	f.closes = append(f.closes, closing{Close: Close{Identity: closed.id, RecordID: c.id, DoneOn: c.day, State: state}, changed: true})
	f.used[closed.id.NominalDue] = closed.id.Ordinal + 1
	f.leave(&closed)
	f.past(&closed)
	f.closedTo = max(f.closedTo, closed.id.NominalDue)
	f.after = max(f.after, f.closedTo)
	f.lastDone = max(f.lastDone, c.day)
	f.late, f.lost, f.oldest, f.dropped = older{}, nil, slot{}, false
	place := len(f.steps)
	if f.traced {
		f.steps = append(f.steps, step{day: f.day, closed: &parentClose{item: closed, closer: c, nextEarliest: MaxDay}})
	}
	f.planAfter(c)
	if f.traced && f.cur.ok {
		f.steps[place].closed.nextEarliest = f.cur.earliest
	}
}

// leave remembers that the parent's item, if it was one, is behind the work
// that follows it.
func (f *fold) leave(s *slot) {
	if !s.fixed {
		f.gone, f.isGone = s.id, true
	}
}

// planAfter works out what comes after a closing: a day that a person named,
// or what the cadence gives.
func (f *fold) planAfter(c closer) {
	if c.newDue == 0 {
		f.plan()
		return
	}
	f.cur = f.namedItem(max(c.newDue, c.day))
	f.lookAhead()
	f.snapshot()
}

// extra lets a record count that finds nothing open: it belongs to the item
// closed last. Work done once more moves what follows the last work.
func (f *fold) extra(r Record) {
	last := len(f.closes) - 1
	var id *Identity
	if last >= 0 {
		id = &f.closes[last].Identity
	}
	f.count(r, id, last)
	f.counted[len(f.counted)-1].Extra = true
	if r.Result != Done && (r.Result != Partly || r.Share < 100) {
		return
	}
	f.lastDone = max(f.lastDone, r.DoneOn)
	if f.rev.Cadence.Kind == OnRamp {
		f.ramp.setAgain(f.rev.Cadence.Ramp, r)
	}
	superseded := last >= 0 && f.supersede(last, r)
	switch kind := f.rev.Cadence.Kind; {
	case superseded && f.cur.fixed, kind == Interval && !f.cur.fixed, kind == OnRamp:
		f.plan()
	}
}

// supersede lets work that was done after all take the place of the skip that
// closed the item, as long as no newer item has come up. It says whether it did.
func (f *fold) supersede(last int, r Record) bool {
	c := &f.closes[last]
	if c.State != SkippedState || f.dropped || f.cur.ok && f.cur.waiting {
		return false
	}
	for i := range f.counted {
		if f.counted[i].RecordID == c.RecordID {
			f.counted[i].Extra, f.counted[i].closing = true, last
		}
	}
	f.counted[len(f.counted)-1].Extra = false
	c.RecordID, c.DoneOn, c.State, c.changed = r.ID, r.DoneOn, DoneState, true
	return true
}
