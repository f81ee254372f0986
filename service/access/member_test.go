package access

import (
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/tx"
)

func validMember() MemberFields {
	return MemberFields{
		Name: "Tove", Role: tx.TechnicianR, TimeZone: "Europe/Lisbon",
		Shifts:   []fleet.Window{{Weekday: 1, From: 480, To: 720}, {Weekday: 1, From: 720, To: 1020}, {Weekday: 7, From: 0, To: 1440}},
		Absences: []Absence{{From: 20000, To: 20000, Reason: "course"}},
		Skills:   []string{"chiller", "anemones"},
		Vehicle:  &Vehicle{Name: "blue van", PayloadKG: new(float64)},
	}
}

// pointers lists the fields an error names.
func pointers(err error) []string {
	var out []string
	if f := fault.As(err); f != nil {
		for _, field := range f.Fields {
			out = append(out, field.Pointer)
		}
	}
	return out
}

func TestMemberValidate(t *testing.T) {
	t.Parallel()
	point := func(lat, lon float64) *fleet.Point { return &fleet.Point{Lat: lat, Lon: lon} }
	number := func(v float64) *float64 { return &v }
	for name, c := range map[string]struct {
		change func(*MemberFields)
		want   []string
	}{
		"valid":          {func(*MemberFields) {}, nil},
		"least":          {func(f *MemberFields) { *f = MemberFields{Name: "a", Role: tx.Owner, TimeZone: "UTC"} }, nil},
		"nothing":        {func(f *MemberFields) { *f = MemberFields{} }, []string{"/name", "/role", "/time_zone"}},
		"blank name":     {func(f *MemberFields) { f.Name = " \t" }, []string{"/name"}},
		"NUL":            {func(f *MemberFields) { f.Email = "a\x00b" }, []string{"/email"}},
		"long phone":     {func(f *MemberFields) { f.Phone = strings.Repeat("1", 51) }, []string{"/phone"}},
		"no such role":   {func(f *MemberFields) { f.Role = "keeper" }, []string{"/role"}},
		"no such zone":   {func(f *MemberFields) { f.TimeZone = "Europe/Atlantis" }, []string{"/time_zone"}},
		"machine's zone": {func(f *MemberFields) { f.TimeZone = "Local" }, []string{"/time_zone"}},
		"start":          {func(f *MemberFields) { f.StartPosition = point(90.1, 0) }, []string{"/start_position/coordinates/1"}},
		"end":            {func(f *MemberFields) { f.EndPosition = point(0, math.NaN()) }, []string{"/end_position/coordinates/0"}},
		"poles":          {func(f *MemberFields) { f.StartPosition, f.EndPosition = point(-90, -180), point(90, 180) }, nil},
		"weekday":        {func(f *MemberFields) { f.Shifts[2].Weekday = 8 }, []string{"/shifts/2/weekday"}},
		"over midnight":  {func(f *MemberFields) { f.Shifts = []fleet.Window{{Weekday: 2, From: 1200, To: 300}} }, []string{"/shifts/0/to"}},
		"overlap":        {func(f *MemberFields) { f.Shifts[1].From = 719 }, []string{"/shifts/1"}},
		"many shifts":    {func(f *MemberFields) { f.Shifts = make([]fleet.Window, mostShifts+1) }, []string{"/shifts"}},
		"backwards":      {func(f *MemberFields) { f.Absences[0].To = 19999 }, []string{"/absences/0/to"}},
		"for good":       {func(f *MemberFields) { f.Absences[0].To = 20000 + longestAbsence }, []string{"/absences/0/to"}},
		"longest":        {func(f *MemberFields) { f.Absences[0].To = 20000 + longestAbsence - 1 }, nil},
		"ends of time":   {func(f *MemberFields) { f.Absences[0] = Absence{From: care.MinDay, To: care.MaxDay} }, []string{"/absences/0/to"}},
		"many absences":  {func(f *MemberFields) { f.Absences = make([]Absence, mostAbsences+1) }, []string{"/absences"}},
		"blank skill":    {func(f *MemberFields) { f.Skills = []string{"a", " "} }, []string{"/skills/1"}},
		"skill twice":    {func(f *MemberFields) { f.Skills = []string{"a", "b", "a"} }, []string{"/skills/2"}},
		"many skills":    {func(f *MemberFields) { f.Skills = make([]string, mostSkills+1) }, []string{"/skills"}},
		"negative load": {func(f *MemberFields) {
			f.Vehicle = &Vehicle{PayloadKG: number(-1), SaltWaterL: number(math.NaN()), FreshWaterL: number(1e9)}
		}, []string{"/vehicle/payload_kg", "/vehicle/salt_water_l", "/vehicle/fresh_water_l"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f := validMember()
			c.change(&f)
			err := f.Validate()
			if diff := cmp.Diff(c.want, pointers(err)); diff != "" {
				t.Errorf("fields named (-want +got):\n%s\n%v", diff, err)
			}
			if err != nil && !fault.Is(err, fault.Invalid) {
				t.Errorf("got %v, want Invalid", err)
			}
		})
	}
}

