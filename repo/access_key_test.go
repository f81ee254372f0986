package repo

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"tankward/service/access"
	"tankward/service/care"
	"tankward/service/fleet"
	"tankward/service/tx"
)

func TestMemberRoundTrip(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for name, change := range map[string]func(*access.MemberFields){
		"least": func(*access.MemberFields) {},
		"all": func(f *access.MemberFields) {
			f.Email, f.Phone = "tove@example.org", "+351 900 000 003"
			f.StartPosition, f.EndPosition = &fleet.Point{Lat: 38.7, Lon: -9.1}, &fleet.Point{Lat: -38.7, Lon: 9.1}
			f.Shifts = []fleet.Window{{Weekday: 1, From: 480, To: 720}, {Weekday: 1, From: 780, To: 1020}}
			f.Absences = []access.Absence{{From: care.Date(2026, 3, 9), To: care.Date(2026, 3, 13), Reason: "course"}}
			f.Skills = []string{"chiller", "anemones"}
			f.Vehicle = &access.Vehicle{Name: "blue van", PayloadKG: new(700.0), FreshWaterL: new(0.0)}
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			want := addMember(t, w, w.a.Scope, change)
			got, err := w.db.Member(t.Context(), w.a.Scope, want.ID)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("read back (-want +got):\n%s", diff)
			}
		})
	}
}

func TestFirstKeyOpensItsOrganisation(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	got, err := accessOn(w.db).Authenticate(t.Context(), w.b.first.Secret)
	if err != nil {
		t.Fatal(err)
	}
	want := access.Caller{
		Scope: tx.Scope{Org: w.b.Org, Actor: w.b.Actor, Role: tx.Owner}, Key: w.b.first.Key.ID,
		Name: "Owner of Birch", TimeZone: "Europe/Lisbon",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("caller (-want +got):\n%s", diff)
	}
}
