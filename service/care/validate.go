package care

import (
	"fmt"
	"slices"

	"github.com/google/uuid"

	"tankward/service/fault"
)

// The greatest values a routine may hold: far beyond what the trade uses, they
// catch slips of the finger.
const (
	maxEvery     = 1000
	maxTolerance = 366
	maxGapDays   = 366
	maxGapMinute = 24 * 60
	maxRampDays  = 366
	leastRise    = 0.1 // percentage points: no fixture is set more finely
)

// shortestMonth is the least number of days a month's step can be.
const shortestMonth = 28

// problems collects what is wrong.
type problems []fault.Field

func (p *problems) add(pointer, format string, args ...any) {
	*p = append(*p, fault.Field{Pointer: pointer, Message: fmt.Sprintf(format, args...)})
}

// within complains about a number outside of its bounds.
func (p *problems) within(pointer string, n, least, greatest int) {
	if n < least || n > greatest {
		p.add(pointer, "must be from %d to %d", least, greatest)
	}
}

// Validate gives what is wrong with a routine and one of its revisions; the
// pointers are those of the routine resource.
func Validate(routine Routine, rev Revision) []fault.Field {
	var p problems
	p.routine(&routine)
	p.revision(&rev)
	if len(p) > 0 {
		return p // what follows relies on the parts being possible
	}
	p.cadence(&routine, &rev)
	return p
}

func (p *problems) routine(r *Routine) {
	if r.FirstDay < Date(1900, 1, 1) || r.FirstDay > Date(9000, 1, 1) {
		p.add("/first_day", "must be a day from 1900 on")
	}
	if r.LastDay < r.FirstDay {
		p.add("/last_day", "must not lie before the first day, %v", r.FirstDay)
	}
	if r.Class < LifeSupport || r.Class > Upkeep {
		p.add("/consequence_class", "must be life_support, animal_welfare, water_quality or upkeep")
	}
	switch {
	case r.CatchUp == Merge:
	case r.CatchUp == Each && neverDoubled(r.Kind):
		p.add("/catch_up", "must be merge: %s is never doubled to make up for what was left out", r.Kind)
	case r.CatchUp == Each:
		p.add("/catch_up", "each is not available yet; use merge")
	default:
		p.add("/catch_up", "must be merge")
	}
}

// neverDoubled says that doing the work twice to catch up would do harm.
func neverDoubled(k WorkKind) bool {
	return k == Feeding || k == TargetFeeding || k == Dosing
}

func (p *problems) revision(rev *Revision) {
	if !slices.Contains([]Performer{Technician, Keeper, Shop, Device}, rev.Performer) {
		p.add("/performed_by", "must be technician, keeper, shop or device")
	}
	p.within("/days_early", rev.DaysEarly, 0, maxTolerance)
	p.within("/days_late", rev.DaysLate, 0, maxTolerance)
	if rev.Months&^0x1ffe != 0 {
		p.add("/active_months", "must be months from 1 to 12; leave it empty for all")
	}
}

func (p *problems) cadence(routine *Routine, rev *Revision) {
	switch c := &rev.Cadence; c.Kind {
	case Interval:
		p.interval(c, rev.DaysEarly)
	case Calendar:
		p.calendar(routine, rev)
	case Once:
		if c.On < routine.FirstDay || c.On > routine.LastDay {
			p.add("/cadence/on", "must lie between the first day and the last day")
		}
	case Joined:
		p.joined(c, rev)
	case OnRamp:
		p.ramp(c.Ramp, rev)
	case "reading":
		p.add("/cadence/kind", "reading is not available yet; use interval, calendar, once, joined or ramp")
	default:
		p.add("/cadence/kind", "must be interval, calendar, once, joined or ramp")
	}
}

func (p *problems) interval(c *Cadence, early int) {
	p.within("/cadence/every", c.Every, 1, maxEvery)
	step := c.Every
	switch c.Unit {
	case Days:
	case Weeks:
		step *= 7
	case Months:
		step *= shortestMonth
	default:
		p.add("/cadence/unit", "must be day, week or month")
		return
	}
	if early >= step && c.Every >= 1 {
		p.add("/days_early", "must be less than one step of the interval, which can be as short as %d days", step)
	}
}

func (p *problems) calendar(routine *Routine, rev *Revision) {
	if rev.Cadence.Rule == nil {
		p.add("/cadence/rule", "is needed, %s", ruleExample)
		return
	}
	if _, err := rev.Cadence.Rule.Resolve(routine.FirstDay); err != nil {
		p.add("/cadence/rule", "%v", err)
		return
	}
	h := History{Routine: *routine, Revisions: []Revision{*rev}}
	f := newFold(&h, false)
	f.useRevision(0)
	if _, ok := f.nextNominal(routine.FirstDay - 1); !ok {
		p.add("/cadence/rule", "gives no day in the active months between the first and the last day")
	}
}

