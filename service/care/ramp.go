package care

// RampLevels gives the levels of a plan in percent of full power: the first is
// set in step 0, the last is where the ramp ends.
func RampLevels(p RampPlan) []float64 { panic("care: RampLevels is not built yet") }
