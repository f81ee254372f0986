package work

import (
	"context"
	"time"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/care/caution"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
)

// Selection says which routines' histories are wanted. Exactly one of Routine,
// Tank, Site and Everything is set.
type Selection struct {
	// Routine: this one with all that it follows and all that follows it.
	Routine    uuid.UUID
	Tank       uuid.UUID
	Site       uuid.UUID
	Everything bool
	// Since is the first day that a command touches: records before the last
	// closing before it are left out. MinDay asks for all records.
	Since care.Day
}

// Plan is a routine in use with all that decides its due work.
type Plan struct {
	Routine Routine
	Zone    string
	History care.History
	// Cautions are those of the species that live in the tank.
	Cautions []caution.Caution
}

// Settlement is what a fold found out about one routine.
type Settlement struct {
	Plan    Plan
	Settled care.Settled
}

// Place says where a routine or a tank is.
type Place struct {
	SiteID, TankID uuid.UUID
	Zone           string
	WorkKind       care.WorkKind // of a routine
	Class          care.Class    // of a routine
	Archived       bool
	ParentTank     uuid.UUID
}

// Tx is what work loads and saves in a transaction. Every method is bound to
// the transaction's organisation; another organisation's row is NotFound.
type Tx interface {
	fleet.Tx
	// Routines gives the store of routines; saving one writes its revision too.
	Routines() resource.Store[RoutineFields]
	// Pauses gives the store of pauses.
	Pauses() resource.Store[PauseFields]
	// RoutinePlace says where a routine is, without a lock.
	RoutinePlace(ctx context.Context, id uuid.UUID) (Place, error)
	// TankPlace says where a tank is, without a lock.
	TankPlace(ctx context.Context, id uuid.UUID) (Place, error)
	// PausePlace says where a pause is, without a lock.
	PausePlace(ctx context.Context, id uuid.UUID) (Place, error)
	// ClosureSite gives the site that a closure shuts, without a lock; Nil when it
	// shuts the organisation.
	ClosureSite(ctx context.Context, id uuid.UUID) (uuid.UUID, error)
	// LockTanks locks the tanks in use of a site, or of the organisation when site
	// is Nil, in the order of their ids, and says how many.
	LockTanks(ctx context.Context, site uuid.UUID) (int, error)
	// Links gives which routine of a tank follows, or has followed, which, for all
	// in use.
	Links(ctx context.Context, tank uuid.UUID) (map[uuid.UUID]care.Link, error)
	// LivingStock counts the animals recorded in a tank.
	LivingStock(ctx context.Context, tank uuid.UUID) (int, error)
	// TanksInUse counts the tanks of a site that are not archived.
	TanksInUse(ctx context.Context, site uuid.UUID) (int, error)
	// Kit gives a tank with what a ready set is fitted to. The caller holds the
	// tank's lock.
	Kit(ctx context.Context, tank uuid.UUID) (Kit, error)
	// OpenPauses gives the open pauses of a whole tank.
	OpenPauses(ctx context.Context, tank uuid.UUID) ([]Pause, error)

	// Histories gives the histories of a selection's routines, parents linked.
	Histories(ctx context.Context, sel Selection) ([]Plan, error)
	// WriteDue replaces what is stored of the settled routines: the oldest
	// unclosed item and, from the seed on, which record closes which item.
	WriteDue(ctx context.Context, all []Settlement) error
	// DropDue takes the stored due work of a routine, or of a whole tank, away.
	DropDue(ctx context.Context, routine, tank uuid.UUID) error

	// InsertRecord adds a record unless its id is taken, and says whether it did.
	InsertRecord(ctx context.Context, r Record, createHash [32]byte) (bool, error)
	// RecordHash gives the hash a record was created from.
	RecordHash(ctx context.Context, id uuid.UUID) ([32]byte, error)
	// LoadRecord gives a record; the lock of its tank guards it.
	LoadRecord(ctx context.Context, id uuid.UUID) (Record, error)
	// SaveVoid marks a record as void.
	SaveVoid(ctx context.Context, id uuid.UUID, v Void) error
	// HasMember says whether somebody is a member; with left also, whether they were.
	HasMember(ctx context.Context, id uuid.UUID, left bool) (bool, error)
	// InsertReadings adds readings and makes the months they fall into.
	InsertReadings(ctx context.Context, rs []Reading) error
	// Parameters gives the catalogue of what can be measured.
	Parameters(ctx context.Context) (map[string]Parameter, error)
	// CloserOf gives the record that closes an item; Nil when it is open.
	CloserOf(ctx context.Context, routine uuid.UUID, item care.Identity) (uuid.UUID, error)
	// InsertRampEvent adds a change of a ramp's course.
	InsertRampEvent(ctx context.Context, routine uuid.UUID, e RampEvent, at time.Time, actor uuid.UUID) error
}

