package care

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

func TestRampLevels(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name       string
		plan       RampPlan
		want       []float64
		days       int
		lengthened bool
	}{
		{ // common practice: 50 to 100 % over four weeks
			"four weeks", RampPlan{From: 50, To: 100, Days: 28, StepDays: 7, Curve: Linear, GreatestRise: 12.5},
			[]float64{50, 62.5, 75, 87.5, 100}, 28, false,
		},
		{ // two weeks ask for two rises of 25 points: four of 12.5 take twice as long
			"too steep, so it lengthens", RampPlan{From: 50, To: 100, Days: 14, StepDays: 7, Curve: Linear, GreatestRise: 12.5},
			[]float64{50, 62.5, 75, 87.5, 100}, 28, true,
		},
		{ // no greatest rise named: 12.5 points (common practice)
			"the greatest rise by default", RampPlan{From: 70, To: 100, Days: 14, StepDays: 7, Curve: Linear},
			[]float64{70, 80, 90, 100}, 21, true,
		},
		{ // ceil(10/3) = 4 rises
			"days that the step does not divide", RampPlan{From: 60, To: 80, Days: 10, StepDays: 3, Curve: Linear, GreatestRise: 12.5},
			[]float64{60, 65, 70, 75, 80}, 12, false,
		},
		{ // the same ratio each time, 2^(1/2); last rise 100-70.7 = 29.3 points
			"geometric", RampPlan{From: 50, To: 100, Days: 14, StepDays: 7, Curve: Geometric, GreatestRise: 30},
			[]float64{50, 70.71067811865476, 100}, 14, false,
		},
		{ // with 2 rises the last is 29.3 points, with 3 it is 20.6
			"geometric, lengthened by its last rise", RampPlan{From: 50, To: 100, Days: 14, StepDays: 7, Curve: Geometric, GreatestRise: 21},
			[]float64{50, 62.99605249474366, 79.37005259840998, 100}, 21, true,
		},
		{ // never fewer rises than the days ask for, however small they are
			"geometric, as many as the days ask for", RampPlan{From: 90, To: 100, Days: 28, StepDays: 7, Curve: Geometric, GreatestRise: 50},
			[]float64{90, 92.402109, 94.868330, 97.400375, 100}, 28, false,
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got := c.plan.WorkOut()
			if diff := cmp.Diff(c.want, got.Levels, cmpopts.EquateApprox(0, 1e-5)); diff != "" {
				t.Errorf("levels (-want +got):\n%s", diff)
			}
			if got.Days != c.days || got.Lengthened != c.lengthened {
				t.Errorf("%d days, lengthened %v; want %d, %v", got.Days, got.Lengthened, c.days, c.lengthened)
			}
			if greatest := c.plan.greatest(); got.GreatestRise > greatest+1e-9 {
				t.Errorf("a rise of %v points, at most %v allowed", got.GreatestRise, greatest)
			}
		})
	}
}

// A light that steps itself by 5 points a day from 10 % rises by half a day in
// the eyes of the animals.
func TestRampShowsTheRelativeRise(t *testing.T) {
	t.Parallel()
	got := RampPlan{From: 10, To: 30, Days: 4, StepDays: 1, Curve: Linear, GreatestRise: 5}.WorkOut()
	if math.Abs(got.DailyRise-50) > 1e-9 {
		t.Errorf("relative rise %v %% a day, want 50: from 10 to 15", got.DailyRise)
	}
}

func TestRampInTheCorners(t *testing.T) {
	t.Parallel()
	set := func(day string, level float64) Record { return Record{DoneOn: d(day), Result: Done, Level: level} }
	ramp := func(events []RampEvent, records ...Record) History {
		h := rampExample()
		h.Records, h.RampEvents = records, events
		for i := range h.Records {
			h.Records[i].ID = testID(i + 1)
		}
		return h
	}
	event := func(day string, kind RampEventKind) []RampEvent { return []RampEvent{{d(day), kind}} }
	for _, c := range []struct {
		name    string
		history History
		day     string
		want    string
	}{
		{"step 0 is due work", ramp(nil), "03-02", "03-02: 03-02 to 03-04, due 03-02, due, 50 %"},
		{"a skipped step postpones the same level", ramp(nil, set("03-02", 50), did("03-10", Skipped)), "03-17", "03-17: 03-17 to 03-19, due 03-17, due, 62.5 %"},
		{"a level set again counts", ramp(nil, set("03-02", 50), set("03-05", 50)), "03-12", "03-12: 03-12 to 03-14, due 03-12, due, 62.5 %"},
		{"off the plan the next is the lowest above", ramp(nil, set("03-02", 50), set("03-09", 70)), "03-16", "03-16: 03-16 to 03-18, due 03-16, due, 75 %"},
		{"off the plan, back to the planned one below", ramp(event("03-10", StepBack), set("03-02", 50), set("03-09", 70)), "03-10", "03-10: 03-10 to 03-12, due 03-10, due, 62.5 %"},
		{"a step back on the day of a step is a second item", ramp(event("03-09", StepBack), set("03-02", 50), set("03-09", 62.5)), "03-09", "2. of 03-09: 03-09 to 03-11, due 03-09, due, 50 %"},
		{"a step back is due even in a hold", ramp([]RampEvent{{d("03-10"), Hold}, {d("03-11"), StepBack}}, set("03-02", 50), set("03-09", 62.5)), "03-11", "03-11: 03-11 to 03-13, due 03-11, due, 50 %"},
		{"a step back is never skipped", ramp(event("03-10", StepBack), set("03-02", 50), set("03-09", 62.5), did("03-11", Skipped)), "03-11", "03-10: 03-10 to 03-12, due 03-10, due, 50 %"},
		{"a step back at step 0 is nothing", ramp(event("03-03", StepBack), set("03-02", 50)), "03-03", ""},
		{"held before step 0, due on resume", ramp([]RampEvent{{d("03-01"), Hold}, {d("03-06"), Resume}}), "03-06", "03-06: 03-06 to 03-08, due 03-06, due, 50 %"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got := ""
			for _, it := range OpenOn(c.history, d(c.day)) {
				got += line(it)
			}
			if got != c.want {
				t.Errorf("on %s %q, want %q", c.day, got, c.want)
			}
		})
	}
}

func TestRampOn(t *testing.T) {
	t.Parallel()
	h := rampExample()
	for day, want := range map[string]RampState{
		"03-01": {Step: -1},
		"03-02": {Step: 0, Level: 50, SetOn: d("03-02")},
		"03-21": {Step: 2, Level: 75, SetOn: d("03-19"), Held: true},
		"04-03": {Step: 3, Level: 87.5, SetOn: d("03-31"), SteppingBack: true},
		"04-04": {Step: 2, Level: 75, SetOn: d("04-04")},
		"05-01": {Step: 4, Level: 100, SetOn: d("04-18")},
	} {
		if got := RampOn(h, d(day)); got != want {
			t.Errorf("on %s %+v, want %+v", day, got, want)
		}
	}
}
