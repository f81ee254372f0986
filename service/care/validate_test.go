package care

import (
	"strings"
	"testing"

	"github.com/google/uuid"
)

func TestValidate(t *testing.T) {
	t.Parallel()
	ramp := func(change func(*RampPlan)) func(*Routine, *Revision) {
		return func(_ *Routine, rev *Revision) {
			plan := RampPlan{From: 50, To: 100, Days: 28, StepDays: 7, Curve: Linear, GreatestRise: 12.5}
			change(&plan)
			rev.Cadence, rev.DaysEarly = Cadence{Kind: OnRamp, Ramp: &plan}, 0
		}
	}
	joined := func(gap Gap) func(*Routine, *Revision) {
		return func(_ *Routine, rev *Revision) {
			rev.Cadence, rev.DaysEarly, rev.DaysLate = Cadence{Kind: Joined, Parent: testID(7), Gap: gap}, 0, 0
		}
	}
	rev := func(change func(*Revision)) func(*Routine, *Revision) {
		return func(_ *Routine, r *Revision) { change(r) }
	}
	for _, c := range []struct {
		name    string
		change  func(*Routine, *Revision)
		pointer string // "" when all is well
	}{
		{"a water change every week", func(*Routine, *Revision) {}, ""},
		{"days early of a whole step", rev(func(r *Revision) { r.DaysEarly = 7 }), "/days_early"},
		{"days early within a month", rev(func(r *Revision) { r.Cadence, r.DaysEarly = every(1, Months), 27 }), ""},
		{"days early of the shortest month", rev(func(r *Revision) { r.Cadence, r.DaysEarly = every(1, Months), 28 }), "/days_early"},
		{"negative tolerance", rev(func(r *Revision) { r.DaysLate = -1 }), "/days_late"},
		{"interval of nothing", rev(func(r *Revision) { r.Cadence.Every = 0 }), "/cadence/every"},
		{"interval in minutes", rev(func(r *Revision) { r.Cadence.Unit = Minutes }), "/cadence/unit"},
		{"no performer", rev(func(r *Revision) { r.Performer = "" }), "/performed_by"},
		{"a thirteenth month", rev(func(r *Revision) { r.Months = 1 << 13 }), "/active_months"},
		{"unknown cadence", rev(func(r *Revision) { r.Cadence.Kind = "lunar" }), "/cadence/kind"},
		{"a reading, not available yet", rev(func(r *Revision) { r.Cadence.Kind = "reading" }), "/cadence/kind"},
		{"each, not available yet", func(r *Routine, _ *Revision) { r.CatchUp = Each }, "/catch_up"},
		{"feeding is never doubled", func(r *Routine, _ *Revision) { r.Kind, r.CatchUp = Feeding, Each }, "/catch_up"},
		{"the last day before the first", func(r *Routine, _ *Revision) { r.LastDay = r.FirstDay - 1 }, "/last_day"},
		{"a class that does not exist", func(r *Routine, _ *Revision) { r.Class = 5 }, "/consequence_class"},
		{"a calendar", rev(func(r *Revision) { r.Cadence = weeklyOn("FREQ=WEEKLY;BYDAY=MO") }), ""},
		{"a calendar without a rule", rev(func(r *Revision) { r.Cadence = Cadence{Kind: Calendar} }), "/cadence/rule"},
		{"a rule that never occurs", rev(func(r *Revision) { r.Cadence = weeklyOn("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30") }), "/cadence/rule"},
		{"a rule outside of the active months", rev(func(r *Revision) {
			r.Cadence, r.Months = weeklyOn("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=3"), 1<<4
		}), "/cadence/rule"},
		{"once", rev(func(r *Revision) { r.Cadence = Cadence{Kind: Once, On: d("03-05")} }), ""},
		{"once before the first day", rev(func(r *Revision) { r.Cadence = Cadence{Kind: Once, On: d("03-01")} }), "/cadence/on"},
		{"joined in the same visit", joined(Gap{Unit: Minutes, Least: 30, Greatest: 60}), ""},
		{"joined by days", joined(Gap{Unit: Days, Least: 1, Greatest: 2}), ""},
		{"joined to nothing", func(_ *Routine, r *Revision) {
			r.Cadence, r.DaysEarly = Cadence{Kind: Joined, Gap: Gap{Unit: Minutes}}, 0
		}, "/cadence/parent_id"},
		{"a gap that ends before it begins", joined(Gap{Unit: Minutes, Least: 30, Greatest: 20}), "/cadence/gap/greatest"},
		{"a gap in weeks", joined(Gap{Unit: Weeks}), "/cadence/gap/unit"},
		{"a ramp", ramp(func(*RampPlan) {}), ""},
		{"a ramp downwards", ramp(func(p *RampPlan) { p.To = 40 }), "/cadence/ramp/to_percent"},
		{"a ramp above full power", ramp(func(p *RampPlan) { p.To = 101 }), "/cadence/ramp/to_percent"},
		{"a geometric ramp from the dark", ramp(func(p *RampPlan) { p.From, p.Curve = 0, Geometric }), "/cadence/ramp/from_percent"},
		{"a ramp without steps", ramp(func(p *RampPlan) { p.StepDays = 0 }), "/cadence/ramp/step_days"},
		{"a ramp that may not rise", ramp(func(p *RampPlan) { p.GreatestRise = 0.01 }), "/cadence/ramp/greatest_rise_points"},
		{"a ramp of another shape", ramp(func(p *RampPlan) { p.Curve = "wavy" }), "/cadence/ramp/curve"},
		{"a ramp in some months", func(r *Routine, v *Revision) { ramp(func(*RampPlan) {})(r, v); v.Months = 2 }, "/active_months"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			h := week23()
			c.change(&h.Routine, &h.Revisions[0])
			wrong := Validate(h.Routine, h.Revisions[0])
			switch {
			case c.pointer == "" && len(wrong) > 0:
				t.Errorf("refused: %v", wrong)
			case c.pointer != "" && (len(wrong) != 1 || wrong[0].Pointer != c.pointer || wrong[0].Message == ""):
				t.Errorf("got %v, want one problem with %s", wrong, c.pointer)
			}
		})
	}
}

