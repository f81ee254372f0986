package fleet

import (
	"sync"
	"time"

	"tankward/service/care"
)

// zones keeps loaded time zones: reading one from disk takes longer than all
// that is decided with it.
var zones sync.Map

// Location gives a stored time zone; one that this machine does not know counts
// as UTC, since stored names were checked when they were saved.
func Location(name string) *time.Location {
	if l, ok := zones.Load(name); ok {
		return l.(*time.Location)
	}
	l, err := time.LoadLocation(name)
	if err != nil {
		l = time.UTC
	}
	zones.Store(name, l)
	return l
}

// Today gives the civil date that a clock in the zone shows at an instant.
func Today(zone string, now time.Time) care.Day { return care.DayOf(now.In(Location(zone))) }