func (p *problems) joined(c *Cadence, rev *Revision) {
	if c.Parent == uuid.Nil {
		p.add("/cadence/parent_id", "must name the routine that this work follows")
	}
	greatest := maxGapDays
	switch c.Gap.Unit {
	case Minutes:
		greatest = maxGapMinute
	case Days:
		if rev.DaysLate > 0 {
			p.add("/days_late", "must be 0: the greatest gap says how late the work may be")
		}
	default:
		p.add("/cadence/gap/unit", "must be minute, for work in the same visit, or day")
	}
	p.within("/cadence/gap/least", c.Gap.Least, 0, greatest)
	if c.Gap.Greatest < c.Gap.Least || c.Gap.Greatest > greatest {
		p.add("/cadence/gap/greatest", "must be from the least gap to %d", greatest)
	}
	if rev.DaysEarly > 0 {
		p.add("/days_early", "must be 0: joined work cannot be done before the work it follows opens")
	}
}

func (p *problems) ramp(plan *RampPlan, rev *Revision) {
	if plan == nil {
		p.add("/cadence/ramp", "is needed: from, to, days and step length")
		return
	}
	if !(plan.From >= 0 && plan.From <= 100) {
		p.add("/cadence/ramp/from_percent", "must be from 0 to 100 percent of full power")
	}
	if !(plan.To > plan.From && plan.To <= 100) {
		p.add("/cadence/ramp/to_percent", "must be above the level it begins at, up to 100 percent; a light is lowered at once, without a ramp")
	}
	p.within("/cadence/ramp/days", plan.Days, 1, maxRampDays)
	p.within("/cadence/ramp/step_days", plan.StepDays, 1, maxRampDays)
	if !(plan.GreatestRise == 0 || plan.GreatestRise >= leastRise && plan.GreatestRise <= 100) {
		p.add("/cadence/ramp/greatest_rise_points", "must be from %v to 100 percentage points", leastRise)
	}
	switch plan.Curve {
	case Linear:
	case Geometric:
		if plan.From == 0 {
			p.add("/cadence/ramp/from_percent", "must be above 0 for a geometric ramp; use a linear one to begin in the dark")
		}
	default:
		p.add("/cadence/ramp/curve", "must be linear or geometric")
	}
	if rev.DaysEarly > 0 {
		p.add("/days_early", "must be 0: a light is never raised before its time")
	}
	if rev.Months != 0 {
		p.add("/active_months", "must be empty for a ramp; hold the ramp instead")
	}
}

// ValidateEdit gives what is wrong with replacing a revision by another:
// records and open items would lose their meaning.
func ValidateEdit(before, after Revision) []fault.Field {
	var p problems
	was, is := before.Cadence, after.Cadence
	alone := func(k CadenceKind) bool { return k == Joined || k == OnRamp }
	switch {
	case was.Kind != is.Kind && (alone(was.Kind) || alone(is.Kind)):
		p.add("/cadence/kind", "cannot change from %s to %s; end this routine and make a new one", was.Kind, is.Kind)
	case is.Kind == Joined && was.Parent != is.Parent:
		p.add("/cadence/parent_id", "cannot change; end this routine and make a new one")
	case is.Kind == Joined && was.Gap.Unit != is.Gap.Unit:
		p.add("/cadence/gap/unit", "cannot change; end this routine and make a new one")
	}
	return p
}

// Link is what JoinProblem needs of another routine of the organisation.
type Link struct {
	Tank   uuid.UUID
	Parent uuid.UUID // uuid.Nil when it is not joined
}

// JoinProblem says what is wrong when the routine of a tank follows a parent:
// an unknown parent, another tank, a loop. It gives nil when all is well.
func JoinProblem(routine, tank, parent uuid.UUID, links map[uuid.UUID]Link) *fault.Field {
	pointer := "/cadence/parent_id"
	link, known := links[parent]
	switch {
	case parent == routine:
		return &fault.Field{Pointer: pointer, Message: "must be another routine: this one cannot follow itself"}
	case !known:
		return &fault.Field{Pointer: pointer, Message: "must be a routine in use at the same tank"}
	case link.Tank != tank:
		return &fault.Field{Pointer: pointer, Message: "must be a routine of the same tank"}
	}
	for seen := map[uuid.UUID]bool{}; parent != uuid.Nil && !seen[parent]; parent = links[parent].Parent {
		if parent == routine {
			return &fault.Field{Pointer: pointer, Message: "makes a loop: that routine follows this one, directly or through others"}
		}
		seen[parent] = true
	}
	return nil
}
