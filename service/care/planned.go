package care

import "github.com/google/uuid"

// afterAll sorts behind every id that a record can have.
var afterAll = uuid.Max

// PlannedOn gives what is planned on a day to come if all is done as planned
// from today on: each work on its due day, late work on the first open day.
func PlannedOn(h History, today, on Day) []Item {
	f := newFold(&h, false)
	var items []Item
	f.planUpTo(today, on, func(day Day, it Item) {
		if day == on {
			items = append(items, it)
		}
	})
	return items
}

// planUpTo runs the fold up to today and goes on as if everything were done on
// the day it is planned; it shows each item with that day.
func (f *fold) planUpTo(today, to Day, show func(Day, Item)) {
	if f.parent != nil {
		f.parent.planUpTo(today, to, func(Day, Item) {})
	}
	f.start()
	f.advance(today)
	for {
		change, planned := f.nextDay(), f.plannedDay(today)
		if min(change, planned) > to || min(change, planned) == MaxDay {
			return
		}
		if change <= planned {
			f.advance(change)
			continue
		}
		f.day = planned
		if it, ok := f.cur.item(planned, f.late, f.lost); ok {
			show(planned, it)
		}
		f.record(Record{ID: afterAll, DoneOn: planned, Result: Done, Level: f.cur.level})
		f.takeOver()
	}
}

// plannedDay gives the day on which the current item is planned; MaxDay when
// it is not.
func (f *fold) plannedDay(today Day) Day {
	s := &f.cur
	if !s.ok || s.blocked {
		return MaxDay
	}
	if s.due >= today {
		return max(s.due, f.day)
	}
	m, day := f.mover(), max(today, f.day)
	if f.h.Routine.Class == LifeSupport || f.rev.Performer == Shop || f.rev.Performer == Device || s.stepBack {
		return day
	}
	for last := m.limit(day, MaxDay); day <= last; day++ {
		if shut, _ := m.closed(day, MaxDay); !shut {
			return day
		}
	}
	return MaxDay
}
