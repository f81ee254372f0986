package demo

import (
	"fmt"
	"slices"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/care/readyset"
	"tankward/service/fleet"
	"tankward/service/work"
)

// quarantineDays is how long the tanks in quarantine have been in use.
const quarantineDays = 33

// course is a routine with what has been done of it so far.
type course struct {
	key     string // of the ready set, or our own
	routine Routine
	history care.History // without what was done
	parent  *course      // that it follows, or nil
	records []work.Record
	done    []care.Record // the same for the fold
	closes  []care.Close
	onVisit bool // done by whoever comes by plan
}

// plan gives a tank its routines: the ready set of its kind, fitted to how the
// organisation works, and a few of its own.
func (b *builder) plan(t *tank) error {
	facts := readyset.TankFacts{NetL: t.Fields.NetL, Lacks: append(readyset.Lacking(t.kinds), readyset.BackupPump)}
	if t.Fields.Kind != fleet.SmallPolyp && t.Fields.Kind != fleet.ClubDisplay {
		facts.Lacks = append(facts.Lacks, readyset.PHProbe)
	}
	drafts, _ := readyset.For(t.Fields.Kind, facts)
	ids := map[string]uuid.UUID{}
	for _, d := range drafts {
		fitted, ok := fit(d, t)
		if !ok {
			continue
		}
		if err := b.add(t, d.Key, work.RoutineOf(fitted, t.ID, ids[d.Cadence.Parent], b.firstDay(t, fitted))); err != nil {
			return err
		}
		ids[d.Key] = t.courses[len(t.courses)-1].routine.ID
	}
	return b.special(t)
}

// fit changes a draft to how the organisation works; false leaves it out.
func fit(d readyset.Draft, t *tank) (readyset.Draft, bool) {
	switch {
	case t.site.plan == "shop":
		if d.Cadence.Kind == care.Interval && d.Performer == care.Technician {
			d.DaysLate = max(d.DaysLate, 2)
		}
		d.Performer = care.Shop
	case !t.site.marks && d.Performer == care.Keeper:
		if d.Kind != care.TopOff && d.Kind != care.FilterSockChange && d.Kind != care.GlassCleaning {
			return d, false // the keeper does it and says nothing; an automatic feeder feeds
		}
		d.Performer = care.Technician
		d.Cadence.Every, d.DaysEarly, d.DaysLate = 7, 2, 3
	case d.Key == "filter_sock" && d.Cadence.Kind == care.Interval:
		d.Performer = care.Keeper
	}
	if d.Key == "rcd_test" {
		d.Cadence.Every = 90 // the sheet gives 30 to 90 days
	}
	if d.Key == "guards" || d.Performer != care.Technician && d.Key != "water_change" || t.site.plan != "fortnightly" {
		return d, true
	}
	if d.Cadence.Kind == care.Interval && d.Cadence.Unit == care.Days && d.Cadence.Every == 7 {
		d.Cadence.Every, d.DaysEarly, d.DaysLate = 14, 4, 5
	}
	for i := range d.Materials {
		if d.Materials[i].Unit == "percent_of_net" && d.Materials[i].Quantity == 10 {
			d.Materials = slices.Clone(d.Materials)
			d.Materials[i].Quantity, d.Name = 20, "Water change 20 %"
		}
	}
	return d, true
}

// firstDay gives the day on which a routine begins: the first visit, or the
// day from which on keepers mark what they do.
func (b *builder) firstDay(t *tank, d readyset.Draft) care.Day {
	if t.Fields.Kind == fleet.Quarantine {
		return *t.Fields.StartedOn
	}
	first := b.begin + 7
	if len(t.site.visits) > 0 {
		first = t.site.visits[0].day
	}
	if every := care.Day(d.Cadence.Every); d.Cadence.Kind == care.Interval && d.Cadence.Unit == care.Days && every >= 28 {
		// Not all the rare work on one day: one pump a visit.
		first += care.Day(t.between(0, int(every/t.site.period())-1)) * t.site.period()
	}
	if d.Performer != care.Keeper || b.code == "club" || keptFromTheStart[t.site.key] {
		return first
	}
	return b.today - 80 + care.Day(len(t.site.key)%7)
}

