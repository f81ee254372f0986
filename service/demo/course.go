package demo

import (
	"math"
	"time"

	"tankward/service/care"
	"tankward/service/work"
)

// open gives what is open of a routine at the end of a day, as package care
// says. It is asked from the last closing on, as a command does it: the answer
// is the same, and takes no longer after a year.
func (c *course) open(day care.Day) (care.Item, bool) {
	items := care.OpenOn(c.since(day+1), day)
	if len(items) == 0 {
		return care.Item{}, false
	}
	return items[0], true
}

// since gives the history from the last closing before a day on.
func (c *course) since(day care.Day) care.History {
	h := c.history
	if care.Seedable(h.Routine, c.routine.Fields.Cadence) {
		// No record of the scenario names a new day, so none is looked at.
		h.Seed = care.SeedBefore(day, c.closes, h)
	}
	h.Records = c.done
	for i := len(c.done); h.Seed != nil && i > 0; i-- {
		if r := &c.done[i-1]; r.ID == h.Seed.RecordID {
			h.Records = c.done[i:]
			break
		}
	}
	if c.parent != nil {
		parent := c.parent.since(care.ParentBefore(h.Routine, h.Seed))
		h.Parent = &parent
	}
	return h
}

// whole gives the history with all records.
func (c *course) whole() care.History {
	h := c.history
	h.Records = c.done
	if c.parent != nil {
		parent := c.parent.whole()
		h.Parent = &parent
	}
	return h
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
	c.done = append(c.done, folded(r))
	switch r.Result {
	case care.Done:
		c.closes = append(c.closes, care.Close{Identity: it.Identity, RecordID: r.ID, DoneOn: *r.DoneOn, State: care.DoneState})
	case care.Skipped:
		c.closes = append(c.closes, care.Close{Identity: it.Identity, RecordID: r.ID, DoneOn: *r.DoneOn, State: care.SkippedState})
	default: // a share that completes the work is not looked for: an older seed is as good
	}
}

func folded(r work.Record) care.Record {
	out := care.Record{ID: r.ID, DoneOn: *r.DoneOn, Result: r.Result, Share: r.Share, Names: r.Names}
	if r.Level != nil {
		out.Level = *r.Level
	}
	return out
}

// settle folds all records of the routine.
func (c *course) settle() work.Settlement {
	h := c.whole()
	return work.Settlement{Plan: work.Plan{Routine: c.routine.Routine, Zone: Zone, History: h}, Settled: care.Settle(h)}
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
