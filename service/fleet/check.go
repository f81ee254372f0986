// Package fleet keeps what is looked after and where: organisations, customers,
// sites with their access and closures, tanks, equipment.
package fleet

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"tankward/service/fault"
)

// Checks gathers what is wrong with some input, field by field.
type Checks struct{ Fields []fault.Field }

// Add notes what would be right for the field at pointer.
func (c *Checks) Add(pointer, format string, args ...any) {
	c.Fields = append(c.Fields, fault.Field{Pointer: pointer, Message: fmt.Sprintf(format, args...)})
}

// Text checks a text's length and that it can be stored; needed texts may not
// be blank.
func (c *Checks) Text(pointer, s string, greatest int, needed bool) {
	switch {
	case needed && strings.TrimSpace(s) == "":
		c.Add(pointer, "is needed; give a text that is not blank")
	case utf8.RuneCountInString(s) > greatest:
		c.Add(pointer, "may have at most %d characters", greatest)
	case strings.ContainsRune(s, 0):
		c.Add(pointer, "may not hold the character NUL")
	case !utf8.ValidString(s):
		c.Add(pointer, "must be valid UTF-8")
	}
}

// Zone checks that a time zone exists.
func (c *Checks) Zone(pointer, name string) {
	if name == "" || name == "Local" {
		c.Add(pointer, "is needed; give an IANA time zone such as Europe/Lisbon")
		return
	}
	if _, err := time.LoadLocation(name); err != nil {
		c.Add(pointer, "%q is not an IANA time zone; give one such as Europe/Lisbon", name)
	}
}

// Point checks a position in degrees.
func (c *Checks) Point(pointer string, p Point) {
	if !(p.Lat >= -90 && p.Lat <= 90) {
		c.Add(pointer+"/coordinates/1", "is the latitude: between -90 and 90 degrees")
	}
	if !(p.Lon >= -180 && p.Lon <= 180) {
		c.Add(pointer+"/coordinates/0", "is the longitude: between -180 and 180 degrees")
	}
}

// Windows checks spans of time by weekday.
func (c *Checks) Windows(pointer string, ws []Window) {
	for i, w := range ws {
		at := fmt.Sprintf("%s/%d", pointer, i)
		if w.Weekday < 1 || w.Weekday > 7 {
			c.Add(at+"/weekday", "must be a weekday, monday to sunday")
		}
		if w.From < 0 || w.To > 24*60 || w.From >= w.To {
			c.Add(at+"/to", "must be later than from, on the same day")
		}
	}
}

// Err gives the fault, or nil when all is well.
func (c *Checks) Err() error { return fault.Check(c.Fields) }

// Point is a position on earth in degrees (WGS 84).
type Point struct{ Lat, Lon float64 }

// Window is a span of one weekday, in minutes since midnight on the local clock.
type Window struct {
	Weekday  int // ISO: 1 Monday to 7 Sunday
	From, To int
}

func pointerAt(list string, i int, field string) string {
	return fmt.Sprintf("%s/%d/%s", list, i, field)
}
