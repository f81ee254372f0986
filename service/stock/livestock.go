package stock

import (
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/resource"
)

// OwnSpecies is a species that an organisation has added beside the catalogue.
type OwnSpecies = resource.Row[SpeciesFields]

// SpeciesID names a species: by its code in the catalogue, or by the id of an
// organisation's own. Exactly one is set.
type SpeciesID struct {
	Code string
	Own  uuid.UUID
}

// ParseSpeciesID reads a species id. What has the form of a UUID is an own
// species, anything else a code; neither need exist.
func ParseSpeciesID(s string) SpeciesID {
	if id, err := uuid.Parse(s); err == nil && len(s) == len(uuid.Nil.String()) {
		return SpeciesID{Own: id}
	}
	return SpeciesID{Code: s}
}

// String gives the id as it is shown.
func (id SpeciesID) String() string {
	if id.Code != "" {
		return id.Code
	}
	return id.Own.String()
}

// State says how animals stand.
type State string

// The states.
const (
	InQuarantine State = "quarantine"
	Settling     State = "settling"
	Settled      State = "settled"
	AtRisk       State = "at_risk"
)

var states = []State{InQuarantine, Settling, Settled, AtRisk}

// LivestockFields is what is known of animals of one species in one tank.
type LivestockFields struct {
	TankID    uuid.UUID
	Species   SpeciesID
	Form      Counting // empty on create: as the species is counted
	Label     string
	Source    string
	Place     string
	State     State
	ArrivedOn care.Day // the zero day on create: the site's today
	PermitRef string
	// Count is how many there are: on create how many arrived, from then on the
	// sum of the events; derived.
	Count int
}

// Livestock is animals of one species in one tank.
type Livestock = resource.Row[LivestockFields]

// greatestCount is far above what any tank holds, and keeps sums small.
const greatestCount = 1_000_000

// Validate says what is wrong with the fields.
func (f LivestockFields) Validate() error {
	var c fleet.Checks
	for _, text := range []struct{ pointer, s string }{
		{"/label", f.Label}, {"/source", f.Source}, {"/place", f.Place}, {"/permit_ref", f.PermitRef},
	} {
		c.Text(text.pointer, text.s, 200, false)
	}
	if f.Form != "" && !slices.Contains(Countings(), f.Form) {
		c.Add("/form", "must be one of %s", list(Countings()))
	}
	if !slices.Contains(states, f.State) {
		c.Add("/state", "must be one of %s", list(states))
	}
	if f.Count < 0 || f.Count > greatestCount {
		c.Add("/count", "must be between 1 and %d", greatestCount)
	}
	return c.Err()
}

// settled refuses changes to what the history hangs on.
func settled(old, now LivestockFields) error {
	var c fleet.Checks
	if old.TankID != now.TankID {
		c.Add("/tank_id", "cannot be changed; record their removal here and their arrival in the other tank")
	}
	if old.Species != now.Species {
		c.Add("/species_id", "cannot be changed; correct the count to 0, archive the entry and make another")
	}
	if old.ArrivedOn != now.ArrivedOn {
		c.Add("/arrived_on", "cannot be changed, since the first event hangs on it")
	}
	return c.Err()
}

// EventKind says why a count changed.
type EventKind string

// The kinds of events.
const (
	Arrival    EventKind = "arrival"
	Birth      EventKind = "birth"
	Split      EventKind = "split"
	Death      EventKind = "death"
	Removal    EventKind = "removal"
	Correction EventKind = "correction"
)

// signs says which way each kind moves a count; 0 both ways.
var signs = map[EventKind]int{Arrival: 1, Birth: 1, Split: 1, Death: -1, Removal: -1, Correction: 0}

// NewEvent is what is said of a change of a count.
type NewEvent struct {
	LivestockID uuid.UUID
	Kind        EventKind
	Day         *care.Day // nil: the site's today
	Delta       int
	Reason      string
}

// Event is why a count changed. It never changes itself.
type Event struct {
	ID          uuid.UUID
	LivestockID uuid.UUID
	Kind        EventKind
	Day         care.Day
	Delta       int
	Reason      string
	RecordedAt  time.Time
	Actor       uuid.UUID
}

// Added is the outcome of recording an event: New is false when the same
// request had recorded it before.
type Added struct {
	Event Event
	New   bool
}

// Validate says what is wrong with the event by itself.
func (n NewEvent) Validate() error {
	var c fleet.Checks
	c.Text("/reason", n.Reason, 500, false)
	sign, known := signs[n.Kind]
	switch {
	case !known:
		c.Add("/kind", "must be arrival, birth, split, death, removal or correction")
	case n.Delta == 0:
		c.Add("/delta", "must not be 0; an event changes the count")
	case sign > 0 && n.Delta < 0:
		c.Add("/delta", "must be above 0 for %s; give the number of animals that came", n.Kind)
	case sign < 0 && n.Delta > 0:
		c.Add("/delta", "must be below 0 for %s, such as -1; give the number of animals that went", n.Kind)
	case n.Delta < -greatestCount || n.Delta > greatestCount:
		c.Add("/delta", "must be between -%d and %d", greatestCount, greatestCount)
	}
	return c.Err()
}

// on gives the day of the event, or what is wrong with it.
func (n NewEvent) on(arrived, today care.Day) (care.Day, error) {
	if n.Day == nil {
		return max(today, arrived), nil
	}
	switch d := *n.Day; {
	case d > today:
		return d, fault.InvalidField("/day", "%s lies in the future: at the site today is %s", d, today)
	case d < arrived:
		return d, fault.InvalidField("/day", "%s is before the day of their arrival, %s", d, arrived)
	default:
		return d, nil
	}
}

// fits says whether a count can take the event: least is the lowest count on
// its day and after it, count what it is now.
func (n NewEvent) fits(day care.Day, least, count int) error {
	switch {
	case count+n.Delta < 0:
		return fault.InvalidField("/delta", "leaves a count below 0: %s", only(count, "recorded now"))
	case least+n.Delta < 0:
		return fault.InvalidField("/delta", "leaves a count below 0 on some day from %s on: %s; give fewer or a later day",
			day, only(least, "recorded then"))
	case count+n.Delta > greatestCount:
		return fault.InvalidField("/delta", "leaves a count above %d", greatestCount)
	}
	return nil
}

func only(n int, when string) string {
	switch n {
	case 0:
		return "none is " + when
	case 1:
		return "only 1 is " + when
	}
	return fmt.Sprintf("only %d are %s", n, when)
}
