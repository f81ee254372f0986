package care

import (
	"encoding/binary"

	"github.com/google/uuid"
)

// PlannedOn gives the items that are planned on a coming day: each on its due
// day, late ones on the first open day from today, as if all went as planned.
func PlannedOn(h History, today, day Day) []Item {
	_, planned := carryOut(h, today, day)
	var out []Item
	for _, p := range planned {
		if p.on == day {
			out = append(out, p.item)
		}
	}
	return out
}

// plannedItem is an item with the day on which it is planned.
type plannedItem struct {
	item Item
	on   Day
}

// carryOut does, on paper, all that is planned from today to a day, and gives
// the history as it would be then.
func carryOut(h History, today, to Day) (History, []plannedItem) {
	if h.Parent != nil {
		parent, _ := carryOut(*h.Parent, today, to)
		h.Parent = &parent
	}
	h.Records = append([]Record(nil), h.Records...)
	var planned []plannedItem
	for n := uint64(1); ; n++ {
		s := Settle(h).Stored
		if s.None || s.Item.State == Blocked {
			return h, planned
		}
		on := max(s.Item.Due, s.Item.Earliest)
		if on < today {
			on = h.Access.firstOpen(today)
		}
		if on > to {
			return h, planned
		}
		item := s.Item
		if open := OpenOn(h, on); len(open) > 0 {
			item = open[0]
		}
		planned = append(planned, plannedItem{item, on})
		h.Records = append(h.Records, Record{ID: paperID(n), DoneOn: on, Result: Done, Level: item.Level})
	}
}

// paperID makes ids of records that exist only on paper; they sort after all
// real ones of their day.
func paperID(n uint64) uuid.UUID {
	id := uuid.Max
	binary.BigEndian.PutUint64(id[8:], n)
	return id
}

// farEnough ends the search for an open day where every weekday is shut.
const farEnough = 800

// firstOpen gives the first day from a day on that no closure covers.
func (a Access) firstOpen(from Day) Day {
	for d := from; d < from+farEnough; d++ {
		if !a.shut(d) {
			return d
		}
	}
	return from
}

func (a Access) shut(d Day) bool {
	if a.NoAccess>>d.Weekday()&1 == 1 {
		return true
	}
	for _, c := range a.Closures {
		if c.From <= d && d < c.To {
			return true
		}
	}
	return false
}
