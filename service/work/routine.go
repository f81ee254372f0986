// Package work holds the commands that cross capabilities: routines and the due
// work they make, records of work, closures, pauses, and whatever moves a date.
package work

import (
	"fmt"
	"slices"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/fleet"
	"tankward/service/resource"
)

// Presence says where the technician must be during a wait.
type Presence string

// The presences.
const (
	Free     Presence = "free"
	SameRoom Presence = "same_room"
	AtTank   Presence = "at_tank"
)

// Wait is a time between steps of a piece of work.
type Wait struct {
	MinMinutes, MaxMinutes int
	Presence               Presence
}

// Material is what a piece of work uses.
type Material struct {
	Material string // salt_water, fresh_water, filter_sock, food, other
	Label    string
	Quantity float64
	Unit     string // l, percent_of_net, piece, g, ml
}

// RoutineFields is what a routine says.
type RoutineFields struct {
	TankID        uuid.UUID
	EquipmentID   uuid.UUID // Nil: none
	LivestockID   uuid.UUID // Nil: none
	Name          string
	WorkKind      care.WorkKind
	Class         care.Class
	PartOfDay     string
	ActiveMinutes int
	Waits         []Wait
	Materials     []Material
	Skill         string
	FirstDay      care.Day // zero on create: the site's today
	LastDay       *care.Day
	CatchUp       care.CatchUp

	// The revision part: an edit of it counts from the day it is entered.
	PerformedBy  care.Performer
	Cadence      care.Cadence
	RampLight    uuid.UUID // ramp: the light it raises; Nil: none named
	DaysEarly    int
	DaysLate     int
	ActiveMonths care.MonthSet

	// FromDay is the first day of the revision in force, SiteID the tank's
	// site; derived.
	FromDay care.Day
	SiteID  uuid.UUID
}

// Routine is a rule that makes work due at a tank.
type Routine = resource.Row[RoutineFields]

// Rule gives what the fold needs of a routine that never changes.
func (f RoutineFields) Rule(id uuid.UUID) care.Routine {
	last := care.MaxDay
	if f.LastDay != nil {
		last = *f.LastDay
	}
	return care.Routine{ID: id, Kind: f.WorkKind, Class: f.Class, CatchUp: f.CatchUp, FirstDay: f.FirstDay, LastDay: last}
}

// Revision gives what the routine says from FromDay on.
func (f RoutineFields) Revision() care.Revision {
	return care.Revision{
		From: f.FromDay, Performer: f.PerformedBy, Cadence: f.Cadence,
		DaysEarly: f.DaysEarly, DaysLate: f.DaysLate, Months: f.ActiveMonths,
	}
}

// Validate says what is wrong with the fields by themselves.
func (f RoutineFields) Validate() error {
	var c fleet.Checks
	c.Text("/name", f.Name, 200, true)
	c.Text("/skill", f.Skill, 100, false)
	if f.ActiveMinutes < 0 || f.ActiveMinutes > 24*60 {
		c.Add("/active_minutes", "must be between 0 and 1440")
	}
	if f.LastDay != nil && f.FirstDay != 0 && *f.LastDay < f.FirstDay {
		c.Add("/last_day", "must not be before first_day (%s)", f.FirstDay)
	}
	for i, w := range f.Waits {
		if w.MinMinutes < 0 || w.MaxMinutes < w.MinMinutes {
			c.Add(fmt.Sprintf("/waits/%d/max_minutes", i), "must not be below min_minutes")
		}
	}
	for i, m := range f.Materials {
		m.check(&c, fmt.Sprintf("/materials/%d", i))
	}
	c.Fields = append(c.Fields, care.Validate(f.Rule(uuid.Nil), f.Revision())...)
	return c.Err()
}

// units lists the units each material may be given in.
var units = map[string][]string{
	"salt_water":  {"l", "percent_of_net"},
	"fresh_water": {"l", "percent_of_net"},
	"filter_sock": {"piece"},
	"food":        {"piece", "g", "ml"},
	"other":       {"piece", "g", "ml", "l"},
}

func (m Material) check(c *fleet.Checks, at string) {
	c.Text(at+"/label", m.Label, 100, false)
	allowed := units[m.Material]
	if !slices.Contains(allowed, m.Unit) {
		c.Add(at+"/unit", "must be one of %v for %s", allowed, m.Material)
	}
	if !(m.Quantity > 0 && m.Quantity <= 1e6) || m.Unit == "percent_of_net" && m.Quantity > 100 {
		c.Add(at+"/quantity", "must be above 0, and at most 100 for a percentage")
	}
}

// settled refuses changes to what a routine's history hangs on.
func settled(old, now RoutineFields) error {
	var c fleet.Checks
	const advice = "cannot be changed, since records hang on it; archive this routine and make another"
	if old.TankID != now.TankID {
		c.Add("/tank_id", advice)
	}
	if old.FirstDay != now.FirstDay {
		c.Add("/first_day", advice)
	}
	if old.CatchUp != now.CatchUp {
		c.Add("/catch_up", advice)
	}
	if old.WorkKind != now.WorkKind {
		c.Add("/work_kind", advice)
	}
	c.Fields = append(c.Fields, care.ValidateEdit(old.Revision(), now.Revision())...)
	return c.Err()
}

// sameRevision says whether the revision parts are equal.
func sameRevision(a, b RoutineFields) bool {
	x, y := a.Revision(), b.Revision()
	x.From, y.From = 0, 0
	return a.RampLight == b.RampLight && len(resource.Diff(x, y)) == 0
}

// PauseFields says when a tank, or one routine of it, rests.
type PauseFields struct {
	TankID    uuid.UUID
	RoutineID uuid.UUID // Nil: the whole tank
	From      care.Day
	To        *care.Day // the resume day; nil while it is open
	Reason    string
}

// Pause is a rest of a tank or a routine.
type Pause = resource.Row[PauseFields]

// Validate says what is wrong with the fields.
func (f PauseFields) Validate() error {
	var c fleet.Checks
	c.Text("/reason", f.Reason, 500, false)
	if f.To != nil && *f.To <= f.From {
		c.Add("/to", "is the day on which work begins again; it must be after from (%s)", f.From)
	}
	return c.Err()
}

// RampEvent is a change of a ramp's course, with its reason.
type RampEvent struct {
	ID     uuid.UUID
	Kind   care.RampEventKind
	Day    care.Day
	Reason string
}
