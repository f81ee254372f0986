package care

import (
	"cmp"
	"slices"
)

// rampCourse is where a light ramp stands.
type rampCourse struct {
	events    []rampEvent // with pauses, by day
	started   bool        // step 0 was set
	standing  float64     // the level last set
	held      bool
	paused    bool
	resumedOn Day // MinDay: never held
	// A step back that was asked for and is not yet set.
	back struct {
		pending   bool
		asked     Day
		displaced slot // the rise that was open when it was asked for
	}
	vain Day // a step back was asked for on this day, but nothing lay below
}

// rampEvent is an event of the ramp, or the begin or end of a pause, which
// holds it too.
type rampEvent struct {
	RampEvent
	pause bool
}

// courseOf prepares the events of a routine that is a ramp.
func courseOf(h *History, pauses []Span) rampCourse {
	c := rampCourse{resumedOn: MinDay, vain: MaxDay}
	if !slices.ContainsFunc(h.Revisions, func(r Revision) bool { return r.Cadence.Kind == OnRamp }) {
		return c
	}
	for _, p := range pauses {
		c.events = append(c.events, rampEvent{RampEvent{p.From, Hold}, true})
		if p.To < MaxDay {
			c.events = append(c.events, rampEvent{RampEvent{p.To, Resume}, true})
		}
	}
	for _, e := range h.RampEvents {
		c.events = append(c.events, rampEvent{e, false})
	}
	slices.SortStableFunc(c.events, func(a, b rampEvent) int { return cmp.Compare(a.Day, b.Day) })
	return c
}

// set keeps the level that a record set; without one it is the level that was
// asked for.
func (c *rampCourse) set(asked float64, r Record) {
	c.started = true
	c.standing = asked
	if r.Level > 0 {
		c.standing = r.Level
	}
}

// setAgain keeps the level that a record set while nothing was due; without
// one the light stands where it stood.
func (c *rampCourse) setAgain(p *RampPlan, r Record) {
	if c.started {
		c.set(c.standing, r)
	} else {
		c.set(p.From, r)
	}
}

func (f *fold) nextRampDay() Day {
	if f.nextRampEvent < len(f.ramp.events) {
		return f.ramp.events[f.nextRampEvent].Day
	}
	return MaxDay
}

// rampEvents lets the ramp's events of the day happen. They come before the
// records of their day.
func (f *fold) rampEvents() {
	for ; f.nextRampDay() <= f.day; f.nextRampEvent++ {
		e := f.ramp.events[f.nextRampEvent]
		switch e.Kind {
		case Hold:
			f.hold(&e, true)
		case Resume:
			f.hold(&e, false)
		case StepBack:
			f.askStepBack()
		}
	}
}

// hold begins or ends a hold. Nothing rises in a hold; after it the next step
// counts from its end.
func (f *fold) hold(e *rampEvent, on bool) {
	was := f.ramp.held || f.ramp.paused
	if e.pause {
		f.ramp.paused = on
	} else {
		f.ramp.held = on
	}
	is := f.ramp.held || f.ramp.paused
	if was == is || f.rev.Cadence.Kind != OnRamp {
		return
	}
	if !is {
		f.ramp.resumedOn = e.Day
	}
	if f.ramp.back.pending {
		return
	}
	if f.cur.openOn(f.day) {
		f.dropCurrent()
	}
	f.plan()
}

// askStepBack makes the level below the standing one due today.
func (f *fold) askStepBack() {
	c := &f.ramp
	if c.back.pending || f.rev.Cadence.Kind != OnRamp {
		return
	}
	c.vain = MaxDay
	if _, ok := f.rev.Cadence.Ramp.below(c.standing); !ok || !c.started {
		c.vain = f.day
		return
	}
	c.back.displaced = slot{}
	if f.cur.openOn(f.day) {
		c.back.displaced = f.cur
		f.loseShare(f.cur)
	}
	c.back.pending, c.back.asked = true, f.day
	f.plan()
}

// rampItem gives the ramp's next item.
func (f *fold) rampItem() slot {
	c := &f.ramp
	switch {
	case c.back.pending:
		return f.stepBackItem()
	case c.held || c.paused:
		return slot{}
	case !c.started:
		return f.firstStep()
	}
	level, ok := f.rev.Cadence.Ramp.above(c.standing)
	if !ok {
		return slot{}
	}
	s := slot{level: level}
	nominal := f.firstDay(&s)
	s.note(Fact{Kind: FactLevelSet, Day: f.lastDone, Percent: c.standing})
	base := f.lastDone
	if c.resumedOn > base {
		base = c.resumedOn
		s.note(Fact{Kind: FactRampResumed, Day: base})
	}
	return f.stepItem(s, nominal, base, f.rev.Cadence.Ramp.StepDays)
}

