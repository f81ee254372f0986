package care_test

import (
	"encoding/binary"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"tankward/service/care"
)

// mustDay reads a date; without a year it lies in 2026.
func mustDay(text string) care.Day {
	if len(text) == len("03-09") {
		text = "2026-" + text
	}
	day, err := care.ParseDay(text)
	if err != nil {
		panic(err)
	}
	return day
}

// exampleID numbers the records of an example in the order of its lines.
func exampleID(n int) uuid.UUID {
	var id uuid.UUID
	id[0] = 1
	binary.BigEndian.PutUint32(id[12:], uint32(n))
	return id
}

// exampleRecords reads lines such as "03-09 partly 50" or "03-10 skipped with_joined".
func exampleRecords(lines ...string) []care.Record {
	var records []care.Record
	for i, line := range lines {
		words := strings.Fields(line)
		rec := care.Record{ID: exampleID(i), DoneOn: mustDay(words[0]), Result: care.Result(words[1])}
		for _, word := range words[2:] {
			switch {
			case word == "with_joined":
				rec.WithJoined = true
			case rec.Result == care.Partly:
				_, _ = fmt.Sscan(word, &rec.Share)
			default:
				_, _ = fmt.Sscan(word, &rec.Level)
			}
		}
		records = append(records, rec)
	}
	return records
}

// renderItems writes what is open as "nominal earliest due latest state [late since]".
func renderItems(items []care.Item) string {
	if len(items) == 0 {
		return "nothing"
	}
	var lines []string
	for _, i := range items {
		line := fmt.Sprintf("%v %v %v %v %s", i.NominalDue, i.Earliest, i.Due, i.Latest, i.State)
		if i.Ordinal != 0 {
			line = fmt.Sprintf("#%d ", i.Ordinal) + line
		}
		if i.LateSince != 0 {
			line += " since " + i.LateSince.String()
		}
		if i.DonePercent != 0 {
			line += fmt.Sprintf(" %d%% done", i.DonePercent)
		}
		if i.NoAccessCount != 0 {
			line += fmt.Sprintf(" no access %d", i.NoAccessCount)
		}
		if i.Level != 0 {
			line += fmt.Sprintf(" level %.4f", i.Level)
		}
		lines = append(lines, line)
	}
	return strings.Join(lines, "; ")
}

// example is a case worked by hand: lines of a day and what is open at its end,
// dates of 2026 without the year.
type example struct {
	name    string
	routine *refRoutine
	want    []string
}

func single(c care.Cadence, early, late int, first string, records ...string) *refRoutine {
	rule := ""
	if c.Kind == care.Calendar {
		rule = "FREQ=WEEKLY;BYDAY=MO"
	}
	return &refRoutine{
		History: care.History{
			Routine: care.Routine{
				Kind: care.WaterChange, Class: care.WaterQuality, CatchUp: care.Merge,
				FirstDay: mustDay(first), LastDay: care.MaxDay,
			},
			Revisions: []care.Revision{{
				From: mustDay(first), Performer: care.Technician, Cadence: c, DaysEarly: early, DaysLate: late,
			}},
			Records: exampleRecords(records...),
		},
		rules: []string{rule},
	}
}

func everyDays(n, early, late int, first string, records ...string) *refRoutine {
	return single(care.Cadence{Kind: care.Interval, Every: n, Unit: care.Days}, early, late, first, records...)
}

func mondays(early, late int, first string, records ...string) *refRoutine {
	return single(care.Cadence{Kind: care.Calendar}, early, late, first, records...)
}

func (r *refRoutine) closed(from, to, entered string) *refRoutine {
	r.Access.Closures = append(r.Access.Closures, care.Closure{
		Span: care.Span{From: mustDay(from), To: mustDay(to) + 1}, Entered: mustDay(entered),
	})
	return r
}

func (r *refRoutine) pausedIn(from, to string) *refRoutine {
	r.Pauses = append(r.Pauses, care.Span{From: mustDay(from), To: mustDay(to)})
	return r
}

// sock follows a parent in the same visit, one day late allowed.
func sock(parent *refRoutine, records ...string) *refRoutine {
	gap := care.Gap{Unit: care.Minutes, Least: 0, Greatest: 60}
	r := single(care.Cadence{Kind: care.Joined, Gap: gap}, 0, 1, "03-02", records...)
	r.parent = parent
	return r
}

func with(r *refRoutine, change func(*refRoutine)) *refRoutine {
	change(r)
	return r
}

func checkExamples(t *testing.T, examples []example) {
	t.Helper()
	for _, ex := range examples {
		t.Run(ex.name, func(t *testing.T) {
			t.Parallel()
			answers := reference(ex.routine, mustDay("2027-04-30"))
			for _, line := range ex.want {
				day, want, _ := strings.Cut(line, " ")
				got := renderItems(answers.on(mustDay(day)))
				short := strings.ReplaceAll(got, "2026-", "")
				if diff := cmp.Diff(want, short); diff != "" {
					t.Errorf("%s (-want +got):\n%s", day, diff)
				}
			}
		})
	}
}

