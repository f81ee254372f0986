package care

// everyDay says whether the cadence makes work due each day.
func (c *Cadence) everyDay() bool {
	switch c.Kind {
	case Interval:
		return c.Every == 1 && c.Unit == Days
	case Calendar:
		return c.Rule.everyDay()
	default:
		return false
	}
}

// after gives the day one step of an interval after a day.
func (c *Cadence) after(d Day) Day {
	switch c.Unit {
	case Weeks:
		return d + Day(7*c.Every)
	case Months:
		return addMonths(d, c.Every)
	default:
		return d + Day(c.Every)
	}
}

// intervalItem gives the item so many days after the work was last done.
func (f *fold) intervalItem() slot {
	s := slot{}
	nominal := f.firstDay(&s)
	if f.lastDone != MinDay {
		c := &f.rev.Cadence
		s.note(Fact{Kind: FactLastDone, Day: f.lastDone})
		s.note(Fact{Kind: FactInterval, Every: c.Every, Unit: c.Unit})
		nominal = max(nominal, c.after(f.lastDone))
	}
	return f.single(s, nominal)
}

// onceItem gives the only item of a routine with one date.
func (f *fold) onceItem() slot {
	s := slot{}
	on := f.rev.Cadence.On
	if on <= f.closedTo {
		return s
	}
	s.note(Fact{Kind: FactOnce, Day: on})
	return f.single(s, on)
}

func (f *fold) firstDay(s *slot) Day {
	first := f.h.Routine.FirstDay
	s.note(Fact{Kind: FactFirstDay, Day: first})
	return first
}

// single gives an item that has no others of its cadence beside it: not before
// a change or a resume day, on an active day.
func (f *fold) single(s slot, nominal Day) slot {
	if f.rev != &f.h.Revisions[0] && nominal < f.rev.From {
		nominal = f.rev.From
		s.note(Fact{Kind: FactRevised, Day: nominal})
	}
	if f.resumed.To > f.resumed.From && nominal < f.resumed.To {
		nominal = f.resumed.To
		s.note(Fact{Kind: FactResumed, Day: f.resumed.From, To: nominal})
	}
	nominal, ok := f.onActive(&s, nominal)
	if !ok {
		return slot{}
	}
	s.ok, s.id = true, Identity{nominal, f.ordinal(nominal)}
	s.noteOrdinal()
	s.window(f.rev.DaysEarly, f.rev.DaysLate)
	if f.lastDone != MinDay {
		s.notBefore(f.lastDone+1, FactNotBeforeDone)
	}
	f.bound(&s)
	s.cutLatest = s.latest
	f.place(&s)
	return s
}

// onActive moves a nominal day to the first active one; false when there is
// none up to the last day.
func (f *fold) onActive(s *slot, nominal Day) (Day, bool) {
	day, ok := f.activity.from(nominal)
	if !ok || day > f.h.Routine.LastDay {
		return 0, false
	}
	if day != nominal {
		s.note(Fact{Kind: FactInactive, Day: nominal, To: day})
	}
	return day, true
}

func (s *slot) noteOrdinal() {
	if s.id.Ordinal > 0 {
		s.note(Fact{Kind: FactOrdinal, Count: s.id.Ordinal})
	}
}

// bound lets the window begin not before the first day, a change, the first
// active day and the resume day.
func (f *fold) bound(s *slot) {
	s.notBefore(f.h.Routine.FirstDay, FactNotBeforeFirst)
	if f.lower > f.h.Routine.FirstDay {
		s.notBefore(f.lower, FactNotBeforeRevised)
	}
	s.notBefore(f.activity.stretch(s.earliest, s.id.NominalDue), FactNotBeforeActive)
	if f.resumed.To > f.resumed.From {
		s.notBefore(min(f.resumed.To, s.id.NominalDue), FactNotBeforeResume)
	}
	if pause, paused := spanAt(f.activity.pauses, s.earliest); paused {
		s.notBefore(pause.To, FactNotBeforeResume)
	}
	s.keepTogether()
}

// place moves the item to an open day, if closures touch it at all.
func (f *fold) place(s *slot) {
	if f.rev.Performer == Shop || f.rev.Performer == Device {
		return
	}
	m := f.mover()
	if !f.mayMove() {
		if shut, entered := m.closed(s.due, MaxDay); shut {
			s.note(Fact{Kind: FactForKeeper, Day: s.due, Entered: entered})
		}
		return
	}
	m.move(s)
}

// mayMove says whether the work can wait for an open day: life support cannot,
// nor can daily feeding.
func (f *fold) mayMove() bool {
	r := &f.h.Routine
	return r.Class != LifeSupport && (r.Kind != Feeding || !f.rev.Cadence.everyDay())
}