func TestValidateEdit(t *testing.T) {
	t.Parallel()
	interval := Revision{Cadence: every(7, Days)}
	calendar := Revision{Cadence: weeklyOn("FREQ=WEEKLY")}
	joined := Revision{Cadence: Cadence{Kind: Joined, Parent: testID(1), Gap: Gap{Unit: Minutes}}}
	other := Revision{Cadence: Cadence{Kind: Joined, Parent: testID(2), Gap: Gap{Unit: Minutes}}}
	for _, c := range []struct {
		name          string
		before, after Revision
		pointer       string
	}{
		{"interval to calendar", interval, calendar, ""},
		{"interval to joined", interval, joined, "/cadence/kind"},
		{"joined to another", joined, other, "/cadence/parent_id"},
		{"joined as before", joined, joined, ""},
	} {
		wrong := ValidateEdit(c.before, c.after)
		if c.pointer == "" && len(wrong) > 0 || c.pointer != "" && (len(wrong) != 1 || wrong[0].Pointer != c.pointer) {
			t.Errorf("%s: got %v, want %q", c.name, wrong, c.pointer)
		}
	}
}

func TestJoinProblem(t *testing.T) {
	t.Parallel()
	tank, other := testID(100), testID(101)
	a, b, c, far := testID(1), testID(2), testID(3), testID(4)
	links := map[uuid.UUID]Link{a: {Tank: tank}, b: {Tank: tank, Parent: a}, c: {Tank: tank, Parent: b}, far: {Tank: other}}
	for _, x := range []struct {
		name            string
		routine, parent uuid.UUID
		says            string // "" when all is well
	}{
		{"a new routine after the last of a chain", uuid.Nil, c, ""},
		{"to another parent of the chain", c, a, ""},
		{"to itself", a, a, "itself"},
		{"a loop through two others", a, c, "loop"},
		{"an unknown parent", a, testID(9), "in use"},
		{"a parent at another tank", a, far, "same tank"},
	} {
		switch got := JoinProblem(x.routine, tank, x.parent, links); {
		case x.says == "" && got != nil:
			t.Errorf("%s: refused: %v", x.name, got)
		case x.says != "" && (got == nil || got.Pointer != "/cadence/parent_id" || !strings.Contains(got.Message, x.says)):
			t.Errorf("%s: %v does not say %q", x.name, got, x.says)
		}
	}
}
