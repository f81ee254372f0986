package care

import (
	"cmp"
	"slices"
)

// RampState is where a light ramp stands on a day.
type RampState struct {
	Step         int     // index of the planned level it stands at or above; -1 before step 0
	Level        float64 // percent of full power last set; 0 before step 0
	SetOn        Day     // day of the last step done; zero before step 0
	Held         bool
	SteppingBack bool // a lower level is due
}

// RampOn gives where a ramp stands at the end of a day.
func RampOn(h History, day Day) RampState {
	s := RampState{Step: -1}
	records := slices.Clone(h.Records)
	slices.SortFunc(records, func(a, b Record) int {
		return cmp.Or(cmp.Compare(a.DoneOn, b.DoneOn), slices.Compare(a.ID[:], b.ID[:]))
	})
	for _, r := range records {
		if r.DoneOn <= day && r.Result == Done && r.Level > 0 {
			s.Level, s.SetOn = r.Level, r.DoneOn
		}
	}
	for _, e := range h.RampEvents {
		if e.Day <= day && e.Kind != StepBack {
			s.Held = e.Kind == Hold
		}
	}
	plan := h.Revisions[len(h.Revisions)-1].Cadence.Ramp
	for i, level := range RampLevels(*plan) {
		if s.SetOn != 0 && level <= s.Level+levelSlack {
			s.Step = i
		}
	}
	for _, it := range OpenOn(h, day) {
		s.SteppingBack = s.SteppingBack || s.SetOn != 0 && it.Level < s.Level-levelSlack
	}
	return s
}

// levelSlack is far below what a fixture can be set to, in percentage points.
const levelSlack = 1e-6
