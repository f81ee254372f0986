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
	wasHeld := w.held || w.paused(w.today-1)
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
	}
	if w.isHeld() && w.open != nil && !w.open.stepBack {
		w.discardOpen()
	}
	if wasHeld && !w.isHeld() {
		w.resumed = w.today
	}
	w.plan()
	w.openPending()
}

// askStepBack makes the planned level below the standing one due today, even
// in a hold, and stays until it is set. There is none below the first.
func (w *refWalk) askStepBack() {
	if w.standing == nil || w.open != nil && w.open.stepBack {
		return
	}
	target := math.Inf(-1)
	for _, level := range refLevels(*w.now().Cadence.Ramp) {
		if level < *w.standing-levelGrain {
			target = max(target, level)
		}
	}
	if math.IsInf(target, -1) {
		return
	}
	ordinal := w.taken[w.today]
	if w.open != nil {
		w.open = nil
		w.carriedLate = care.MaxDay
	}
	rev := w.now()
	item := &refItem{
		Identity: care.Identity{NominalDue: w.today, Ordinal: ordinal}, revision: rev,
		cutEarliest: w.today, cutLatest: w.today + care.Day(rev.DaysLate), level: target, stepBack: true,
	}
	w.move(item)
	w.takeOver(item)
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
	if w.lastDone != nil {
		nominal = max(nominal, *w.lastDone+step)
	}
	if w.resumed != care.MinDay {
		if w.standing == nil {
			nominal = max(nominal, w.resumed)
		} else {
			nominal = max(nominal, w.resumed+step)
		}
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
