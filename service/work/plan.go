package work

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/tx"
)

// lockRoutine takes the locks that guard a routine: organisation, site, tank.
func lockRoutine(ctx context.Context, t Tx, id uuid.UUID) error {
	p, err := t.RoutinePlace(ctx, id)
	if err != nil {
		return err
	}
	return lockPlace(ctx, t, p)
}

func lockPlace(ctx context.Context, t Tx, p Place) error {
	if err := sharePlace(ctx, t, p.SiteID); err != nil {
		return err
	}
	_, err := t.Tanks().Load(ctx, p.TankID)
	return err
}

func prepareRoutine(ctx context.Context, t Tx, old *Routine, f RoutineFields, now time.Time) (RoutineFields, error) {
	var err error
	if old == nil {
		f, err = placeRoutine(ctx, t, f, now)
	} else {
		f, err = reviseRoutine(ctx, t, *old, f, now)
	}
	if err != nil {
		return f, err
	}
	if f.Cadence.Kind == care.Calendar {
		rule, err := f.Cadence.Rule.Resolve(f.FirstDay)
		if err != nil {
			return f, fault.InvalidField("/cadence/rule", "%s", err)
		}
		f.Cadence.Rule = rule
	}
	return f, nil
}

// checkJoin refuses to let a routine follow what it cannot follow; id is Nil for
// a new routine.
func checkJoin(ctx context.Context, t Tx, id uuid.UUID, f RoutineFields) error {
	if f.Cadence.Kind != care.Joined {
		return nil
	}
	links, err := t.Links(ctx, f.TankID)
	if err != nil {
		return err
	}
	if wrong := care.JoinProblem(id, f.TankID, f.Cadence.Parent, links); wrong != nil {
		return fault.InvalidFields(*wrong)
	}
	return nil
}

func placeRoutine(ctx context.Context, t Tx, f RoutineFields, now time.Time) (RoutineFields, error) {
	p, err := t.TankPlace(ctx, f.TankID)
	if fault.Is(err, fault.NotFound) {
		return f, fault.InvalidField("/tank_id", "there is no tank %s in this organisation", f.TankID)
	}
	if err != nil {
		return f, err
	}
	if err := sharePlace(ctx, t, p.SiteID); err != nil {
		return f, err
	}
	if _, err := fleet.TankInUse(ctx, t, f.TankID); err != nil {
		return f, err
	}
	f.SiteID, f.FromDay = p.SiteID, fleet.Today(p.Zone, now)
	if f.FirstDay == 0 {
		f.FirstDay = f.FromDay
	}
	f.FromDay = min(f.FirstDay, f.FromDay)
	if err := f.Validate(); err != nil {
		return f, err
	}
	return f, checkJoin(ctx, t, uuid.Nil, f)
}

func reviseRoutine(ctx context.Context, t Tx, old Routine, f RoutineFields, now time.Time) (RoutineFields, error) {
	if err := checkJoin(ctx, t, old.ID, f); err != nil {
		return f, err
	}
	if err := settled(old.Fields, f); err != nil {
		return f, err
	}
	f.SiteID, f.FromDay = old.Fields.SiteID, old.Fields.FromDay
	if sameRevision(old.Fields, f) {
		return f, nil
	}
	p, err := t.RoutinePlace(ctx, old.ID)
	if err != nil {
		return f, err
	}
	f.FromDay = max(old.Fields.FromDay, fleet.Today(p.Zone, now))
	return f, nil
}

func followRoutine(ctx context.Context, t Tx, old *Routine, saved Routine, _ time.Time) (tx.Trail, error) {
	if saved.ArchivedAt != nil {
		return tx.Trail{}, t.DropDue(ctx, saved.ID, uuid.Nil)
	}
	since := saved.Fields.FromDay
	if old != nil && old.Fields.Rule(old.ID) != saved.Fields.Rule(saved.ID) {
		since = care.MinDay // what is no part of a revision counts for all days
	}
	_, err := settle(ctx, t, Selection{Routine: saved.ID, Since: since})
	return tx.Trail{}, err
}

func mayArchiveRoutine(ctx context.Context, t Tx, r Routine) error {
	links, err := t.Links(ctx, r.Fields.TankID)
	if err != nil {
		return err
	}
	for id, l := range links {
		if l.Parent == r.ID {
			return fault.ConflictWith("The routine %s is joined to this one; archive it first, or join it to another.", id)
		}
	}
	return nil
}

func lockPause(ctx context.Context, t Tx, id uuid.UUID) error {
	p, err := t.PausePlace(ctx, id)
	if err != nil {
		return err
	}
	return lockPlace(ctx, t, p)
}

func preparePause(ctx context.Context, t Tx, old *Pause, f PauseFields, _ time.Time) (PauseFields, error) {
	if old != nil {
		if old.Fields.TankID != f.TankID || old.Fields.RoutineID != f.RoutineID {
			return f, fault.InvalidField("/tank_id", "cannot be changed; archive this pause and enter another")
		}
		return f, nil
	}
	pointer := "/tank_id"
	if f.RoutineID != uuid.Nil {
		pointer = "/routine_id"
		if f.TankID != uuid.Nil {
			return f, fault.InvalidField("/tank_id", "leave it out: the routine says it; or leave routine_id out to let the whole tank rest")
		}
		p, err := t.RoutinePlace(ctx, f.RoutineID)
		if fault.Is(err, fault.NotFound) {
			return f, fault.InvalidField(pointer, "there is no routine %s in this organisation", f.RoutineID)
		}
		if err != nil {
			return f, err
		}
		if p.Archived {
			return f, fault.ConflictField(pointer, "the routine is archived")
		}
		f.TankID = p.TankID
	}
	if _, err := fleet.TankInUse(ctx, t, f.TankID); err != nil {
		return f, err
	}
	if f.RoutineID == uuid.Nil {
		return f, refuseWhileLiving(ctx, t, f.TankID, pointer)
	}
	return f, nil
}

func followPause(ctx context.Context, t Tx, old *Pause, saved Pause, _ time.Time) (tx.Trail, error) {
	since := saved.Fields.From
	if old != nil {
		since = min(since, old.Fields.From)
	}
	sel := Selection{Tank: saved.Fields.TankID, Since: since - reach}
	if saved.Fields.RoutineID != uuid.Nil {
		sel = Selection{Routine: saved.Fields.RoutineID, Since: since - reach}
	}
	_, err := settle(ctx, t, sel)
	return tx.Trail{}, err
}

func at(list string, i int, field string) string { return fmt.Sprintf("%s/%d/%s", list, i, field) }