func TestKeyValidate(t *testing.T) {
	t.Parallel()
	if err := (KeyFields{MemberID: uuid.Max, Label: "phone"}).Validate(); err != nil {
		t.Error(err)
	}
	if diff := cmp.Diff([]string{"/label", "/member_id"}, pointers(KeyFields{}.Validate())); diff != "" {
		t.Errorf("fields named (-want +got):\n%s", diff)
	}
}

// Who may turn a member of one role into one of another.
func TestMayGive(t *testing.T) {
	t.Parallel()
	const none tx.Role = ""
	for _, c := range []struct {
		caller, from, to tx.Role
		may              bool
	}{
		{tx.Owner, none, tx.Owner, true},
		{tx.Owner, tx.Owner, tx.Viewer, true},
		{tx.Owner, tx.Owner, none, true},
		{tx.Coordinator, none, tx.TechnicianR, true},
		{tx.Coordinator, tx.Viewer, tx.Coordinator, true},
		{tx.Coordinator, none, tx.Owner, false},
		{tx.Coordinator, tx.TechnicianR, tx.Owner, false},
		{tx.Coordinator, tx.Owner, tx.Owner, false},
		{tx.Coordinator, tx.Owner, none, false},
		{tx.TechnicianR, tx.TechnicianR, tx.TechnicianR, true},
		{tx.TechnicianR, tx.TechnicianR, tx.Coordinator, false},
		{tx.Integration, none, tx.Integration, false},
		{none, none, tx.Viewer, false},
	} {
		err := mayGive(tx.Scope{Role: c.caller}, c.from, c.to)
		if (err == nil) != c.may || err != nil && !fault.Is(err, fault.Forbidden) {
			t.Errorf("%q turns %q into %q: %v", c.caller, c.from, c.to, err)
		}
	}
}

// Who may make and revoke the keys of a member.
func TestMayHold(t *testing.T) {
	t.Parallel()
	me, other := uuid.Must(uuid.NewV7()), uuid.Must(uuid.NewV7())
	for _, c := range []struct {
		caller tx.Role
		member uuid.UUID
		role   tx.Role
		may    bool
	}{
		{tx.Owner, other, tx.Owner, true},
		{tx.Coordinator, other, tx.Owner, false},
		{tx.Coordinator, other, tx.Coordinator, true},
		{tx.Coordinator, me, tx.Coordinator, true},
		{tx.TechnicianR, me, tx.TechnicianR, true},
		{tx.TechnicianR, other, tx.Viewer, false},
		{tx.Viewer, other, tx.Owner, false},
	} {
		err := mayHold(tx.Scope{Role: c.caller, Actor: me}, c.member, c.role)
		if (err == nil) != c.may || err != nil && !fault.Is(err, fault.Forbidden) {
			t.Errorf("%s and the key of another: %v; of %s: %v", c.caller, c.member == other, c.role, err)
		}
	}
}
