package care

// step is one change in the course of a routine that joined work follows:
// either what is current and next from then on, or that an item was closed.
type step struct {
	day       Day
	cur, next slot
	closed    *parentClose
}

// parentClose is what joined work needs to know of a closed item.
type parentClose struct {
	closer
	item         slot
	nextEarliest Day // MaxDay when it is not known
}

// snapshot tells joined work what is current and next.
func (f *fold) snapshot() {
	if f.traced {
		f.steps = append(f.steps, step{day: f.day, cur: f.cur, next: f.next})
	}
}

// inSameVisit says that the work follows its parent within one visit.
func (f *fold) inSameVisit() bool {
	c := &f.rev.Cadence
	return c.Kind == Joined && c.Gap.Unit == Minutes
}

// follow lets one step of the parent's course happen.
func (f *fold) follow(st step) {
	if f.rev.Cadence.Kind != Joined {
		return
	}
	if st.closed != nil {
		if f.inSameVisit() {
			f.parentClosed(st.closed)
		} else {
			f.gapOpens(st.closed)
		}
		return
	}
	f.seen = st
	switch {
	case !f.inSameVisit():
	case f.cur.openOn(f.day) || f.cur.fixed || f.cur.kept:
		f.refresh(&st.cur)
		f.lookAhead()
		f.snapshot()
	default:
		was := f.cur
		f.plan()
		f.cur.keepProgress(&was)
	}
}

// refresh lets the open item follow its parent's, when that has changed its
// dates and is still open.
func (f *fold) refresh(p *slot) {
	if !p.openOn(f.day) || p.id != f.cur.id || f.cur.fixed || f.cur.kept {
		return
	}
	if s := f.childOf(p); s.ok {
		s.keepProgress(&f.cur)
		s.late = f.cur.late
		f.cur = s
	}
}

// keepProgress carries over what was done of the same item.
func (s *slot) keepProgress(was *slot) {
	if s.ok && was.ok && s.id == was.id {
		s.percent, s.lastShare, s.noAccess, s.lastNo = was.percent, was.lastShare, was.noAccess, was.lastNo
	}
}

// joinedItem gives the item of the parent's current or next one, whichever is
// not done yet.
func (f *fold) joinedItem() slot {
	if !f.inSameVisit() {
		return slot{}
	}
	for _, p := range [...]*slot{&f.seen.cur, &f.seen.next} {
		if s := f.childOf(p); s.ok {
			return s
		}
	}
	return slot{}
}

// joinedNext gives the item that takes the current one's place.
func (f *fold) joinedNext() slot {
	switch next := &f.seen.next; {
	case !f.inSameVisit() || next.ok && f.cur.id == next.id:
		return slot{}
	case f.seen.cur.ok && f.cur.id == f.seen.cur.id:
		return f.childOf(next)
	}
	return f.joinedItem()
}

// childOf gives the joined item of the parent's item, with its window; none
// when it is closed, or when the joined routine has no item on that day.
func (f *fold) childOf(p *slot) slot {
	r := &f.h.Routine
	closed := f.isGone && f.gone == p.id || f.used[p.id.NominalDue] > p.id.Ordinal
	if !p.ok || closed || p.id.NominalDue < r.FirstDay || p.id.NominalDue > r.LastDay || !f.activity.active(p.id.NominalDue) {
		return slot{}
	}
	s := slot{ok: true, id: p.id, earliest: p.earliest, due: p.due, latest: p.latest, cutLatest: p.cutLatest, blocked: p.blocked, late: f.rev.DaysLate}
	s.note(Fact{Kind: FactParentItem, Routine: f.rev.Cadence.Parent, Day: p.id.NominalDue})
	s.noteOrdinal()
	s.note(Fact{Kind: FactParentWindow, Day: p.earliest, To: p.latest})
	s.note(Fact{Kind: FactParentDue, Day: p.due})
	if p.blocked {
		s.note(Fact{Kind: FactParentBlocked, Day: p.due})
	}
	f.bound(&s)
	return s
}

// parentClosed lets the parent close an item: joined work that is not done yet
// is due that day, or skipped with it.
func (f *fold) parentClosed(c *parentClose) {
	if f.day < f.h.Routine.FirstDay {
		return
	}
	if f.cur.id != c.item.id || !f.cur.ok {
		s := f.childOf(&c.item)
		if !s.ok {
			return
		}
		f.replaceCurrent(s)
	}
	if f.skipWith(c) {
		return
	}
	s := &f.cur
	s.blocked, s.kept = false, true
	s.due = max(f.day, s.earliest)
	s.latest = s.due + Day(s.late)
	s.note(Fact{Kind: FactParentClosed, Routine: f.rev.Cadence.Parent, Day: f.day, Late: s.late})
	if c.nextEarliest <= s.latest {
		s.latest = max(s.due, c.nextEarliest-1)
		s.note(Fact{Kind: FactCutByParent, Routine: f.rev.Cadence.Parent, Day: c.nextEarliest})
	}
	s.cutLatest = s.latest
	f.lookAhead()
	f.snapshot()
}

// gapOpens lets the parent's closing open work that is due days after it.
func (f *fold) gapOpens(c *parentClose) {
	gap := f.rev.Cadence.Gap
	s := slot{waiting: true}
	s.note(Fact{Kind: FactGap, Routine: f.rev.Cadence.Parent, Day: f.day, Early: gap.Least, Late: gap.Greatest})
	if f.day < f.h.Routine.FirstDay {
		return
	}
	nominal := f.day + Day(gap.Least)
	active, ok := f.activity.from(nominal)
	if !ok || nominal > f.h.Routine.LastDay {
		return
	}
	if f.cur.ok && f.cur.id.NominalDue == nominal {
		f.skipWith(c)
		return
	}
	s.ok, s.id = true, Identity{nominal, f.ordinal(nominal)}
	s.noteOrdinal()
	s.earliest, s.due = nominal, nominal
	s.latest = max(nominal, f.day+Day(gap.Greatest))
	s.note(Fact{Kind: FactGapWindow, Day: s.latest})
	s.notBefore(active, FactNotBeforeActive)
	s.keepTogether()
	if s.due != f.day || c.skipped {
		f.place(&s)
	}
	f.replaceCurrent(s)
	f.snapshot()
	f.skipWith(c)
}

// skipWith skips the current item when the parent was skipped with its joined
// work; it says whether it did.
func (f *fold) skipWith(c *parentClose) bool {
	if c.withJoined {
		f.closeCurrent(closer{id: c.id, day: f.day, skipped: true, withJoined: true})
	}
	return c.withJoined
}
