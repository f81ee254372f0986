package access

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
)

// Absence is days, both included, on which a member does not work.
type Absence struct {
	From, To care.Day
	Reason   string
}

// Vehicle says what a member's vehicle can carry; nil is unknown.
type Vehicle struct {
	Name        string
	PayloadKG   *float64
	SaltWaterL  *float64
	FreshWaterL *float64
}

// MemberFields is what is known of a member.
type MemberFields struct {
	Name          string
	Email         string
	Phone         string
	Role          tx.Role
	TimeZone      string
	StartPosition *fleet.Point
	EndPosition   *fleet.Point
	Shifts        []fleet.Window
	Absences      []Absence
	Skills        []string
	Vehicle       *Vehicle
}

// Member is a person or a program in an organisation.
type Member = resource.Row[MemberFields]

// MemberFilter narrows a list of members; an empty field doesn't.
type MemberFilter struct{ Role tx.Role }

// What no real member exceeds.
const (
	mostShifts     = 28 // four spans a weekday
	mostAbsences   = 366
	mostSkills     = 50
	longestAbsence = 3 * 366 // days
	heaviestLoad   = 50_000  // kg or L
)

// Validate says what is wrong with the fields.
func (f MemberFields) Validate() error {
	var c fleet.Checks
	c.Text("/name", f.Name, 200, true)
	c.Text("/email", f.Email, 320, false)
	c.Text("/phone", f.Phone, 50, false)
	switch f.Role {
	case tx.Owner, tx.Coordinator, tx.TechnicianR, tx.Viewer, tx.Integration:
	default:
		c.Add("/role", "must be owner, coordinator, technician, viewer or integration")
	}
	c.Zone("/time_zone", f.TimeZone)
	if f.StartPosition != nil {
		c.Point("/start_position", *f.StartPosition)
	}
	if f.EndPosition != nil {
		c.Point("/end_position", *f.EndPosition)
	}
	checkShifts(&c, f.Shifts)
	checkAbsences(&c, f.Absences)
	checkSkills(&c, f.Skills)
	checkVehicle(&c, f.Vehicle)
	return c.Err()
}

func checkShifts(c *fleet.Checks, shifts []fleet.Window) {
	if len(shifts) > mostShifts {
		c.Add("/shifts", "may hold at most %d spans", mostShifts)
		return
	}
	c.Windows("/shifts", shifts)
	for i, w := range shifts {
		for _, earlier := range shifts[:i] {
			if w.Weekday == earlier.Weekday && w.From < earlier.To && earlier.From < w.To {
				c.Add(fmt.Sprintf("/shifts/%d", i), "overlaps another span of the same weekday; make one span of both")
				break
			}
		}
	}
}

func checkAbsences(c *fleet.Checks, absences []Absence) {
	if len(absences) > mostAbsences {
		c.Add("/absences", "may hold at most %d; leave out those that are over", mostAbsences)
		return
	}
	for i, a := range absences {
		at := fmt.Sprintf("/absences/%d", i)
		c.Text(at+"/reason", a.Reason, 200, false)
		switch {
		case a.To < a.From:
			c.Add(at+"/to", "must not be before from (%s)", a.From)
		case int64(a.To)-int64(a.From) >= longestAbsence:
			c.Add(at+"/to", "an absence lasts at most %d days; archive a member who has left", longestAbsence)
		}
	}
}

func checkSkills(c *fleet.Checks, skills []string) {
	if len(skills) > mostSkills {
		c.Add("/skills", "may hold at most %d", mostSkills)
		return
	}
	for i, skill := range skills {
		at := fmt.Sprintf("/skills/%d", i)
		c.Text(at, skill, 60, true)
		if slices.Contains(skills[:i], skill) {
			c.Add(at, "stands twice; give each skill once")
		}
	}
}

func checkVehicle(c *fleet.Checks, v *Vehicle) {
	if v == nil {
		return
	}
	c.Text("/vehicle/name", v.Name, 100, false)
	for _, load := range []struct {
		pointer string
		v       *float64
	}{{"payload_kg", v.PayloadKG}, {"salt_water_l", v.SaltWaterL}, {"fresh_water_l", v.FreshWaterL}} {
		if load.v != nil && !(*load.v >= 0 && *load.v <= heaviestLoad) {
			c.Add("/vehicle/"+load.pointer, "must be between 0 and %d", heaviestLoad)
		}
	}
}

// plain gives the fields with one spelling of "none", so that the same content
// has the same hash and no difference.
func (f MemberFields) plain() MemberFields {
	if len(f.Shifts) == 0 {
		f.Shifts = nil
	}
	if len(f.Absences) == 0 {
		f.Absences = nil
	}
	if len(f.Skills) == 0 {
		f.Skills = nil
	}
	return f
}