// keptFromTheStart are the sites whose keepers have marked their work all year.
var keptFromTheStart = map[string]bool{"heron": true, "gullfield": true, "museum": true, "quillspa": true, "gardenwest": true, "doverhome": true}

// add gives a tank a routine.
func (b *builder) add(t *tank, key string, f work.RoutineFields) error {
	f.SiteID, f.FromDay = t.site.ID, f.FirstDay
	if err := f.Validate(); err != nil {
		return fmt.Errorf("%s: %w", key, err)
	}
	at := b.at(f.FirstDay-1, t.between(9*60, 12*60))
	c := &course{key: key, routine: Routine{Routine: work.Routine{Meta: t.meta(at), Fields: f}}}
	c.onVisit = f.PerformedBy == care.Technician || f.PerformedBy == care.Keeper && b.code == "club" && !daily(f.Cadence)
	c.history = care.History{Routine: f.Rule(c.routine.ID), Revisions: []care.Revision{f.Revision()}}
	if f.PerformedBy != care.Shop && f.PerformedBy != care.Device {
		c.history.Access = t.site.access
	}
	if f.Cadence.Kind == care.Joined {
		c.parent = t.course(f.Cadence.Parent)
	}
	t.courses = append(t.courses, c)
	return nil
}

func daily(c care.Cadence) bool { return c.Kind == care.Interval && c.Unit == care.Days && c.Every < 3 }

// course finds a routine of the tank.
func (t *tank) course(id uuid.UUID) *course {
	for _, c := range t.courses {
		if c.routine.ID == id {
			return c
		}
	}
	return nil
}

// keyed finds a routine of the tank by its key.
func (t *tank) keyed(key string) *course {
	for _, c := range t.courses {
		if c.key == key {
			return c
		}
	}
	return nil
}

// special gives single tanks what the ready sets don't: ramps, work by the
// calendar, pauses and a changed routine.
func (b *builder) special(t *tank) error {
	switch t.site.key + " " + t.Fields.Name {
	case "heron Lobby reef":
		return b.ramp(t, b.firstVisit(t, 15), nil)
	case "museum Coral gallery":
		return b.ramp(t, b.firstVisit(t, 27), &work.RampEvent{Kind: care.Hold, Day: b.today - 5, Reason: "two colonies pale at the edges"})
	case "brightsmile Children corner":
		c := t.keyed("water_change")
		f := c.routine.Fields
		f.FromDay, f.Cadence.Every, f.DaysEarly, f.DaysLate = b.today-61, 14, 4, 5
		b.revise(c, f)
	case "doverhome Living room reef":
		return b.add(t, "after_change", b.afterChange(t))
	case "gullfield Day room", "orchid Reef window", "tarnlodge Lounge reef", "quillspa Relax room":
		return b.add(t, "report", b.report(t))
	case "pinefamily Hall tank":
		return b.add(t, "second_look", b.secondLook(t))
	case "gardenwest Sale tank 2":
		resume := b.today + 46
		for _, key := range []string{"fish_feeding", "body_check"} {
			b.pause(t, t.keyed(key), b.today-30, &resume, "no fish in the tank")
		}
	case "gardenwest Sale tank 3":
		b.pause(t, nil, b.today-25, nil, "tank status set to paused")
	case "nursery Hall":
		// The pump can only be stripped where nobody can be let in: it is blocked.
		b.pause(t, t.keyed("plugs_hoses"), b.today+10, nil, "the cabinet is rebuilt")
	case "lilybank Play room":
		resume := b.today - 140
		b.pause(t, t.keyed("gravel"), b.today-170, &resume, "gravel taken out while the ward moves")
	}
	return nil
}

// firstVisit gives the day of the first visit at most so many days ago.
func (b *builder) firstVisit(t *tank, ago care.Day) care.Day {
	for _, v := range t.site.visits {
		if v.day >= b.today-ago {
			return v.day
		}
	}
	return b.today
}

