package api

import (
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/oapi-codegen/runtime/types"

	"tankward/api/gen"
	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/fleet"
)

func deref[T any](p *T) T {
	if p == nil {
		var zero T
		return zero
	}
	return *p
}

func derefOr[T any](p *T, otherwise T) T {
	if p == nil {
		return otherwise
	}
	return *p
}

// optional gives nil for the zero value, so that the field is left out.
func optional[T comparable](v T) *T {
	var zero T
	if v == zero {
		return nil
	}
	return &v
}

func day(d types.Date) care.Day { return care.DayOf(d.UTC()) }

func dayPtr(d *types.Date) *care.Day {
	if d == nil {
		return nil
	}
	v := day(*d)
	return &v
}

// instant keeps what can be stored of a moment.
func instant(t time.Time) time.Time { return t.UTC().Truncate(time.Microsecond) }

func instantPtr(t *time.Time) *time.Time {
	if t == nil {
		return nil
	}
	v := instant(*t)
	return &v
}

func date(d care.Day) types.Date { return types.Date{Time: d.Time()} }

func datePtr(d *care.Day) *types.Date {
	if d == nil {
		return nil
	}
	v := date(*d)
	return &v
}

// dateOrNone leaves out the zero day, which stands for none.
func dateOrNone(d care.Day) *types.Date {
	if d == 0 {
		return nil
	}
	v := date(d)
	return &v
}

func idOrNone(id uuid.UUID) *uuid.UUID { return optional(id) }

var weekdays = []gen.Weekday{
	gen.WeekdayMonday, gen.WeekdayTuesday, gen.WeekdayWednesday, gen.WeekdayThursday,
	gen.WeekdayFriday, gen.WeekdaySaturday, gen.WeekdaySunday,
}

// hours reads spans by weekday; the contract has checked the form HH:MM.
func hours(at string, in *[]gen.WeekdayHours) ([]fleet.Window, error) {
	var out []fleet.Window
	for i, w := range deref(in) {
		var v fleet.Window
		for n, name := range weekdays {
			if name == w.Weekday {
				v.Weekday = n + 1
			}
		}
		var err error
		if v.From, err = minutes(w.From); err == nil {
			v.To, err = minutes(w.To)
		}
		if err != nil {
			return nil, fault.InvalidField(fmt.Sprintf("%s/%d", at, i), "%s", err)
		}
		out = append(out, v)
	}
	return out, nil
}

func hoursOut(in []fleet.Window) []gen.WeekdayHours {
	out := make([]gen.WeekdayHours, len(in))
	for i, w := range in {
		out[i] = gen.WeekdayHours{Weekday: weekdays[w.Weekday-1], From: clock(w.From), To: clock(w.To)}
	}
	return out
}

// minutes reads a time of day as minutes since midnight; 24:00 ends a day.
func minutes(s string) (int, error) {
	if s == "24:00" {
		return 24 * 60, nil
	}
	t, err := time.Parse("15:04", s)
	if err != nil {
		return 0, fmt.Errorf("%q is not a time of day such as 08:30", s)
	}
	return t.Hour()*60 + t.Minute(), nil
}

func clock(m int) string { return fmt.Sprintf("%02d:%02d", m/60, m%60) }

func point(p gen.Point) fleet.Point { return fleet.Point{Lon: p.Coordinates[0], Lat: p.Coordinates[1]} }

func pointOut(p fleet.Point) gen.Point {
	return gen.Point{Type: gen.PointTypePoint, Coordinates: []float64{p.Lon, p.Lat}}
}
