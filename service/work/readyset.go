package work

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/care/readyset"
	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
)

// Kit is what a ready set is fitted to: a tank, its equipment in use, and the
// routines in use that it has already.
type Kit struct {
	Tank      fleet.Tank
	Equipment []string // kinds, with repeats
	Routines  []KitRoutine
}

// KitRoutine is a routine that a tank has already.
type KitRoutine struct {
	ID       uuid.UUID
	Name     string
	WorkKind care.WorkKind
}

// ReadyRequest says what is known of a tank beyond its kit.
type ReadyRequest struct {
	FirstDay  *care.Day // nil: the site's today; unused by a preview
	Reservoir *readyset.Reservoir
	Uses      []readyset.Part
	Lacks     []readyset.Part // nil: what the recorded equipment lacks
}

// Validate says what is wrong with the request by itself.
func (r ReadyRequest) Validate() error {
	i, message := r.contradiction()
	if message == "" {
		return nil
	}
	return fault.InvalidField(fmt.Sprintf("/lacks/%d", i), "%s", message)
}

// contradiction gives the place in Lacks of a part that stands in Uses too, and
// what would be right.
func (r ReadyRequest) contradiction() (int, string) {
	for i, p := range r.Lacks {
		if slices.Contains(r.Uses, p) {
			return i, fmt.Sprintf("%s stands in uses too; a tank either uses a thing or lacks it", p)
		}
	}
	return 0, ""
}

// ReadySet is what a ready set would make of a tank.
type ReadySet struct {
	Tank    fleet.Tank
	Drafts  []readyset.Draft
	LeftOut []readyset.LeftOut
}

// AppliedReadySet is what was made of a ready set.
type AppliedReadySet struct {
	Tank     fleet.Tank
	Routines []Routine
	LeftOut  []readyset.LeftOut
}

// set gives the ready set for the kit. What the tank has already stays among the
// drafts, since others may be joined to it.
func (k Kit) set(r ReadyRequest) ReadySet {
	facts := readyset.TankFacts{NetL: k.Tank.Fields.NetL, Reservoir: r.Reservoir, Uses: r.Uses, Lacks: r.Lacks}
	if r.Lacks == nil {
		facts.Lacks = readyset.Lacking(k.Equipment)
	}
	drafts, left := readyset.For(k.Tank.Fields.Kind, facts)
	return ReadySet{Tank: k.Tank, Drafts: drafts, LeftOut: left}
}

// has gives the routine by which a tank has the work of a draft already.
func (k Kit) has(d readyset.Draft) (uuid.UUID, bool) {
	for _, r := range k.Routines {
		if r.Name == d.Name && r.WorkKind == d.Kind {
			return r.ID, true
		}
	}
	return uuid.Nil, false
}

func hasAlready(d readyset.Draft) readyset.LeftOut {
	return readyset.LeftOut{Name: d.Name, Reason: "The tank has a routine of this name and kind of work already."}
}

// PreviewReadySet gives what ApplyReadySet would make now; nothing is stored.
// NotFound when there is no such tank.
func (s *Service) PreviewReadySet(ctx context.Context, sc tx.Scope, tank uuid.UUID, r ReadyRequest) (ReadySet, error) {
	if _, wrong := r.contradiction(); wrong != "" {
		return ReadySet{}, fault.Malformed("A parameter cannot be used.", fault.Field{Pointer: "lacks", Message: wrong})
	}
	kit, err := s.reads.Kit(ctx, sc, tank)
	if err != nil {
		return ReadySet{}, err
	}
	set := kit.set(r)
	var missing []readyset.Draft
	for _, d := range set.Drafts {
		if _, ok := kit.has(d); ok {
			set.LeftOut = append(set.LeftOut, hasAlready(d))
			continue
		}
		missing = append(missing, d)
	}
	set.Drafts = missing
	return set, nil
}

