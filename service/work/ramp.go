package work

import (
	"context"
	"time"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/tx"
)

// RampView is a light ramp as it stands.
type RampView struct {
	Routine Routine
	Levels  []float64      // from the plan, step 0 first
	Course  care.RampState // where it stands today
	Next    *DueItem       // the next step, due or coming
}

// Ramp shows a ramp's plan and where it stands on the site's today.
func (s *Service) Ramp(ctx context.Context, sc tx.Scope, routine uuid.UUID, now time.Time) (RampView, error) {
	plans, _, err := s.reads.Plans(ctx, sc, []uuid.UUID{routine}, DueFilter{}, true)
	if err != nil {
		return RampView{}, err
	}
	if len(plans) == 0 {
		return RampView{}, fault.NoSuch("routine", routine)
	}
	return rampView(plans[0], now)
}

func rampView(p Plan, now time.Time) (RampView, error) {
	if p.Routine.Fields.Cadence.Kind != care.OnRamp {
		return RampView{}, fault.ConflictWith("The routine %s has no ramp; its cadence is %s.", p.Routine.ID, p.Routine.Fields.Cadence.Kind)
	}
	today := fleet.Today(p.Zone, now)
	return RampView{
		Routine: p.Routine, Levels: care.RampLevels(*p.Routine.Fields.Cadence.Ramp), Course: care.RampOn(p.History, today),
		Next: next(Settlement{Plan: p, Settled: care.Settle(p.History)}, now),
	}, nil
}

// MoveRamp holds, resumes or steps back a ramp from today on.
func (s *Service) MoveRamp(ctx context.Context, c tx.Call[RampView], routine uuid.UUID, kind care.RampEventKind, reason string) (tx.Outcome[RampView], error) {
	var checks fleet.Checks
	checks.Text("/reason", reason, 500, true)
	if err := checks.Err(); err != nil {
		return tx.Outcome[RampView]{}, err
	}
	return tx.Do(ctx, s.run, c, func(ctx context.Context, t Tx) (RampView, tx.Trail, error) {
		if err := lockRoutine(ctx, t, routine); err != nil {
			return RampView{}, tx.Trail{}, err
		}
		p, err := planOf(ctx, t, routine)
		if err != nil {
			return RampView{}, tx.Trail{}, err
		}
		if p.Routine.Fields.Cadence.Kind != care.OnRamp {
			return RampView{}, tx.Trail{}, fault.ConflictWith("The routine %s has no ramp; its cadence is %s.", routine, p.Routine.Fields.Cadence.Kind)
		}
		today := fleet.Today(p.Zone, c.Now)
		if err := mayMove(care.RampOn(p.History, today), kind); err != nil {
			return RampView{}, tx.Trail{}, err
		}
		e := RampEvent{ID: s.newID(), Kind: kind, Day: today, Reason: reason}
		if err := t.InsertRampEvent(ctx, routine, e, c.Now, c.Scope.Actor); err != nil {
			return RampView{}, tx.Trail{}, err
		}
		return afterMove(ctx, t, p, e, c.Now)
	})
}

func planOf(ctx context.Context, t Tx, routine uuid.UUID) (Plan, error) {
	plans, err := t.Histories(ctx, Selection{Routine: routine, Since: care.MinDay})
	if err != nil {
		return Plan{}, err
	}
	for _, p := range plans {
		if p.Routine.ID == routine {
			return p, nil
		}
	}
	return Plan{}, fault.ConflictWith("The routine %s is archived.", routine)
}

func mayMove(course care.RampState, kind care.RampEventKind) error {
	switch {
	case kind == care.Hold && course.Held:
		return fault.ConflictWith("The ramp is held already.")
	case kind == care.Resume && !course.Held:
		return fault.ConflictWith("The ramp is not held.")
	case kind == care.StepBack && course.Step <= 0:
		return fault.ConflictWith("The ramp stands at its first level; to go lower, make a new ramp.")
	case kind == care.StepBack && course.SteppingBack:
		return fault.ConflictWith("A step back is due already; record it first.")
	}
	return nil
}

func afterMove(ctx context.Context, t Tx, p Plan, e RampEvent, now time.Time) (RampView, tx.Trail, error) {
	all, err := settle(ctx, t, Selection{Routine: p.Routine.ID, Since: care.MinDay})
	if err != nil {
		return RampView{}, tx.Trail{}, err
	}
	s, _ := settlementOf(all, p.Routine.ID)
	view, err := rampView(s.Plan, now)
	trail := tx.Did(tx.Change{
		Resource: "routine", Action: "ramp_" + string(e.Kind), ID: p.Routine.ID,
		Site: p.Routine.Fields.SiteID, Tank: p.Routine.Fields.TankID,
	})
	trail.Audit[0].Reason = e.Reason
	return view, trail, err
}
