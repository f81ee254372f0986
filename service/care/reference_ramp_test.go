package care_test

import (
	"math"

	"tankward/service/care"
)

// levelGrain is the distance in points up to which two levels are the same:
// lights are set to a tenth of a point.
const levelGrain = 0.05

// sumGrain forgives what sums of fractions lose.
const sumGrain = 1e-9

// refLevels gives the levels of a plan. The rises are as many as the step
// length and the greatest rise ask for; on a geometric curve the last rise is
// the greatest, so rises are added until it is small enough.
func refLevels(p care.RampPlan) []float64 {
	rises := (p.Days + p.StepDays - 1) / p.StepDays
	if p.Curve != care.Geometric {
		for (p.To-p.From)/float64(rises) > p.GreatestRise+sumGrain {
			rises++
		}
	} else {
		for p.To-p.To*math.Pow(p.From/p.To, 1/float64(rises)) > p.GreatestRise+sumGrain {
			rises++
		}
	}
	levels := make([]float64, 0, rises+1)
	for k := range rises + 1 {
		part := float64(k) / float64(rises)
		level := p.From + (p.To-p.From)*part
		if p.Curve == care.Geometric {
			level = p.From * math.Pow(p.To/p.From, part)
		}
		levels = append(levels, level)
	}
	return levels
}

// isHeld: a hold stops the rises, and so does a pause.
func (w *refWalk) isHeld() bool { return w.held || w.paused(w.today) }

// changeRamp lets holds, resumes, steps back and pauses of a ramp count from
// the beginning of their day.
func (w *refWalk) changeRamp() {
	if w.kind() != care.OnRamp {
		return
	}
	w.askedInVain, w.displaced = false, nil
	wasHeld := w.held || w.paused(w.today-1)
	w.dropHeldRise()
	for _, e := range w.routine.RampEvents {
		if e.Day != w.today {
			continue
		}
		switch e.Kind {
		case care.Hold:
			w.held = true
		case care.Resume:
			wasHeld = wasHeld || w.held
			w.held = false
		case care.StepBack:
			w.askStepBack()
		}
		w.dropHeldRise()
	}
	if w.isHeld() {
		w.newDue, w.asked = 0, nil // the resume decides when the next step is due
	}
	if wasHeld && !w.isHeld() {
		w.resumed = w.today
	}
	w.plan()
	w.openPending()
}

// dropHeldRise: no rise is due in a hold.
func (w *refWalk) dropHeldRise() {
	if w.isHeld() && w.open != nil && !w.open.stepBack {
		w.discardOpen()
		w.dropped = true
	}
}

// setLevel: a ramp stands at the level last set, whichever record set it. A
// record without a level set the one that was asked for.
func (w *refWalk) setLevel(rec care.Record, asked float64) {
	if w.kind() != care.OnRamp {
		return
	}
	level := rec.Level
	if level == 0 {
		level = asked
	}
	w.standing = &level
}

// setLevelAgain: with nothing due, a record without a level left the light
// where it stood, or at the first level.
func (w *refWalk) setLevelAgain(rec care.Record) {
	if w.kind() != care.OnRamp {
		return
	}
	stood := w.now().Cadence.Ramp.From
	if w.standing != nil {
		stood = *w.standing
	}
	w.setLevel(rec, stood)
}

// askStepBack makes the planned level below the standing one due today, even
// in a hold, and stays until it is set. There is none below the first.
func (w *refWalk) askStepBack() {
	w.askedInVain = false
	if w.open != nil && w.open.stepBack {
		return
	}
	target, ok := w.levelBelow()
	if !ok {
		w.askedInVain = true
		return
	}
	ordinal := w.taken[w.today]
	w.displaced = w.open
	if w.open != nil {
		if w.open.NominalDue == w.today { // a second item falls on this day
			ordinal = w.open.Ordinal + 1
		}
		w.open = nil
		w.carriedLate = care.MaxDay
	}
	w.pending = nil
	rev := w.now()
	item := &refItem{
		Identity: care.Identity{NominalDue: w.today, Ordinal: ordinal}, revision: rev,
		cutEarliest: w.today, cutLatest: w.today + care.Day(rev.DaysLate), level: target, stepBack: true,
	}
	w.move(item)
	w.takeOver(item)
}

// levelBelow is the greatest planned level below the standing one.
func (w *refWalk) levelBelow() (float64, bool) {
	if w.standing == nil {
		return 0, false
	}
	below, ok := 0.0, false
	for _, level := range refLevels(*w.now().Cadence.Ramp) {
		if level < *w.standing-levelGrain {
			below, ok = level, true
		}
	}
	return below, ok
}

// itemBeforeStepBack: a step back and records of its day have no order but the
// one that makes sense. Work of that day that names the rise that was open, or
// that names nothing and raised the level, came before the step back: it
// counts for the rise, and the step back starts from there.
func (w *refWalk) itemBeforeStepBack(item *refItem, rec care.Record) *refItem {
	whole := rec.Result == care.Done || rec.Result == care.Partly && item.percent+rec.Share >= 100
	if !item.stepBack || item.NominalDue != w.today || w.displaced == nil || !whole {
		return item
	}
	rose := rec.Level > *w.standing+levelGrain
	if rec.Names != nil && *rec.Names != w.displaced.Identity || rec.Names == nil && !rose {
		return item
	}
	w.open, w.displaced = w.displaced, nil
	w.askedInVain = true
	return w.open
}

// askStepBackAgain starts a step back of today anew after a record of today
// changed where it starts from.
func (w *refWalk) askStepBackAgain() {
	if w.kind() != care.OnRamp {
		return
	}
	if w.askedInVain {
		w.askStepBack()
		return
	}
	if w.open != nil && w.open.stepBack && w.open.NominalDue == w.today {
		w.open.level, _ = w.levelBelow()
	}
}

// planRise plans the next level: the lowest planned one above the level that
// stands, a whole step after the last was set, skipped or the ramp resumed,
// never earlier. Before the first level is set it is due on the first day or
// on the resume day. Nothing is planned in a hold.
func (w *refWalk) planRise() {
	rev, routine := w.now(), w.routine.Routine
	level, ok := w.nextLevel()
	if !ok || w.isHeld() {
		return
	}
	step := care.Day(rev.Cadence.Ramp.StepDays)
	nominal := routine.FirstDay
	switch {
	case w.lastDone != nil && *w.lastDone >= w.resumed:
		nominal = max(nominal, *w.lastDone+step)
	case w.resumed > care.MinDay && w.standing == nil:
		nominal = max(nominal, w.resumed)
	case w.resumed > care.MinDay:
		nominal = max(nominal, w.resumed+step)
	}
	if w.revision > 0 {
		nominal = max(nominal, rev.From)
	}
	if nominal > routine.LastDay {
		return
	}
	item := &refItem{
		Identity: care.Identity{NominalDue: nominal, Ordinal: w.taken[nominal]}, revision: rev,
		cutEarliest: nominal, cutLatest: nominal + care.Day(rev.DaysLate), level: level,
	}
	w.move(item)
	w.pending = []*refItem{item}
}

func (w *refWalk) nextLevel() (float64, bool) {
	for _, level := range refLevels(*w.now().Cadence.Ramp) {
		if w.standing == nil || level > *w.standing+levelGrain {
			return level, true
		}
	}
	return 0, false
}
