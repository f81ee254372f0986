package visits

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/fleet"
	"tankward/service/rounds"
	"tankward/service/work"
)

// pressing says that work makes a visit by itself.
func pressing(d work.DueItem) bool { return d.State == care.Due || d.State == care.Overdue }

// comesAlong says that work is done too where a visit is made anyway: whatever
// its window allows on that day.
func comesAlong(d work.DueItem, day care.Day) bool {
	return pressing(d) || d.State == care.Early || d.Earliest <= day
}

// atSites gathers the open work by site: of those sites that the member is
// responsible for, and of these only where something is due or late.
func (k known) atSites(open []work.DueItem) map[uuid.UUID][]Item {
	all, needed := map[uuid.UUID][]Item{}, map[uuid.UUID]bool{}
	for _, d := range open {
		id := d.Routine.Fields.SiteID
		site, ok := k.Sites[id]
		if !ok || site.Fields.ResponsibleMember != k.member.ID {
			continue
		}
		needed[id] = needed[id] || pressing(d)
		if comesAlong(d, k.day) {
			all[id] = append(all[id], k.item(d))
		}
	}
	for id, items := range all {
		if !needed[id] {
			delete(all, id)
			continue
		}
		slices.SortFunc(items, compareItems)
	}
	return all
}

func (p Places) item(d work.DueItem) Item {
	return Item{DueItem: d, TankName: p.Tanks[d.Routine.Fields.TankID].Fields.Name}
}

// compareItems orders the work of a visit: the gravest first.
func compareItems(a, b Item) int {
	f, g := a.Routine.Fields, b.Routine.Fields
	return cmp.Or(
		cmp.Compare(f.Class, g.Class), cmp.Compare(a.Latest, b.Latest), slices.Compare(f.TankID[:], g.TankID[:]),
		strings.Compare(string(f.WorkKind), string(g.WorkKind)), slices.Compare(a.Routine.ID[:], b.Routine.ID[:]),
		cmp.Compare(a.NominalDue, b.NominalDue), cmp.Compare(a.Ordinal, b.Ordinal),
	)
}

// load gives what the items need that are not closed.
func (p Places) load(site fleet.Site, items []Item) rounds.StopLoad {
	in := rounds.LoadStop{ID: site.ID, Hauled: site.Fields.WaterMode == fleet.Hauled}
	for _, it := range items {
		if it.Closed != nil {
			continue
		}
		tank := p.Tanks[it.Routine.Fields.TankID]
		w := rounds.Work{TankID: tank.ID, Tank: tank.Fields.Name, NetL: tank.Fields.NetL}
		for _, t := range tank.Fields.Targets {
			if t.Parameter == "salinity" {
				w.SalinityLow, w.SalinityHigh = t.Low, t.High
			}
		}
		for _, m := range it.Routine.Fields.Materials {
			w.Materials = append(w.Materials, rounds.Material{
				Substance: rounds.Substance(m.Material), Label: m.Label, Quantity: m.Quantity, Unit: m.Unit,
			})
		}
		in.Work = append(in.Work, w)
	}
	return rounds.LoadOf(in)
}

// stop gives a site with its work as the plan wants it. The site's id names it:
// a member visits a site once a day, and a visit has no id before it is stored.
func (k known) stop(site fleet.Site, items []Item) rounds.Stop {
	f := site.Fields
	all := make([]Item, len(items))
	active := make([]int, len(items))
	s := rounds.Stop{ID: site.ID, At: rounds.Point(f.Position)}
	for i, it := range items {
		// The plan's time does not shrink with what is done.
		all[i], active[i] = it, it.Routine.Fields.ActiveMinutes
		all[i].Closed = nil
		if !pressing(it.DueItem) {
			continue
		}
		if s.Class == 0 || it.Routine.Fields.Class < s.Class {
			s.Class = it.Routine.Fields.Class
		}
		s.Pressing = s.Pressing || it.Latest <= k.day || it.State == care.Overdue
	}
	carry := rounds.Carry{DistanceM: f.CarryDistanceM, Floors: f.CarryFloors}
	s.Minutes = rounds.ServiceMinutes(f.SetupMinutes, carry, k.load(site, all).Containers, active).Total()
	s.Windows, s.Closed = k.windows(site)
	return s
}