// rampLevel gives the level of the next step.
func (f *fold) rampLevel() float64 {
	if !f.ramp.started {
		return f.rev.Cadence.Ramp.From
	}
	level, _ := f.rev.Cadence.Ramp.above(f.ramp.standing)
	return level
}

// firstStep gives step 0: due on the first day, on resume, or a step length
// after it was skipped.
func (f *fold) firstStep() slot {
	s := slot{level: f.rev.Cadence.Ramp.From}
	nominal, base, every := f.firstDay(&s), MinDay, 0
	if f.lastDone != MinDay {
		base, every = f.lastDone, f.rev.Cadence.Ramp.StepDays
		s.note(Fact{Kind: FactLastDone, Day: base})
	}
	if f.ramp.resumedOn > base {
		base, every = f.ramp.resumedOn, 0
		s.note(Fact{Kind: FactRampResumed, Day: base})
	}
	return f.stepItem(s, nominal, base, every)
}

// stepItem gives a step that is due so many days after a base day. It is never
// due earlier, and a pause to come holds it like one that has begun.
func (f *fold) stepItem(s slot, nominal, base Day, every int) slot {
	if base != MinDay {
		nominal = max(nominal, base+Day(every))
	}
	step := every
	for _, p := range f.activity.pauses {
		if p.From <= f.day || nominal < p.From {
			continue
		}
		if p.To == MaxDay {
			return slot{}
		}
		if !f.ramp.started {
			step = 0
		}
		nominal = p.To + Day(step)
		s.note(Fact{Kind: FactRampResumed, Day: p.To})
	}
	s.note(Fact{Kind: FactStep, Every: step, Percent: s.level})
	if f.rev != &f.h.Revisions[0] && nominal < f.rev.From {
		nominal = f.rev.From
		s.note(Fact{Kind: FactRevised, Day: nominal})
	}
	if nominal > f.h.Routine.LastDay {
		return slot{}
	}
	s.ok, s.id = true, Identity{nominal, f.ordinal(nominal)}
	s.noteOrdinal()
	s.window(0, f.rev.DaysLate)
	s.cutLatest = s.latest
	f.place(&s)
	return s
}

// stepBackItem gives the step back that is due since it was asked for. No
// closure moves it and no hold stops it.
func (f *fold) stepBackItem() slot {
	c := &f.ramp
	s := slot{ok: true, stepBack: true, fixed: true}
	s.id = Identity{c.back.asked, f.ordinal(c.back.asked)}
	if d := c.back.displaced; d.ok && d.id.NominalDue == s.id.NominalDue {
		s.id.Ordinal = max(s.id.Ordinal, d.id.Ordinal+1)
	}
	s.level, _ = f.rev.Cadence.Ramp.below(c.standing)
	s.note(Fact{Kind: FactStepBack, Day: c.back.asked, Percent: s.level})
	s.noteOrdinal()
	s.window(0, f.rev.DaysLate)
	s.cutLatest = s.latest
	return s
}

// rampRecord lets a record count while a step back is due; it says whether it
// did.
func (f *fold) rampRecord(r Record) bool {
	c := &f.ramp
	if !c.back.pending {
		return false
	}
	id := f.cur.id
	level := f.cur.level
	if r.Level > 0 {
		level = r.Level
	}
	sets := r.Result == Done || r.Result == Partly && f.cur.percent+r.Share >= 100
	switch {
	case r.Result == Skipped, r.Result == NoAccess && r.Names != nil && *r.Names != id:
		f.count(r, nil, -1)
	case sets && f.setsDisplaced(r, level):
		c.back.pending = false
		f.cur = c.back.displaced
		f.countForCurrent(r)
		f.askStepBack()
	case sets && level > f.cur.level+sameLevel:
		f.count(r, &id, -1)
		c.standing = level
		f.lastDone = max(f.lastDone, r.DoneOn)
		if c.back.asked == f.day {
			was := f.cur
			f.plan()
			f.cur.keepProgress(&was)
		}
	default:
		if sets {
			c.back.pending = false
		}
		f.countForCurrent(r)
	}
	return true
}

// setsDisplaced says that the record set the rise that was open on the day on
// which the step back was asked for: it came first.
func (f *fold) setsDisplaced(r Record, level float64) bool {
	b := &f.ramp.back
	if b.asked != f.day || !b.displaced.ok {
		return false
	}
	if r.Names != nil {
		return *r.Names == b.displaced.id
	}
	return level > f.ramp.standing+sameLevel
}
