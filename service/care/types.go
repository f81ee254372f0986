package care

import "github.com/google/uuid"

// WorkKind names the sort of work a routine makes due.
type WorkKind string

// The work kinds of the trade.
const (
	Feeding          WorkKind = "feeding"
	TargetFeeding    WorkKind = "target_feeding"
	WaterChange      WorkKind = "water_change"
	FilterSockChange WorkKind = "filter_sock_change"
	WaterTest        WorkKind = "water_test"
	TopOff           WorkKind = "top_off"
	Dosing           WorkKind = "dosing"
	GlassCleaning    WorkKind = "glass_cleaning"
	LightStep        WorkKind = "light_step"
	EquipmentService WorkKind = "equipment_service"
	Arrival          WorkKind = "arrival"
	Inspection       WorkKind = "inspection"
	OtherWork        WorkKind = "other"
)

// Class says what is at stake when work is late; a lower value comes first.
type Class int8

// The consequence classes, the gravest first.
const (
	LifeSupport Class = iota + 1
	AnimalWelfare
	WaterQuality
	Upkeep
)

// Performer says who does the work.
type Performer string

// The performers. Only technician work enters a round.
const (
	Technician Performer = "technician"
	Keeper     Performer = "keeper"
	Shop       Performer = "shop"
	Device     Performer = "device"
)

// CadenceKind names how a routine makes work due.
type CadenceKind string

// The cadence kinds.
const (
	Interval CadenceKind = "interval"
	Calendar CadenceKind = "calendar"
	Once     CadenceKind = "once"
	Joined   CadenceKind = "joined"
	OnRamp   CadenceKind = "ramp"
)

// Unit is the step of an interval or a gap.
type Unit string

// The units.
const (
	Minutes Unit = "minute"
	Days    Unit = "day"
	Weeks   Unit = "week"
	Months  Unit = "month"
)

// Cadence is the rule by which work becomes due again and again. Only the
// fields of its Kind are set.
type Cadence struct {
	Kind CadenceKind

	Every int  // interval: so many units after the work was last done
	Unit  Unit // interval: Days, Weeks or Months

	Rule *Rule // calendar

	On Day // once

	Parent uuid.UUID // joined: the routine it follows
	Gap    Gap       // joined

	Ramp *RampPlan // ramp
}

// Gap is the distance a joined routine keeps from its parent.
type Gap struct {
	Unit            Unit // Minutes: in the same visit; Days
	Least, Greatest int
}

// MonthSet holds active months as bits 1 to 12; zero means all months.
type MonthSet uint16

// Revision is what a routine says from a day on. A later revision never
// changes what was due before its day.
type Revision struct {
	From                Day // the day on which it was entered
	Performer           Performer
	Cadence             Cadence
	DaysEarly, DaysLate int
	Months              MonthSet
}

// CatchUp says what happens to occurrences of a calendar that nobody did.
type CatchUp string

// The catch-up rules. Each comes with a later change of the engine.
const (
	Merge CatchUp = "merge"
	Each  CatchUp = "each"
)

// Routine is what never changes with a revision.
type Routine struct {
	ID       uuid.UUID
	Kind     WorkKind
	Class    Class
	CatchUp  CatchUp
	FirstDay Day
	LastDay  Day // MaxDay when it has none
}

// Result says how a piece of work ended.
type Result string

// The results of a record.
const (
	Done     Result = "done"
	Partly   Result = "partly"
	Skipped  Result = "skipped"
	NoAccess Result = "no_access"
)

// Identity names an item of a routine: the date its cadence gives before a
// closure moves it, and an ordinal for a second item of that date.
type Identity struct {
	NominalDue Day
	Ordinal    int
}

// Record is what the fold needs of a work record that is not void.
type Record struct {
	ID         uuid.UUID
	DoneOn     Day // civil day at the site, fixed when it was recorded
	Result     Result
	Share      int       // Partly: whole percent
	Names      *Identity // the item it names, or nil
	WithJoined bool      // Skipped: the joined work is skipped too
	NewDueOn   Day       // Skipped life support: the next nominal due; zero when not given
	Level      float64   // ramp: percent of full power that was set
}

// Span is a run of days [From, To); To is MaxDay while it is open.
type Span struct{ From, To Day }

// Closure keeps a site shut on the days [From, To).
type Closure struct {
	Span
	Entered Day // the day on which it was entered
}

