package work

import (
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"tankward/service/care"
)

func instant(day, clock string) time.Time {
	t, err := time.Parse("2006-01-02 15:04", day+" "+clock)
	if err != nil {
		panic(err)
	}
	return t
}

// The day of a record is the site's: five minutes of a phone's clock are
// allowed, more is the future.
func TestDayOfARecord(t *testing.T) {
	t.Parallel()
	auckland, err := time.LoadLocation("Pacific/Auckland")
	if err != nil {
		t.Fatal(err)
	}
	now := instant("2026-03-09", "10:58") // 23:58 in Auckland, daylight time
	soon, later := now.Add(4*time.Minute), now.Add(6*time.Minute)
	day := func(d int) *care.Day { v := care.Date(2026, time.March, d); return &v }
	for name, c := range map[string]struct {
		record NewRecord
		want   care.Day
		field  string
	}{
		"no day given":               {NewRecord{}, *day(9), ""},
		"a past day":                 {NewRecord{DoneOn: day(2)}, *day(2), ""},
		"the phone is past midnight": {NewRecord{DoneOn: day(10)}, *day(10), ""},
		"tomorrow":                   {NewRecord{DoneOn: day(11)}, 0, "/3/done_on"},
		"four minutes ahead":         {NewRecord{DoneAt: &soon}, *day(10), ""},
		"six minutes ahead":          {NewRecord{DoneAt: &later}, 0, "/3/done_at"},
	} {
		got, wrong := c.record.dayOf(auckland, now, "/3")
		if c.field != "" {
			if len(wrong) != 1 || wrong[0].Pointer != c.field {
				t.Errorf("%s: %v, want a complaint about %s", name, wrong, c.field)
			}
			continue
		}
		if len(wrong) > 0 || got != c.want {
			t.Errorf("%s: %s, %v; want %s", name, got, wrong, c.want)
		}
	}
}

// Whatever a record says, its complaints name fields below its own place.
func TestComplaintsNameTheirRecord(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		r := NewRecord{
			Result: rapid.SampledFrom([]care.Result{care.Done, care.Partly, care.Skipped, care.NoAccess}).Draw(t, "result"),
			Share:  rapid.IntRange(-5, 105).Draw(t, "share"),
			Reason: rapid.SampledFrom([]string{"", "closed"}).Draw(t, "reason"), WithJoined: rapid.Bool().Draw(t, "with joined"),
		}
		if rapid.Bool().Draw(t, "planned") {
			r.RoutineID = uuid.Max
		}
		for _, f := range r.validate("/7") {
			if len(f.Pointer) < 4 || f.Pointer[:3] != "/7/" || f.Message == "" {
				t.Fatalf("%+v: complaint %+v", r, f)
			}
		}
		fine := r.RoutineID != uuid.Nil && (r.Result == care.Partly) == (r.Share != 0) && (r.Share == 0 || r.Share >= 1 && r.Share <= 100) &&
			(r.Result != care.Skipped || r.Reason != "") && (r.Result == care.Skipped || !r.WithJoined)
		if wrong := r.validate(""); fine != (len(wrong) == 0) {
			t.Fatalf("%+v: fine %v, complaints %v", r, fine, wrong)
		}
	})
}