// nextNominal gives the first occurrence after a day: the revision in force
// gives it, and it lies neither in a pause nor in an inactive month.
func (f *fold) nextNominal(after Day) (Day, bool) {
	after = max(after, f.lower-1)
	for {
		day, ok := f.dates.Next(after)
		if !ok {
			return 0, false
		}
		active, ok := f.activity.from(day)
		if !ok {
			return 0, false
		}
		if active == day {
			return day, true
		}
		after = active - 1
	}
}

// prevNominal gives the last occurrence before a day.
func (f *fold) prevNominal(before Day) (Day, bool) {
	for {
		day, ok := f.dates.Prev(before)
		if !ok || day < f.lower {
			return 0, false
		}
		if f.activity.active(day) {
			return day, true
		}
		before = day
	}
}

// occurrenceAfter gives the first occurrence after a day that no closure moves
// onto the next one.
func (f *fold) occurrenceAfter(after Day) slot {
	for {
		nominal, ok := f.nextNominal(after)
		if !ok {
			return slot{}
		}
		if s := f.occurrence(nominal); !f.mergedByClosure(&s) {
			return s
		}
		after = nominal
	}
}

// occurrence gives the item of a calendar's day, its window cut and moved.
func (f *fold) occurrence(nominal Day) slot {
	s := f.cutOccurrence(nominal)
	f.place(&s)
	return s
}

// cutOccurrence gives the item of a calendar's day before closures move it.
func (f *fold) cutOccurrence(nominal Day) slot {
	s := slot{ok: true, id: Identity{nominal, f.ordinal(nominal)}}
	s.note(Fact{Kind: FactRule, Text: f.rev.Cadence.Rule.String(), Day: f.h.Routine.FirstDay, To: nominal})
	s.noteOrdinal()
	s.window(f.rev.DaysEarly, f.rev.DaysLate)
	if next, ok := f.nextNominal(nominal); ok && s.latest >= next {
		s.latest = next - 1
		s.note(Fact{Kind: FactCutByNext, Day: next})
	}
	if last, ok := f.previousLatest(nominal); ok && s.earliest <= last {
		s.earliest = last + 1
		s.note(Fact{Kind: FactCutByPrevious, Day: last})
	}
	f.bound(&s)
	s.cutLatest = s.latest
	return s
}

// previousLatest gives the end of the window before, cut to the day before the
// nominal day. An item that is newer than the occurrence before, because the
// rule has changed or a person named its day, counts in its place.
func (f *fold) previousLatest(nominal Day) (Day, bool) {
	latest := MinDay
	prev, ok := f.prevNominal(nominal)
	if ok {
		latest = prev + Day(f.rev.DaysLate)
	}
	last := f.last.or(older{ok: f.cur.ok, nominal: f.cur.id.NominalDue, latest: f.cur.cutLatest})
	switch {
	case !last.ok || last.nominal >= nominal:
	case !ok || last.nominal >= prev:
		latest, ok = last.latest, true
	default:
		latest = max(latest, last.latest)
	}
	return min(latest, nominal-1), ok
}

// mergedByClosure says that a closure moved the occurrence to or past the next
// one's window: the two are one item of the newer.
func (f *fold) mergedByClosure(s *slot) bool {
	if s.blocked || s.due <= s.cutLatest {
		return false
	}
	next, ok := f.nextNominal(s.id.NominalDue)
	if !ok {
		return false
	}
	following := f.cutOccurrence(next)
	return s.due >= following.earliest
}

// namedItem gives the item of a day that a person named when the work was
// skipped.
func (f *fold) namedItem(day Day) slot {
	s := slot{fixed: true, late: f.rev.DaysLate}
	s.note(Fact{Kind: FactNewDue, Day: day})
	nominal, ok := f.activity.from(day)
	if !ok {
		return slot{}
	}
	if nominal != day {
		s.note(Fact{Kind: FactInactive, Day: day, To: nominal})
	}
	s.ok, s.id = true, Identity{nominal, f.ordinal(nominal)}
	s.noteOrdinal()
	s.window(0, f.rev.DaysLate)
	if f.rev.Cadence.Kind == Calendar {
		if next, ok := f.nextNominal(max(nominal, f.after)); ok && s.latest >= next {
			s.latest = next - 1
			s.note(Fact{Kind: FactCutByNext, Day: next})
		}
	}
	if f.rev.Cadence.Kind == OnRamp {
		s.level = f.rampLevel()
		s.note(Fact{Kind: FactStep, Percent: s.level})
	}
	s.cutLatest = s.latest
	f.place(&s)
	return s
}