// Access holds all that can move a routine's work to another day.
type Access struct {
	Closures []Closure
	// NoAccess holds weekdays without access as bits 1 (Monday) to 7 (Sunday);
	// it was entered on NoAccessEntered.
	NoAccess        uint8
	NoAccessEntered Day
}

// Curve is the shape of a light ramp.
type Curve string

// The curves.
const (
	Linear    Curve = "linear"
	Geometric Curve = "geometric"
)

// RampPlan raises a light from one level to another in steps; levels are
// percent of full power.
type RampPlan struct {
	From, To     float64
	Days         int
	StepDays     int
	Curve        Curve
	GreatestRise float64 // percentage points a step
}

// RampEventKind names a change of a ramp's course.
type RampEventKind string

// The ramp events.
const (
	Hold     RampEventKind = "hold"
	Resume   RampEventKind = "resume"
	StepBack RampEventKind = "step_back"
)

// RampEvent holds, resumes or steps back a ramp from a day on. Events of one
// day count in their order in the slice.
type RampEvent struct {
	Day  Day
	Kind RampEventKind
}

// History is all that decides what is due of one routine: the fold's input.
type History struct {
	Routine    Routine
	Revisions  []Revision // by From, at least one
	Records    []Record   // not void; any order
	Access     Access
	Pauses     []Span
	RampEvents []RampEvent
	Parent     *History // joined: the parent's own history, recursively
	// Seed replaces the records before it: see Seed.
	Seed *Seed
}

// Seed is where a fold may start instead of at the first day: right after the
// record that closed an item. Records at or before it in (DoneOn, ID) order are
// left out of History.Records. Folding from a seed gives the same later items
// as folding everything.
type Seed struct {
	DoneOn   Day
	RecordID uuid.UUID
	Closed   Identity
	Result   Result
	Level    float64
	NewDueOn Day // of the record: the next nominal due, zero when not given
	// Used are the closed items whose record is not later than this one and
	// whose nominal due lies on or after the lesser of DoneOn and that of Closed.
	Used []Identity
}

// State says where an item stands on a day.
type State string

// The states. Coming is an item whose window has not begun; Done, SkippedState, Missed and Paused appear in history only.
const (
	Early        State = "early"
	Due          State = "due"
	Overdue      State = "overdue"
	Waiting      State = "waiting"
	Blocked      State = "blocked"
	Coming       State = "coming"
	DoneState    State = "done"
	SkippedState State = "skipped"
	Missed       State = "missed"
	PausedState  State = "paused"
)

// Item is one piece of due work.
type Item struct {
	Identity
	Earliest, Due, Latest Day // moved by closures
	LateSince             Day // first day late of the oldest unfinished; zero when not late
	State                 State
	DonePercent           int
	NoAccessCount         int
	Level                 float64 // ramp: percent to set
	Facts                 []Fact
}

// FactKind names a fact.
type FactKind string

// Fact is one link of the chain that led to an item's dates. Only the fields
// that belong to its Kind are set; the sentence is rendered from them.
type Fact struct {
	Kind        FactKind
	Day, To     Day
	Every       int
	Unit        Unit
	Early, Late int
	Percent     float64
	Count       int
	Text        string // the rule of a calendar
	Routine     uuid.UUID
	Entered     Day
}

// Close says which record closed an item.
type Close struct {
	Identity
	RecordID uuid.UUID
	DoneOn   Day
	State    State // DoneState or SkippedState
}

// Counted says what a record counts for.
type Counted struct {
	RecordID uuid.UUID
	For      *Identity // nil: unknown item of a routine that had none yet
	Extra    bool
	ClosedBy uuid.UUID // the record that closed the item, when Extra
}

// Stored is what is kept per routine between commands: its oldest unclosed
// item with moved dates, and the first day on which that may no longer be all.
// It is never a function of today.
type Stored struct {
	Item Item // State is Waiting, Blocked or empty
	// None is true when no unclosed item will come unless a command changes
	// something.
	None bool
	// NextEarliest is the first day on which another item may be open or a
	// pause begins; MaxDay when there is none.
	NextEarliest Day
	// LateFrom is the day after Item.Latest; the item is overdue from it on.
	LateFrom Day
}

// Settled is the outcome of the fold that a command writes back.
type Settled struct {
	Stored  Stored
	Closes  []Close   // in order; from the seed on when there is one
	Counted []Counted // one per record of the history
}