// DueFilter narrows a list of due work; an empty field doesn't.
type DueFilter struct {
	Site, Tank, Member uuid.UUID // Member: the site's responsible member
	WorkKind           care.WorkKind
	PerformedBy        care.Performer
	State              care.State
}

// DueRow is the stored due work of a routine with what a reader wants to see.
type DueRow struct {
	Routine Routine
	Zone    string
	Stored  care.Stored
	// Cautions are those of the species that live in the tank.
	Cautions []caution.Caution
}

// DueKey is a place in the order of due work.
type DueKey struct {
	Class      care.Class
	Latest     care.Day
	Tank       uuid.UUID
	Kind       care.WorkKind
	Routine    uuid.UUID
	NominalDue care.Day
	Ordinal    int
}

// DuePage asks for rows that may be open on a day, after a place in the order.
type DuePage struct {
	UpTo  care.Day
	After *DueKey // nil: from the beginning
	Limit int
}

// RecordFilter narrows a list of records; an empty field doesn't.
type RecordFilter struct {
	Tank, Routine, Site uuid.UUID
	From, To            *care.Day
}

// ReadingFilter narrows a list of a tank's readings.
type ReadingFilter struct {
	Tank      uuid.UUID
	Parameter string
	From, To  *time.Time
}

// Reads is what work reads outside of transactions; each method is one bound
// round trip.
type Reads interface {
	// DueRows gives stored due work in order.
	DueRows(ctx context.Context, s tx.Scope, f DueFilter, p DuePage) ([]DueRow, int64, error)
	// Plans gives histories for reading: of the named routines, or of all that
	// fit the filter; all says whether records before the last closing count too.
	Plans(ctx context.Context, s tx.Scope, ids []uuid.UUID, f DueFilter, all bool) ([]Plan, int64, error)
	// Routine gives one routine; Routines lists them by id.
	Routine(ctx context.Context, s tx.Scope, id uuid.UUID) (Routine, error)
	Routines(ctx context.Context, s tx.Scope, f RoutineFilter, p resource.Paging) (resource.Page[Routine], error)
	// Revisions lists what a routine said, the oldest first.
	Revisions(ctx context.Context, s tx.Scope, routine uuid.UUID) ([]RevisionView, int64, error)
	// Kit gives a tank with what a ready set is fitted to.
	Kit(ctx context.Context, s tx.Scope, tank uuid.UUID) (Kit, error)
	// Pause gives one pause; ListPauses lists them by id.
	Pause(ctx context.Context, s tx.Scope, id uuid.UUID) (Pause, error)
	ListPauses(ctx context.Context, s tx.Scope, tank, routine uuid.UUID, p resource.Paging) (resource.Page[Pause], error)
	// ListParameters gives the catalogue of what can be measured, by code.
	ListParameters(ctx context.Context, s tx.Scope) ([]Parameter, int64, error)
	// Records lists records, the newest day first.
	Records(ctx context.Context, s tx.Scope, f RecordFilter, p resource.Paging) (resource.Page[Record], error)
	// Record gives one record.
	Record(ctx context.Context, s tx.Scope, id uuid.UUID) (Record, error)
	// Readings lists readings of a tank, the newest first.
	Readings(ctx context.Context, s tx.Scope, f ReadingFilter, p resource.Paging) (resource.Page[Reading], error)
	// Stored gives what is stored of all routines, and which record closes which
	// item, to be compared with a fold.
	Stored(ctx context.Context, s tx.Scope) (map[uuid.UUID]care.Stored, map[uuid.UUID][]care.Close, error)
}

// RoutineFilter narrows a list of routines; an empty field doesn't.
type RoutineFilter struct {
	Tank, Site  uuid.UUID
	WorkKind    care.WorkKind
	PerformedBy care.Performer
}

// RevisionView is a revision with who entered it.
type RevisionView struct {
	care.Revision
	Actor     uuid.UUID
	RampLight uuid.UUID
}
