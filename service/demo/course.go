package demo

import (
	"math"
	"time"

	"tankward/service/care"
	"tankward/service/work"
)

// open gives what is open of a routine at the end of a day, as package care
// says. A routine that stands alone is asked from its last closing on, as a
// command does it: the answer is the same, and takes no longer after a year.
func (c *course) open(day care.Day) (care.Item, bool) {
	items := care.OpenOn(c.history, day)
	if len(items) == 0 {
		return care.Item{}, false
	}
	return items[0], true
}

// record enters a piece of work.
func (b *builder) record(t *tank, c *course, it care.Item, h *hand, o outcome) {
	f := &c.routine.Fields
	minutes := max(1, f.ActiveMinutes+t.between(-2, 3))
	h.minute = min(h.minute+minutes, 23*60)
	at := b.at(h.day, h.minute)
	day := h.day
	by := h.by
	r := work.Record{
		NewRecord: work.NewRecord{
			ID: t.id(at.Add(time.Minute)), RoutineID: c.routine.ID, TankID: t.ID, WorkKind: f.WorkKind, DoneOn: &day, DoneAt: &at,
			Result: o.result, Share: o.share, Reason: o.reason, DoneBy: &by,
		},
		SiteID: t.site.ID, ReceivedAt: at.Add(time.Minute), RecordedBy: h.member.ID,
	}
	if by.Kind == "member" {
		named := it.Identity
		r.Names = &named
	}
	if o.result == care.Done || o.result == care.Partly {
		r.Minutes, r.Amounts = &minutes, t.amounts(f, o)
	}
	if o.result == care.Done && f.Cadence.Kind == care.OnRamp {
		level := it.Level
		r.Level = &level
	}
	c.take(r, it)
}

// take adds a record to the routine's history.
func (c *course) take(r work.Record, it care.Item) {
	c.records = append(c.records, r)
	c.history.Records = append(c.history.Records, folded(r))
	if c.chained || !care.Seedable(c.history.Routine, c.routine.Fields.Cadence) || r.Result == care.NoAccess || r.Result == care.Partly {
		return
	}
	state := care.DoneState
	if r.Result == care.Skipped {
		state = care.SkippedState
	}
	c.closes = append(c.closes, care.Close{Identity: it.Identity, RecordID: r.ID, DoneOn: *r.DoneOn, State: state})
	if n := len(c.closes); n > recentCloses {
		c.closes = c.closes[n-recentCloses:]
	}
	c.history.Seed = care.SeedBefore(*r.DoneOn+1, c.closes, c.history)
	c.history.Records = nil
}

// recentCloses are as many as a seed can need: an item is done early by less
// than one interval.
const recentCloses = 40

func folded(r work.Record) care.Record {
	out := care.Record{ID: r.ID, DoneOn: *r.DoneOn, Result: r.Result, Share: r.Share, Names: r.Names}
	if r.Level != nil {
		out.Level = *r.Level
	}
	return out
}

// settle folds all records of the routine.
func (c *course) settle() work.Settlement {
	h := c.history
	h.Seed, h.Records = nil, make([]care.Record, len(c.records))
	for i, r := range c.records {
		h.Records[i] = folded(r)
	}
	p := work.Plan{Routine: c.routine.Routine, Zone: Zone, History: h}
	return work.Settlement{Plan: p, Settled: care.Settle(h)}
}

// amounts are the litres of a water change, to a whole one.
func (t *tank) amounts(f *work.RoutineFields, o outcome) []work.Material {
	var out []work.Material
	for _, m := range f.Materials {
		if m.Unit != "percent_of_net" {
			continue
		}
		litres := m.Quantity / 100 * t.Fields.NetL
		if o.result == care.Partly {
			litres *= float64(o.share) / 100
		}
		out = append(out, work.Material{Material: m.Material, Label: m.Label, Quantity: max(1, math.Round(litres)), Unit: "l"})
	}
	return out
}
