package visits

import (
	"context"

	"github.com/google/uuid"

	"tankward/service/access"
	"tankward/service/care"
	"tankward/service/resource"
	"tankward/service/tx"
	"tankward/service/work"
)

// Tx is what commands load and save. Every method is bound to the
// transaction's organisation; another organisation's row is NotFound. A round is
// locked after organisation, sites and tanks, its visits after it.
type Tx interface {
	// InsertRound adds a round with its visits and their items, unless the member
	// has a round of that day already; it says whether it did.
	InsertRound(ctx context.Context, r Round) (bool, error)
	// LockRound locks a round and its visits and gives their versions by id.
	LockRound(ctx context.Context, k Key) (Versions, error)
	// SaveRound writes figures, unserved work and notes of a round.
	SaveRound(ctx context.Context, r Round) error
	// InsertVisits adds visits with their items; InsertItems adds items to
	// visits that are stored, by visit.
	InsertVisits(ctx context.Context, vs []Visit) error
	InsertItems(ctx context.Context, items map[uuid.UUID][]Item) error
	// SaveVisits writes state, plan and moments of visits.
	SaveVisits(ctx context.Context, vs []Visit) error
	// LoadVisit locks a visit and gives it without site and items.
	LoadVisit(ctx context.Context, id uuid.UUID) (Visit, error)
}

// Versions holds the version of a round and of each of its visits.
type Versions map[uuid.UUID]int

// CrewFilter narrows the crew to one member, of whatever role, in use or not.
// With Nil the crew is the technicians in use, whoever else is responsible for a
// site in use, and whoever has a stored round of the day On.
type CrewFilter struct {
	Member uuid.UUID
	On     *care.Day
}

// Filter narrows a list of visits; an empty field doesn't.
type Filter struct {
	ID, Member, Site uuid.UUID
	Day              *care.Day
	State            State
}

// Page is a page of visits with their places.
type Page struct {
	Visits []Visit
	Places
	Next string
	Head int64 // read before the list
}

// Reads is what is read outside of transactions; each method is one bound round
// trip that sees the scope's organisation only.
type Reads interface {
	// Crew lists the members whose rounds are asked for, by id.
	Crew(ctx context.Context, s tx.Scope, f CrewFilter, p resource.Paging) (resource.Page[access.Member], error)
	// Rounds gives what is stored of the named rounds, and what plans them.
	Rounds(ctx context.Context, s tx.Scope, keys []Key) (Book, error)
	// Visits lists visits by day, member and place in the round, with their items.
	Visits(ctx context.Context, s tx.Scope, f Filter, p resource.Paging) (Page, error)
}

// Due lists due work; work.Service does.
type Due interface {
	Due(ctx context.Context, s tx.Scope, q work.DueQuery, p resource.Paging) (resource.Page[work.DueItem], error)
}

// Service reads and carries out technicians' days.
type Service struct {
	run   tx.Runner[Tx]
	reads Reads
	due   Due
	newID func() uuid.UUID
}

// New makes the service; newID makes ids of rounds and visits.
func New(run tx.Runner[Tx], reads Reads, due Due, newID func() uuid.UUID) *Service {
	return &Service{run: run, reads: reads, due: due, newID: newID}
}
