package care

import "math"

// defaultRise is the greatest rise of a step in percentage points of full
// power when the plan names none: 50 to 100 % over four weeks (common
// practice).
const defaultRise = 12.5

// sameLevel is the difference in percentage points below which two levels are
// the same: levels are shown and set to a tenth of a point.
const sameLevel = 0.05

// Ramp is a light ramp worked out from its plan.
type Ramp struct {
	Levels []float64 // percent of full power, step 0 first
	Days   int       // how long it takes from step 0 to the last step
	// Lengthened says that it takes longer than planned, because a step would
	// otherwise rise by more than the greatest rise.
	Lengthened bool
	// GreatestRise is the greatest rise of a step in percentage points.
	GreatestRise float64
	// DailyRise is the greatest relative rise a day in percent: what the
	// animals see. More than 5 is a caution where the light steps itself.
	DailyRise float64
}

// WorkOut gives the levels of a plan and what is to be said about them.
func (p RampPlan) WorkOut() Ramp {
	levels := RampLevels(p)
	rises := len(levels) - 1
	r := Ramp{Levels: levels, Days: rises * p.StepDays, Lengthened: rises > ceilDiv(p.Days, p.StepDays)}
	for i := 1; i <= rises; i++ {
		low, high := levels[i-1], levels[i]
		r.GreatestRise = max(r.GreatestRise, high-low)
		if low > 0 {
			r.DailyRise = max(r.DailyRise, (math.Pow(high/low, 1/float64(p.StepDays))-1)*100)
		}
	}
	return r
}

// RampLevels gives the levels of a plan in percent of full power: the first is
// set in step 0, the last is where the ramp ends.
func RampLevels(p RampPlan) []float64 {
	rises := p.rises()
	levels := make([]float64, rises+1)
	for i := range levels {
		part := float64(i) / float64(rises)
		if p.Curve == Geometric {
			levels[i] = p.From * math.Pow(p.To/p.From, part)
		} else {
			levels[i] = p.From + (p.To-p.From)*part
		}
	}
	levels[0], levels[rises] = p.From, p.To
	return levels
}

// rises counts the steps after step 0: as many as the days ask for, more when
// a step would rise by more than the greatest rise.
func (p RampPlan) rises() int {
	greatest := p.greatest()
	least := max(1, ceilDiv(p.Days, p.StepDays))
	if p.Curve != Geometric {
		return max(least, int(math.Ceil((p.To-p.From)/greatest-1e-9)))
	}
	for n := least; ; n++ {
		if last := p.To - p.To*math.Pow(p.From/p.To, 1/float64(n)); last <= greatest+1e-9 {
			return n
		}
	}
}

func (p RampPlan) greatest() float64 {
	if p.GreatestRise <= 0 {
		return defaultRise
	}
	return p.GreatestRise
}

func ceilDiv(a, b int) int { return (a + b - 1) / b }

// above gives the lowest planned level above a level; false when the ramp has
// reached its end.
func (p RampPlan) above(level float64) (float64, bool) {
	for _, l := range RampLevels(p) {
		if l > level+sameLevel {
			return l, true
		}
	}
	return 0, false
}

// below gives the highest planned level below a level; false at step 0.
func (p RampPlan) below(level float64) (float64, bool) {
	found := false
	var highest float64
	for _, l := range RampLevels(p) {
		if l < level-sameLevel {
			highest, found = l, true
		}
	}
	return highest, found
}