// windows gives the site's access around the day; closures shut whole days.
func (k known) windows(site fleet.Site) ([]rounds.Window, bool) {
	week := make([]rounds.WeekWindow, len(site.Fields.AccessWindows))
	for i, w := range site.Fields.AccessWindows {
		week[i] = rounds.WeekWindow(w)
	}
	shut := k.closures(site.ID)
	var closedOn func(care.Day) bool
	if len(shut) > 0 {
		closedOn = func(d care.Day) bool {
			return slices.ContainsFunc(shut, func(c fleet.ClosureFields) bool { return c.From <= d && d <= c.To })
		}
	}
	return k.clock().Windows(k.day, week, fleet.Location(site.Fields.TimeZone), closedOn)
}

// closures gives those that shut the site around the day.
func (p Places) closures(site uuid.UUID) []fleet.ClosureFields {
	var out []fleet.ClosureFields
	for _, c := range p.Closures {
		if c.SiteID == uuid.Nil || c.SiteID == site {
			out = append(out, c)
		}
	}
	return out
}

func (k known) clock() rounds.Clock {
	return rounds.ClockOf(k.day, fleet.Location(k.member.Fields.TimeZone))
}

// nowhere stands for a start or end position that is not known: no way leads
// there or from there. No site lies on it.
var nowhere = rounds.Point{Lat: 91}

func positionOr(p *fleet.Point) rounds.Point {
	if p == nil {
		return nowhere
	}
	return rounds.Point(*p)
}

func measure(from, to rounds.Point) rounds.Leg {
	if from == nowhere || to == nowhere {
		return rounds.Leg{}
	}
	return rounds.CommonTravel().Leg(from, to)
}

// input gives the plan's question without the stops.
func (k known) input() rounds.Input {
	f := k.member.Fields
	in := rounds.Input{
		Measure: measure,
		Day: rounds.Day{
			Start: positionOr(f.StartPosition), End: positionOr(f.EndPosition),
			Overtime: rounds.CommonOvertime, Clock: k.clock(),
		},
		Seed: binary.BigEndian.Uint64(k.member.ID[8:]) + uint64(uint32(k.day)), //nolint:gosec // any number will do, the same each time
	}
	in.Day.Shift, in.Day.Off = k.shift()
	return in
}

// shift gives the member's working time of the day, or why there is none. A day
// of several spans counts from the first to the last: the breaks are not planned.
func (k known) shift() (*rounds.Window, string) {
	f := k.member.Fields
	if k.member.ArchivedAt != nil {
		return nil, f.Name + " is archived"
	}
	for _, a := range f.Absences {
		// The reason is nobody's business who only reads a round.
		if a.From <= k.day && k.day <= a.To {
			return nil, fmt.Sprintf("%s is absent from %s to %s", f.Name, a.From, a.To)
		}
	}
	zone := fleet.Location(f.TimeZone)
	var shift *rounds.Window
	for _, w := range f.Shifts {
		if w.Weekday != k.day.Weekday() {
			continue
		}
		span := rounds.Window{From: k.clock().Minute(k.day, w.From, zone), To: k.clock().Minute(k.day, w.To, zone)}
		if shift != nil {
			span.From, span.To = min(span.From, shift.From), max(span.To, shift.To)
		}
		shift = &span
	}
	if shift == nil {
		return nil, fmt.Sprintf("%s has no shift on a %s; enter one with the member", f.Name, k.day.Time().Weekday())
	}
	return shift, ""
}

// notes says what of the member's day is not known.
func (k known) notes() []string {
	var out []string
	if k.member.Fields.StartPosition == nil {
		out = append(out, k.member.Fields.Name+" has no start position: the round begins at the first visit, and the way there is not counted")
	}
	if k.member.Fields.EndPosition == nil {
		out = append(out, k.member.Fields.Name+" has no end position: the round ends at the last visit, and the way back is not counted")
	}
	return out
}
