// Package rounds puts one technician's visits of a day into driving order and
// says what the van has to carry. Every function is pure: positions, times and
// the seed are arguments.
//
// All times are whole minutes on one clock, common to the technician and to all
// sites of the day; Clock makes them from local times.
package rounds

import (
	"github.com/google/uuid"

	"tankward/service/care"
)

// Point is a position on earth in degrees (WGS 84).
type Point struct{ Lat, Lon float64 }

// Window is a span of minutes [From, To].
type Window struct{ From, To int }

// Stop is one visit to be made.
type Stop struct {
	// ID names the visit; no two stops of a day share it. It breaks ties.
	ID uuid.UUID
	At Point
	// Minutes is the service time: see ServiceMinutes.
	Minutes int
	// Windows are the spans of access; the whole service fits into one of them.
	// None means always open.
	Windows []Window
	// Closed is true when there is no access at all that day.
	Closed bool
	// Class is what is at stake at the gravest piece of work of the visit.
	Class care.Class
	// Pressing is true when the visit can't wait for another day: its work
	// reaches its latest day today, or is late already.
	Pressing bool
}

// Fixed is a stop that keeps its place at the start of the round: done, under
// way, or pinned there. A stop with neither time is pinned: it is planned like
// any other but never left out, so that its access may be missed.
type Fixed struct {
	Stop
	Started, Finished *int
}

// Day is what the technician brings to it.
type Day struct {
	Start, End Point
	// Shift is nil when the technician does not work that day; Off may then
	// say why, in words that follow "no shift: ".
	Shift *Window
	Off   string
	// Overtime is how many minutes past the shift the round may end.
	Overtime int
	// Earliest is the minute before which nothing new begins: now, when a day
	// under way is planned again.
	Earliest int
	// Clock renders minutes in reasons; the zero Clock counts from midnight.
	Clock Clock
}

// CommonOvertime is the overtime in minutes that a day may take: common practice.
const CommonOvertime = 60

// Input is all that decides a round.
type Input struct {
	Day   Day
	Fixed []Fixed // in their order
	Stops []Stop  // in any order
	// Measure gives the way between two points; nil is CommonTravel().Leg.
	Measure func(from, to Point) Leg
	// Seed starts the search for rounds too long to be solved exactly. The same
	// input and seed give the same plan.
	Seed uint64
}

// Served is a stop of the round with its times.
type Served struct {
	ID     uuid.UUID
	Drive  Leg // from the stop before it, or from the start position
	Arrive int
	Wait   int // Start − Arrive
	Start  int
	Depart int
	// Fixed is true for the stops given as such, Known when the times are what
	// happened and not a plan.
	Fixed, Known bool
	// MissesAccess is true for a pinned stop whose service fits no window.
	MissesAccess bool
}

// Unserved is a stop that the round leaves out.
type Unserved struct {
	ID     uuid.UUID
	Code   Code
	Reason string
}

// Code says in one word why a stop is left out.
type Code string

// The codes.
const (
	NoShift        Code = "no_shift"         // the technician does not work that day
	NoAccessThen   Code = "no_access"        // the site gives no access that day
	WindowTooShort Code = "window_too_short" // the work is longer than each window
	AccessMissed   Code = "access_missed"    // access ends before the work can be done
	TooLate        Code = "too_late"         // alone it would end after the latest end
	NoRoom         Code = "no_room"          // it fits alone, but not beside the others
)

// Plan is one technician's round.
type Plan struct {
	Served   []Served
	Unserved []Unserved // the gravest first
	// Leave is when the start position is left, late enough not to wait at the
	// first stop; Finish is when the end position is reached. Both are the
	// start of the day when nothing is served.
	Leave, Finish int
	Return        Leg
	// The sums over the round, the return included.
	Drive                    Leg
	WaitMinutes, WorkMinutes int
	Overtime                 int // minutes past the shift; 0 without one
	Exact                    bool
}

// Order plans the round. Among all orders of all sets of stops that keep the
// access windows and end in time it takes, in this order of importance:
//
//  1. the fewest unserved stops, counted class by class, the gravest class
//     first and in each class the pressing ones first;
//  2. the least overtime;
//  3. the earliest finish;
//  4. the fewest metres driven.
//
// (2 follows from 3: overtime grows with the finish.) Up to ExactStops stops
// that can be served at all the plan is the best there is; beyond that it is
// the best that a search of fixed length finds. What is left as a tie is broken
// by the ids, never by the order of the input.
func Order(in Input) Plan {
	p := newProblem(in)
	var order []int
	switch {
	case in.Day.Shift == nil:
	case len(p.stops) <= ExactStops:
		order = p.exact()
	default:
		order = p.search(in.Seed)
	}
	return p.plan(order)
}
