// Package care decides what work is due at a tank and when: cadences,
// windows, closures, pauses, light ramps, and what each record counts for.
// Every function is pure: days, records and identities are arguments.
package care

import (
	"fmt"
	"math"
	"time"
)

// Day is a civil date counted from 1970-01-01. Daylight saving cannot touch it.
type Day int32

// The ends of the calendar, for an open lower or upper bound.
const (
	MinDay Day = math.MinInt32
	MaxDay Day = math.MaxInt32
)

// Date gives the day of a civil date; months and days overflow as in time.Date.
func Date(year int, month time.Month, day int) Day {
	return Day(time.Date(year, month, day, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

// ParseDay reads an ISO 8601 date such as 2026-03-09.
func ParseDay(s string) (Day, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return 0, fmt.Errorf("%q is not a date such as 2026-03-09", s)
	}
	return DayOf(t), nil
}

// DayOf gives the civil date that a clock in t's own location shows.
func DayOf(t time.Time) Day {
	y, m, d := t.Date()
	return Date(y, m, d)
}

// Time gives midnight UTC of the day.
func (d Day) Time() time.Time { return time.Unix(int64(d)*86400, 0).UTC() }

// String gives the ISO 8601 date.
func (d Day) String() string {
	switch d {
	case MinDay:
		return "-infinity"
	case MaxDay:
		return "infinity"
	}
	return d.Time().Format(time.DateOnly)
}

// Weekday gives the ISO weekday, 1 for Monday to 7 for Sunday.
func (d Day) Weekday() int { return int(((int64(d)+3)%7+7)%7) + 1 }

// Month gives the month, 1 to 12.
func (d Day) Month() int {
	_, month, _ := civil(d)
	return month
}