// CreateMember adds a member. Only an owner may add an owner; Forbidden
// otherwise. The same id with the same content is the same request.
func (s *Service) CreateMember(ctx context.Context, c tx.Call[resource.Created[MemberFields]], id uuid.UUID, f MemberFields) (tx.Outcome[resource.Created[MemberFields]], error) {
	if err := f.Validate(); err != nil {
		return tx.Outcome[resource.Created[MemberFields]]{}, err
	}
	return s.members(c.Scope).Create(ctx, c, id, f.plain())
}

// PatchMember changes a member. Only an owner may change an owner or make one;
// Forbidden otherwise. The last owner stays one: Conflict.
func (s *Service) PatchMember(ctx context.Context, c tx.Call[Member], id uuid.UUID, match resource.IfMatch, change func(MemberFields) (MemberFields, error)) (tx.Outcome[Member], error) {
	out, err := s.members(c.Scope).Patch(ctx, c, id, match, func(old MemberFields) (MemberFields, error) {
		f, err := change(old)
		if err != nil {
			return f, err
		}
		if err := f.Validate(); err != nil {
			return f, err
		}
		return f.plain(), nil
	})
	if err == nil {
		s.ForgetKeys(c.Scope.Org) // the role is known with them
	}
	return out, err
}

// ArchiveMember takes a member out of use and revokes its keys. Only an owner
// may archive an owner; Forbidden otherwise. The last owner stays: Conflict.
func (s *Service) ArchiveMember(ctx context.Context, c tx.Call[Member], id uuid.UUID, match resource.IfMatch) (tx.Outcome[Member], error) {
	out, err := s.members(c.Scope).Archive(ctx, c, id, match)
	if err == nil {
		s.ForgetKeys(c.Scope.Org)
	}
	return out, err
}

// members describes members to the resource mechanism, for one caller.
func (s *Service) members(caller tx.Scope) resource.Kind[Tx, MemberFields] {
	return resource.Kind[Tx, MemberFields]{
		Name:  "member",
		Run:   s.Run,
		Store: func(t Tx) resource.Store[MemberFields] { return t.Members() },
		Prepare: func(ctx context.Context, t Tx, old *Member, f MemberFields, _ time.Time) (MemberFields, error) {
			if old == nil {
				return f, mayGive(caller, "", f.Role)
			}
			if err := mayGive(caller, old.Fields.Role, f.Role); err != nil {
				return f, err
			}
			if old.Fields.Role == tx.Owner && f.Role != tx.Owner {
				return f, keepAnOwner(ctx, t, old.ID)
			}
			return f, nil
		},
		MayArchive: func(ctx context.Context, t Tx, m Member) error {
			if m.Fields.Role != tx.Owner {
				return nil
			}
			if err := mayGive(caller, tx.Owner, ""); err != nil {
				return err
			}
			return keepAnOwner(ctx, t, m.ID)
		},
		Follow: func(ctx context.Context, t Tx, old *Member, saved Member, now time.Time) (tx.Trail, error) {
			if old == nil || saved.ArchivedAt == nil {
				return tx.Trail{}, nil
			}
			revoked, err := t.RevokeKeysOf(ctx, saved.ID, now)
			var trail tx.Trail
			for _, id := range revoked {
				trail.Add(tx.Did(tx.Change{Resource: keyName, Action: "archived", ID: id}))
			}
			return trail, err
		},
	}
}

// mayGive says whether a caller may turn a member of one role into one of
// another; the empty role stands for no member.
func mayGive(caller tx.Scope, from, to tx.Role) error {
	if caller.Role != tx.Owner && (from == tx.Owner || to == tx.Owner) {
		return fault.Denied("Only an owner may add, change or archive an owner.")
	}
	if from != to && caller.Role != tx.Owner && caller.Role != tx.Coordinator {
		return fault.Denied("Only an owner or a coordinator may give a role.")
	}
	return nil
}

// keepAnOwner refuses to lose the last owner. The organisation's lock makes two
// owners who step down at once do it one after the other.
func keepAnOwner(ctx context.Context, t Tx, leaving uuid.UUID) error {
	if _, err := t.LoadOrganisation(ctx); err != nil {
		return err
	}
	others, err := t.OtherOwners(ctx, leaving)
	if err != nil {
		return err
	}
	if others == 0 {
		return fault.ConflictField("/role", "this is the organisation's last owner; make another member owner first")
	}
	return nil
}