// ramp raises the light in weekly steps from 50 to 100 percent over four weeks
// (common practice).
func (b *builder) ramp(t *tank, first care.Day, e *work.RampEvent) error {
	f := work.RoutineFields{
		TankID: t.ID, EquipmentID: t.light, RampLight: t.light, Name: "Light raised after the change of lamps", WorkKind: care.LightStep,
		Class: care.AnimalWelfare, PartOfDay: "any", ActiveMinutes: 4, FirstDay: first, CatchUp: care.Merge, PerformedBy: care.Technician,
		Cadence:  care.Cadence{Kind: care.OnRamp, Ramp: &care.RampPlan{From: 50, To: 100, Days: 28, StepDays: 7, Curve: care.Linear, GreatestRise: 12.5}},
		DaysLate: 3,
	}
	if err := b.add(t, "ramp", f); err != nil || e == nil {
		return err
	}
	c := t.keyed("ramp")
	at := b.at(e.Day, 15*60)
	e.ID = t.id(at)
	c.history.RampEvents = append(c.history.RampEvents, care.RampEvent{Day: e.Day, Kind: e.Kind})
	b.org.RampEvents = append(b.org.RampEvents, RampEvent{RampEvent: *e, Routine: c.routine.ID, At: at, Actor: t.site.by.ID})
	return nil
}

// revise changes a routine from a day on.
func (b *builder) revise(c *course, f work.RoutineFields) {
	c.routine.Earlier = append(c.routine.Earlier, c.routine.Fields)
	c.routine.Fields = f
	c.routine.Version++
	c.routine.UpdatedAt = b.at(f.FromDay, 10*60)
	c.history.Revisions = append(c.history.Revisions, f.Revision())
}

// pause lets a routine rest, or with none the whole tank.
func (b *builder) pause(t *tank, c *course, from care.Day, to *care.Day, reason string) {
	f := work.PauseFields{TankID: t.ID, From: from, To: to, Reason: reason}
	span := care.Span{From: from, To: care.MaxDay}
	if to != nil {
		span.To = *to
	}
	if c != nil {
		f.RoutineID = c.routine.ID
		c.history.Pauses = append(c.history.Pauses, span)
	} else {
		for _, each := range t.courses {
			each.history.Pauses = append(each.history.Pauses, span)
		}
	}
	b.org.Pauses = append(b.org.Pauses, work.Pause{Meta: t.meta(b.at(min(from, b.today)-2, 14*60)), Fields: f})
}

// afterChange is a test two to three days after each water change.
func (b *builder) afterChange(t *tank) work.RoutineFields {
	return work.RoutineFields{
		TankID: t.ID, Name: "Alkalinity two days after the water change", WorkKind: care.WaterTest, Class: care.WaterQuality, PartOfDay: "evening",
		ActiveMinutes: 6, FirstDay: b.today - 90, CatchUp: care.Merge, PerformedBy: care.Keeper,
		Cadence: care.Cadence{
			Kind: care.Joined, Parent: t.keyed("water_change").routine.ID, Gap: care.Gap{Unit: care.Days, Least: 2, Greatest: 3},
		},
	}
}

// report is a photo for the customer each month.
func (b *builder) report(t *tank) work.RoutineFields {
	rule, err := care.ParseRule("FREQ=MONTHLY;BYMONTHDAY=15")
	if err != nil {
		panic(err) // a constant of this file
	}
	return work.RoutineFields{
		TankID: t.ID, Name: "Photo and report for the customer", WorkKind: care.Inspection, Class: care.Upkeep, PartOfDay: "any", ActiveMinutes: 8,
		FirstDay: b.begin, CatchUp: care.Merge, PerformedBy: care.Technician, Cadence: care.Cadence{Kind: care.Calendar, Rule: rule},
		DaysEarly: 10, DaysLate: 10,
	}
}

// secondLook is due once: eggs survive a dip, so one looks again after a week
// (common practice).
func (b *builder) secondLook(t *tank) work.RoutineFields {
	return work.RoutineFields{
		TankID: t.ID, Name: "Second look for flatworms, a week after the dip", WorkKind: care.Inspection, Class: care.AnimalWelfare, PartOfDay: "any",
		ActiveMinutes: 12, FirstDay: b.today - 4, CatchUp: care.Merge, PerformedBy: care.Technician, Skill: "small polyps",
		Cadence: care.Cadence{Kind: care.Once, On: b.today + 3}, DaysEarly: 1, DaysLate: 2,
	}
}
