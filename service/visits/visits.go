// Package visits is a technician's day: the round of a member and a day, its
// visits, and the work of each. Package care says what is due and package rounds
// in which order to drive; this package joins the two and stores the outcome.
package visits

import (
	"time"

	"github.com/google/uuid"

	"tankward/service/access"
	"tankward/service/care"
	"tankward/service/fleet"
	"tankward/service/rounds"
	"tankward/service/work"
)

// State says where a visit stands.
type State string

// The states. Nothing abandons a visit yet.
const (
	Planned   State = "planned"
	UnderWay  State = "under_way"
	Finished  State = "finished"
	Abandoned State = "abandoned"
)

// over says that no more work is added to a visit.
func (s State) over() bool { return s == Finished || s == Abandoned }

// VisitFinished is why work is left out that became due at a site after the
// visit there was finished.
const VisitFinished rounds.Code = "visit_finished"

// Key names a round.
type Key struct {
	Member uuid.UUID
	Day    care.Day
}

// ItemKey names a piece of work.
type ItemKey struct {
	Routine uuid.UUID
	care.Identity
}

func keyOf(d work.DueItem) ItemKey { return ItemKey{d.Routine.ID, d.Identity} }

// Close is the record that closed an item.
type Close struct {
	Record, Visit uuid.UUID // Visit is Nil when the record names none
	DoneOn        care.Day
	Skipped       bool
}

// Item is a piece of work of a visit.
type Item struct {
	work.DueItem
	TankName   string
	AddedLater bool // it came after the round was made
	Closed     *Close
}

func (i Item) key() ItemKey { return keyOf(i.DueItem) }

// Visit is one technician at one site on one day.
type Visit struct {
	ID         uuid.UUID // Nil while it is not stored
	Version    int
	CreatedAt  time.Time
	UpdatedAt  time.Time
	MemberID   uuid.UUID
	MemberZone string
	Day        care.Day
	Site       fleet.Site
	State      State
	Position   int // from 0

	// The plan. It is not rewritten with what happened.
	ArriveAt, BeginAt, DepartAt time.Time
	ServiceMinutes              int
	Drive                       rounds.Leg // to get there

	StartedAt, FinishedAt *time.Time
	Items                 []Item
	Load                  rounds.StopLoad // of the work still to be done; of rounds only
}

// WaitMinutes gives the planned wait for the site to open.
func (v Visit) WaitMinutes() int { return int(v.BeginAt.Sub(v.ArriveAt) / time.Minute) }

// Unserved is a site whose work found no place in the round.
type Unserved struct {
	SiteID   uuid.UUID
	SiteName string
	Code     rounds.Code
	Reason   string
	Items    []ItemKey
}

// Round is a technician's visits of one day in driving order.
type Round struct {
	ID         uuid.UUID // Nil: a preview
	Version    int
	CreatedAt  time.Time
	UpdatedAt  time.Time
	MemberID   uuid.UUID
	MemberName string
	Day        care.Day

	StartAt, EndAt  *time.Time // nil without visits
	Drive           rounds.Leg // the way back included
	OvertimeMinutes int
	Visits          []Visit
	Unserved        []Unserved
	Notes           []string // what the plan could not take into account

	// Load is what the visits still to come need.
	Load rounds.Load
}

// Stored says that the round is not only worked out.
func (r Round) Stored() bool { return r.ID != uuid.Nil }

// Unclear says in words what the plan and the load leave open.
func (r Round) Unclear() []string {
	return append(append([]string{}, r.Notes...), r.Load.Unclear...)
}

// WorkMinutes gives the planned minutes at the sites.
func (r Round) WorkMinutes() int {
	n := 0
	for _, v := range r.Visits {
		n += v.ServiceMinutes
	}
	return n
}

// WaitMinutes gives the planned minutes of waiting.
func (r Round) WaitMinutes() int {
	n := 0
	for _, v := range r.Visits {
		n += v.WaitMinutes()
	}
	return n
}

// Places is what rounds and visits are planned and shown with.
type Places struct {
	Sites    map[uuid.UUID]fleet.Site
	Tanks    map[uuid.UUID]fleet.Tank
	Closures []fleet.ClosureFields
}

// Book is what is stored of some rounds, and the places of those and of all
// sites that their members are responsible for.
type Book struct {
	Rounds []Round // with the visits of the day; an item as it came into its visit
	Places
}

// known is all that decides the round of one member and day.
type known struct {
	Places
	member access.Member
	day    care.Day
	today  care.Day // the member's own
	now    time.Time
	stored *Round         // nil: nothing is stored
	open   []work.DueItem // technician work open or planned on that day
}