func TestReferenceExamples(t *testing.T) {
	t.Parallel()
	checkExamples(t, []example{
		{"interval done early", everyDays(7, 2, 3, "03-02", "03-02 done", "03-07 done"), []string{
			"03-02 nothing", "03-06 nothing", "03-07 nothing", "03-11 nothing",
			"03-12 03-14 03-12 03-14 03-17 early", "03-14 03-14 03-12 03-14 03-17 due",
		}},
		{"interval done late", everyDays(7, 2, 3, "03-02", "03-02 done", "03-14 done"), []string{
			"03-12 03-09 03-07 03-09 03-12 due", "03-13 03-09 03-07 03-09 03-12 overdue since 03-13",
			"03-14 nothing", "03-19 03-21 03-19 03-21 03-24 early",
		}},
		{"second record of a closed item", everyDays(7, 2, 3, "03-02", "03-02 done", "03-09 done", "03-10 done"), []string{
			"03-09 nothing", "03-10 nothing", "03-14 nothing", "03-15 03-17 03-15 03-17 03-20 early",
		}},
		{"record arrives two days late", everyDays(7, 2, 3, "03-02", "03-10 done", "03-02 done", "03-09 done"), []string{
			"03-09 nothing", "03-10 nothing", "03-14 nothing", "03-15 03-17 03-15 03-17 03-20 early",
		}},
		{"weekly calendar done late", mondays(2, 3, "02-28", "03-06 done"), []string{
			"02-28 03-02 02-28 03-02 03-05 early", "03-05 03-02 02-28 03-02 03-05 due", "03-06 nothing",
			"03-07 03-09 03-07 03-09 03-12 early",
		}},
		{"weekly calendar merge", mondays(2, 3, "02-28", "03-10 done"), []string{
			"03-06 03-02 02-28 03-02 03-05 overdue since 03-06", "03-07 03-09 03-07 03-09 03-12 overdue since 03-06",
			"03-10 nothing", "03-14 03-16 03-14 03-16 03-19 early",
		}},
		{"void of a closing record with an extra present", everyDays(7, 2, 3, "03-02", "03-02 done", "03-10 done"), []string{
			"03-09 03-09 03-07 03-09 03-12 due", "03-10 nothing", "03-15 03-17 03-15 03-17 03-20 early",
		}},
		{"void of the only record", everyDays(7, 2, 3, "03-02", "03-02 done"), []string{
			"03-12 03-09 03-07 03-09 03-12 due", "03-13 03-09 03-07 03-09 03-12 overdue since 03-13",
		}},
		{"partly twice", everyDays(7, 2, 3, "03-02", "03-02 done", "03-09 partly 50", "03-11 partly 50"), []string{
			"03-09 03-09 03-07 03-09 03-12 due 50% done", "03-11 nothing", "03-16 03-18 03-16 03-18 03-21 early",
		}},
		{"no access", everyDays(7, 2, 3, "03-02", "03-02 done", "03-09 no_access", "03-14 done"), []string{
			"03-09 03-09 03-07 03-09 03-12 due no access 1",
			"03-13 03-09 03-07 03-09 03-12 overdue since 03-13 no access 1",
			"03-14 nothing", "03-19 03-21 03-19 03-21 03-24 early",
		}},
		{"month end", with(everyDays(1, 0, 5, "01-31", "01-31 done", "02-28 done", "03-31 done"), func(r *refRoutine) {
			r.Revisions[0].Cadence.Unit = care.Months
		}), []string{
			"01-31 nothing", "02-27 nothing", "02-28 nothing", "03-28 03-28 03-28 03-28 04-02 due",
			"03-31 nothing", "04-29 nothing", "04-30 04-30 04-30 04-30 05-05 due",
		}},
		{"calendar details", with(mondays(0, 3, "03-04", "03-09 done", "03-16 done"), func(r *refRoutine) {
			r.rules[0] = "FREQ=WEEKLY;BYDAY=MO;COUNT=3"
		}), []string{
			"03-04 nothing", "03-09 nothing", "03-16 nothing", "03-23 03-23 03-23 03-23 03-26 due",
			"03-30 03-23 03-23 03-23 03-26 overdue since 03-27",
		}},
	})
}

