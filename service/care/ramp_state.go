package care

// RampState is where a light ramp stands on a day.
type RampState struct {
	Step         int     // index of the planned level it stands at or above; -1 before step 0
	Level        float64 // percent of full power last set; 0 before step 0
	SetOn        Day     // the day of the last step, set or skipped; zero before step 0
	Held         bool    // by a hold, not by a pause
	SteppingBack bool    // a lower level is due
}

// RampOn gives where a ramp stands at the end of a day.
func RampOn(h History, day Day) RampState {
	f := newFold(&h, false)
	f.run(day)
	state := RampState{Step: -1, Held: f.ramp.held, SteppingBack: f.ramp.back.pending}
	if f.rev.Cadence.Kind != OnRamp || !f.ramp.started {
		return state
	}
	state.Level, state.SetOn = f.ramp.standing, f.lastDone
	for i, l := range RampLevels(*f.rev.Cadence.Ramp) {
		if l <= state.Level+sameLevel {
			state.Step = i
		}
	}
	return state
}
