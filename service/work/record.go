package work

import (
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/fleet"
)

// DoneBy says who did the work: a member, a keeper, a device or somebody else.
type DoneBy struct {
	Kind string
	ID   uuid.UUID // Nil when only a name is known
	Name string
}

// NewReading is a measured value as it comes with a record.
type NewReading struct {
	Parameter string
	Value     float64
	Unit      string // may be empty: the unit of the catalogue
	TakenAt   time.Time
	Method    string
}

// NewRecord is a record of work as somebody gives it.
type NewRecord struct {
	ID         uuid.UUID
	RoutineID  uuid.UUID // Nil: unplanned work
	TankID     uuid.UUID // unplanned work
	WorkKind   care.WorkKind
	Names      *care.Identity
	DoneOn     *care.Day
	DoneAt     *time.Time
	Result     care.Result
	Share      int
	Reason     string
	WithJoined bool
	NewDueOn   *care.Day
	Minutes    *int
	Amounts    []Material
	Level      *float64
	Readings   []NewReading
	Note       string
	DoneBy     *DoneBy
	VisitID    uuid.UUID
}

// Record is a stored record of work.
type Record struct {
	NewRecord
	SiteID     uuid.UUID
	ReceivedAt time.Time
	RecordedBy uuid.UUID
	Voided     *Void
}

// Void says when, by whom and why a record was taken out of the fold.
type Void struct {
	At     time.Time
	By     uuid.UUID
	Reason string
}

// Recorded is a record with what came of it.
type Recorded struct {
	Record
	New      bool // false when the same record was given before
	Counted  care.Counted
	ClosedBy uuid.UUID // the record that closed the item, if any
	Next     *DueItem  // what is due of the routine next
}

// validate says what is wrong with a record by itself; at is its place in the
// body, empty for a single one.
func (r NewRecord) validate(at string) []fault.Field {
	var c fleet.Checks
	if r.RoutineID == uuid.Nil && (r.TankID == uuid.Nil || r.WorkKind == "") {
		c.Add(at+"/routine_id", "is needed; for unplanned work give tank_id and work_kind instead")
	}
	if r.RoutineID != uuid.Nil && (r.TankID != uuid.Nil || r.WorkKind != "") {
		c.Add(at+"/tank_id", "leave tank_id and work_kind out: the routine says both")
	}
	if r.RoutineID == uuid.Nil && (r.Names != nil || r.WithJoined || r.NewDueOn != nil || r.Level != nil) {
		c.Add(at+"/routine_id", "is needed for nominal_due, with_joined, new_due_on and level_percent")
	}
	if r.DoneOn != nil && r.DoneAt != nil {
		c.Add(at+"/done_on", "give either done_on (a day) or done_at (an instant), not both")
	}
	r.checkResult(&c, at)
	if r.Minutes != nil && (*r.Minutes < 0 || *r.Minutes > 24*60) {
		c.Add(at+"/minutes", "must be between 0 and 1440")
	}
	for i, m := range r.Amounts {
		m.check(&c, fmt.Sprintf("%s/amounts/%d", at, i))
	}
	c.Text(at+"/note", r.Note, 4000, false)
	if r.DoneBy != nil {
		c.Text(at+"/done_by/name", r.DoneBy.Name, 200, false)
		if r.DoneBy.Kind == "other" && r.DoneBy.Name == "" {
			c.Add(at+"/done_by/name", "is needed when somebody else did the work")
		}
	}
	return c.Fields
}

func (r NewRecord) checkResult(c *fleet.Checks, at string) {
	c.Text(at+"/reason", r.Reason, 500, false)
	if r.Result == care.Partly && (r.Share < 1 || r.Share > 100) {
		c.Add(at+"/share_percent", "is needed with partly: which part was done, 1 to 100 percent")
	}
	if r.Result != care.Partly && r.Share != 0 {
		c.Add(at+"/share_percent", "belongs to the result partly only; leave it out")
	}
	if r.Result == care.Skipped && strings.TrimSpace(r.Reason) == "" {
		c.Add(at+"/reason", "is needed with skipped: say why")
	}
	if r.Result != care.Skipped && (r.WithJoined || r.NewDueOn != nil) {
		c.Add(at+"/result", "with_joined and new_due_on belong to the result skipped only")
	}
	if r.Level != nil && r.Result != care.Done {
		c.Add(at+"/level_percent", "belongs to the result done only")
	}
}

// phoneClock is how far ahead a phone's clock may be.
const phoneClock = 5 * time.Minute

// dayOf gives the civil day at the site on which the work was done. It refuses
// work in the future.
func (r NewRecord) dayOf(zone *time.Location, now time.Time, at string) (care.Day, []fault.Field) {
	today := care.DayOf(now.Add(phoneClock).In(zone))
	switch {
	case r.DoneAt != nil:
		if r.DoneAt.After(now.Add(phoneClock)) {
			return 0, []fault.Field{{Pointer: at + "/done_at", Message: "lies in the future; record work when it is done"}}
		}
		return care.DayOf(r.DoneAt.In(zone)), nil
	case r.DoneOn != nil:
		if *r.DoneOn > today {
			return 0, []fault.Field{{Pointer: at + "/done_on", Message: fmt.Sprintf("lies in the future: at the site it is %s", today)}}
		}
		return *r.DoneOn, nil
	}
	return care.DayOf(now.In(zone)), nil
}

// Parameter is one entry of the catalogue of what can be measured.
type Parameter struct {
	Code, Name, Unit string
	Low, High        float64
}

// Reading is a stored measured value.
type Reading struct {
	ID        uuid.UUID
	TankID    uuid.UUID
	Parameter string
	Value     float64
	Unit      string
	TakenAt   time.Time
	Method    string
	RecordID  uuid.UUID
}