func TestReferenceExamplesOfShutDays(t *testing.T) {
	t.Parallel()
	weekly := func() *refRoutine { return everyDays(7, 2, 3, "03-02", "03-02 done") }
	checkExamples(t, []example{
		{"closure inside the window", weekly().closed("03-09", "03-09", "03-03"), []string{
			"03-07 03-09 03-07 03-08 03-12 early", "03-08 03-09 03-07 03-08 03-12 due",
		}},
		{"closure entered today", weekly().closed("03-09", "03-09", "03-09"), []string{
			"03-09 03-09 03-07 03-10 03-12 early", "03-10 03-09 03-07 03-10 03-12 due",
		}},
		{"closure longer than the window", weekly().closed("03-07", "03-15", "03-03"), []string{
			"03-09 03-09 03-07 03-16 03-16 early", "03-16 03-09 03-07 03-16 03-16 due",
			"03-17 03-09 03-07 03-16 03-16 overdue since 03-17",
		}},
		{"weekdays without access", with(everyDays(13, 2, 3, "03-02", "03-02 done"), func(r *refRoutine) {
			r.Access.NoAccess, r.Access.NoAccessEntered = 1<<6|1<<7, mustDay("01-01")
		}), []string{
			"03-13 03-15 03-13 03-16 03-18 early", "03-16 03-15 03-13 03-16 03-18 due",
		}},
		{"pause of seven days", everyDays(7, 0, 3, "03-02", "03-02 done").pausedIn("03-08", "03-22"), []string{
			"03-09 nothing", "03-21 nothing", "03-22 03-22 03-22 03-22 03-25 due",
		}},
		{"pause of ninety days", everyDays(90, 0, 14, "01-05", "01-05 done").pausedIn("02-02", "03-02"), []string{
			"03-02 nothing", "04-04 nothing", "04-05 04-05 04-05 04-05 04-19 due",
		}},
		{"pause over an overdue item", everyDays(7, 0, 3, "03-02", "03-02 done").pausedIn("03-14", "03-20"), []string{
			"03-13 03-09 03-09 03-09 03-12 overdue since 03-13", "03-14 nothing", "03-20 03-20 03-20 03-20 03-23 due",
		}},
		{"pause of a weekly calendar", mondays(0, 3, "03-02", "03-02 done").pausedIn("03-09", "03-23"), []string{
			"03-09 nothing", "03-16 nothing", "03-23 03-23 03-23 03-23 03-26 due",
		}},
		{"inactive months", with(everyDays(30, 0, 7, "10-12", "10-12 done"), func(r *refRoutine) {
			for month := 4; month <= 10; month++ {
				r.Revisions[0].Months |= 1 << month
			}
		}), []string{
			"11-11 nothing", "2027-03-31 nothing", "2027-04-01 2027-04-01 2027-04-01 2027-04-01 2027-04-08 due",
		}},
	})
}

func TestReferenceExamplesOfJoinedWork(t *testing.T) {
	t.Parallel()
	visit := func(records ...string) *refRoutine {
		return mondays(1, 1, "03-02", append([]string{"03-02 done"}, records...)...)
	}
	checkExamples(t, []example{
		{"parent done alone", sock(visit("03-09 done"), "03-02 done", "03-12 done"), []string{
			"03-08 03-09 03-08 03-09 03-10 early", "03-09 03-09 03-08 03-09 03-10 due",
			"03-11 03-09 03-08 03-09 03-10 overdue since 03-11", "03-12 nothing",
		}},
		{"parent skipped", sock(visit("03-10 skipped"), "03-02 done"), []string{
			"03-10 03-09 03-08 03-10 03-11 due", "03-12 03-09 03-08 03-10 03-11 overdue since 03-12",
		}},
		{"parent skipped with its joined work", sock(visit("03-10 skipped with_joined"), "03-02 done"), []string{
			"03-10 nothing", "03-14 nothing", "03-15 03-16 03-15 03-16 03-17 early",
		}},
		{"joined work first", sock(visit("03-10 done"), "03-02 done", "03-08 done"), []string{
			"03-08 nothing", "03-10 nothing", "03-15 03-16 03-15 03-16 03-17 early",
		}},
		{"next occurrence of the parent opens meanwhile", sock(visit("03-09 done"), "03-02 done"), []string{
			"03-14 03-09 03-08 03-09 03-10 overdue since 03-11", "03-15 03-16 03-15 03-16 03-17 overdue since 03-11",
		}},
	})
}

func TestReferenceExampleOfARamp(t *testing.T) {
	t.Parallel()
	plan := care.RampPlan{From: 50, To: 100, Days: 28, StepDays: 7, Curve: care.Linear, GreatestRise: 12.5}
	ramp := single(care.Cadence{Kind: care.OnRamp, Ramp: &plan}, 0, 2, "03-02",
		"03-02 done 50", "03-12 done 62.5", "03-19 done 75", "03-31 done 87.5",
		"04-04 done 75", "04-11 done 87.5", "04-18 done 100")
	ramp.RampEvents = []care.RampEvent{
		{Day: mustDay("03-20"), Kind: care.Hold},
		{Day: mustDay("03-24"), Kind: care.Resume},
		{Day: mustDay("04-03"), Kind: care.StepBack},
	}
	if diff := cmp.Diff([]float64{50, 62.5, 75, 87.5, 100}, refLevels(plan)); diff != "" {
		t.Errorf("levels (-want +got):\n%s", diff)
	}
	checkExamples(t, []example{{"late step, hold, step back", ramp, []string{
		"03-02 nothing", "03-09 03-09 03-09 03-09 03-11 due level 62.5000", "03-12 nothing",
		"03-18 nothing", "03-19 nothing", "03-20 nothing", "03-26 nothing", "03-30 nothing", "03-31 nothing",
		"04-02 nothing", "04-03 04-03 04-03 04-03 04-05 due level 75.0000", "04-04 nothing", "04-10 nothing",
		"04-11 nothing", "04-18 nothing", "05-01 nothing",
	}}})
}
