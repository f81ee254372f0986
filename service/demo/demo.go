// Package demo makes the demonstration scenario: a maintenance business and a
// club with a year of history, relative to a day. The same seed and day give the
// same rows. What was due on each day of the history is asked of package care,
// as it is for real work; only what people did is thrown with dice.
package demo

import (
	"fmt"
	"sync"
	"time"

	"github.com/google/uuid"

	"tankward/service/access"
	"tankward/service/care"
	"tankward/service/fleet"
	"tankward/service/stock"
	"tankward/service/work"
)

// Zone is the time zone of all places of the scenario.
const Zone = "Europe/London"

// Seed is the seed of the scenario when nobody chooses one.
const Seed = 1

// historyDays is how long the business has kept records.
const historyDays = 365

// Routine is a routine with what it said before its last revision.
type Routine struct {
	work.Routine
	Earlier []work.RoutineFields // the oldest first
}

// RampEvent is a change of a ramp's course, with who entered it and when.
type RampEvent struct {
	work.RampEvent
	Routine uuid.UUID
	At      time.Time
	Actor   uuid.UUID
}

// Org is all there is of one organisation, in the order in which rows depend
// on each other.
type Org struct {
	Organisation fleet.Organisation
	Members      []access.Member
	Customers    []fleet.Customer
	Sites        []fleet.Site
	Notes        []fleet.AccessNotes
	Closures     []fleet.Closure
	Tanks        []fleet.Tank
	Equipment    []fleet.Equipment
	Livestock    []stock.Livestock
	Events       []stock.Event
	Routines     []Routine
	Pauses       []work.Pause
	RampEvents   []RampEvent
	Records      []work.Record
	Readings     []work.Reading
	Settlements  []work.Settlement
}

// World is the whole scenario.
type World struct {
	Day            care.Day
	Business, Club Org
}

// Make makes the scenario as it stands in the morning of a day.
func Make(seed uint64, today care.Day) (World, error) {
	tables, err := readTables()
	if err != nil {
		return World{}, fmt.Errorf("read the scenario: %w", err)
	}
	w := World{Day: today}
	var wait sync.WaitGroup
	var errs [2]error
	for i, o := range []struct {
		code string
		into *Org
	}{{"business", &w.Business}, {"club", &w.Club}} {
		wait.Go(func() { *o.into, errs[i] = newBuilder(o.code, seed, today, tables).build() })
	}
	wait.Wait()
	for _, err := range errs {
		if err != nil {
			return World{}, err
		}
	}
	return w, nil
}
