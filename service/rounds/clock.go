package rounds

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"tankward/service/care"
)

// Clock is the common clock of a round: minutes that have passed since the
// technician's local midnight. On the days of a time change they differ from
// what a wall clock shows, and so do the clocks of sites in another zone.
type Clock struct{ Midnight time.Time }

// ClockOf gives the clock of a technician's day.
func ClockOf(day care.Day, zone *time.Location) Clock {
	d := day.Time()
	return Clock{time.Date(d.Year(), d.Month(), d.Day(), 0, 0, 0, 0, zone)}
}

// Minute gives the common minute of a local time of day, in minutes since
// midnight on the wall clock of a zone. A time that the clocks skip falls within
// an hour of the gap.
func (c Clock) Minute(day care.Day, minute int, zone *time.Location) int {
	d := day.Time()
	return c.Of(time.Date(d.Year(), d.Month(), d.Day(), 0, minute, 0, 0, zone))
}

// Of gives the common minute of an instant, rounded down.
func (c Clock) Of(t time.Time) int {
	d := t.Sub(c.Midnight)
	m := int(d / time.Minute)
	if d%time.Minute < 0 {
		m--
	}
	return m
}

// Instant gives the instant of a common minute.
func (c Clock) Instant(minute int) time.Time {
	return c.Midnight.Add(time.Duration(minute) * time.Minute)
}

// Text renders a minute as a time of day in the technician's zone, with the
// days that have passed since.
func (c Clock) Text(minute int) string {
	days := floorDiv(minute, 1440)
	rest := minute - days*1440
	text := fmt.Sprintf("%02d:%02d", rest/60, rest%60)
	if !c.Midnight.IsZero() {
		t := c.Instant(minute)
		text, days = t.Format("15:04"), int(care.DayOf(t)-care.DayOf(c.Midnight))
	}
	switch days {
	case 0:
		return text
	case 1:
		return text + " the next day"
	case -1:
		return text + " the day before"
	}
	return fmt.Sprintf("%s, %+d days", text, days)
}

func floorDiv(a, b int) int {
	if a < 0 {
		return -((-a + b - 1) / b)
	}
	return a / b
}

// WeekWindow is a span of access on one weekday, in minutes since midnight on
// the site's wall clock.
type WeekWindow struct {
	Weekday  int // ISO: 1 Monday to 7 Sunday
	From, To int
}

// Windows gives the spans of access around a day as Stop wants them. Those of the
// neighbouring days belong to it: they hold part of the technician's day when
// the site lies in another zone or the shift runs past midnight. closedOn says on which
// days the site is shut; nil means on none.
func (c Clock) Windows(day care.Day, week []WeekWindow, zone *time.Location, closedOn func(care.Day) bool) ([]Window, bool) {
	if len(week) == 0 && closedOn == nil {
		return nil, false
	}
	if len(week) == 0 {
		for d := 1; d <= 7; d++ {
			week = append(week, WeekWindow{d, 0, 1440})
		}
	}
	var ws []Window
	for d := day - 1; d <= day+1; d++ {
		if closedOn != nil && closedOn(d) {
			continue
		}
		for _, w := range week {
			if w.Weekday == d.Weekday() {
				ws = append(ws, Window{c.Minute(d, w.From, zone), c.Minute(d, w.To, zone)})
			}
		}
	}
	ws = merged(ws)
	return ws, len(ws) == 0
}

// merged sorts windows and joins those that touch.
func merged(ws []Window) []Window {
	var out []Window
	for _, w := range slices.SortedFunc(slices.Values(ws), func(a, b Window) int {
		return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.To, b.To))
	}) {
		switch last := len(out) - 1; {
		case w.To < w.From:
		case last >= 0 && w.From <= out[last].To:
			out[last].To = max(out[last].To, w.To)
		default:
			out = append(out, w)
		}
	}
	return out
}