// ApplyReadySet makes the usual routines of a tank, all or none. What the tank
// has already is left out, so that applying twice doubles nothing. NotFound when
// there is no such tank, Conflict when it is archived.
func (s *Service) ApplyReadySet(ctx context.Context, c tx.Call[AppliedReadySet], tank uuid.UUID, r ReadyRequest) (tx.Outcome[AppliedReadySet], error) {
	if err := r.Validate(); err != nil {
		return tx.Outcome[AppliedReadySet]{}, err
	}
	return tx.Do(ctx, s.run, c, func(ctx context.Context, t Tx) (AppliedReadySet, tx.Trail, error) {
		place, err := t.TankPlace(ctx, tank)
		if err != nil {
			return AppliedReadySet{}, tx.Trail{}, err
		}
		if err := lockPlace(ctx, t, place); err != nil {
			return AppliedReadySet{}, tx.Trail{}, err
		}
		kit, err := t.Kit(ctx, tank)
		if err != nil {
			return AppliedReadySet{}, tx.Trail{}, err
		}
		if kit.Tank.ArchivedAt != nil {
			return AppliedReadySet{}, tx.Trail{}, fault.ConflictWith("The tank is archived; no routine can be added.")
		}
		first := fleet.Today(place.Zone, c.Now)
		if r.FirstDay != nil {
			first = *r.FirstDay
		}
		return s.applySet(ctx, t, setting{kit: kit, set: kit.set(r), first: first, now: c.Now})
	})
}

// setting is a ready set that is being applied.
type setting struct {
	kit   Kit
	set   ReadySet
	first care.Day
	now   time.Time
}

// applySet makes the drafts in their order, in which parents come first.
func (s *Service) applySet(ctx context.Context, t Tx, a setting) (AppliedReadySet, tx.Trail, error) {
	out := AppliedReadySet{Tank: a.kit.Tank, LeftOut: a.set.LeftOut}
	var trail tx.Trail
	ids := map[string]uuid.UUID{}
	for _, d := range a.set.Drafts {
		if id, ok := a.kit.has(d); ok {
			ids[d.Key] = id
			out.LeftOut = append(out.LeftOut, hasAlready(d))
			continue
		}
		f := RoutineOf(d, a.kit.Tank.ID, ids[d.Cadence.Parent], a.first)
		if err := f.Validate(); err != nil {
			return out, trail, fmt.Errorf("the ready set's %s is no routine: %w", d.Key, err)
		}
		ids[d.Key] = s.newID()
		made, more, err := s.Routines.CreateIn(ctx, t, resource.New[RoutineFields]{ID: ids[d.Key], Fields: f, Now: a.now})
		if err != nil {
			return out, trail, fmt.Errorf("make the ready set's %s: %w", d.Key, err)
		}
		out.Routines = append(out.Routines, made.Row)
		trail.Add(more)
	}
	return out, trail, nil
}

// RoutineOf makes a draft a routine of a tank. The draft's note has no place in
// a routine: the preview shows it.
func RoutineOf(d readyset.Draft, tank, parent uuid.UUID, first care.Day) RoutineFields {
	f := RoutineFields{
		TankID: tank, Name: d.Name, WorkKind: d.Kind, Class: d.Class, PartOfDay: d.PartOfDay, ActiveMinutes: d.ActiveMinutes,
		Skill: d.Skill, FirstDay: first + care.Day(d.StartsAfterDays), CatchUp: care.Merge, PerformedBy: d.Performer, //nolint:gosec // a few weeks
		Cadence:   care.Cadence{Kind: d.Cadence.Kind, Every: d.Cadence.Every, Unit: d.Cadence.Unit, Parent: parent, Gap: d.Cadence.Gap},
		DaysEarly: d.DaysEarly, DaysLate: d.DaysLate,
	}
	if d.EndsAfterDays > 0 {
		last := first + care.Day(d.EndsAfterDays) //nolint:gosec // a few weeks
		f.LastDay = &last
	}
	for _, w := range d.Waits {
		f.Waits = append(f.Waits, Wait{MinMinutes: w.MinMinutes, MaxMinutes: w.MaxMinutes, Presence: Presence(w.Presence)})
	}
	for _, m := range d.Materials {
		f.Materials = append(f.Materials, Material(m))
	}
	return f
}
