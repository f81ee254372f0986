package care

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

// example is one worked case: what is open at the end of each of the days.
// Days are of 2026 unless they name a year; 2 March 2026 is a Monday.
type example struct {
	name    string
	history History
	open    map[string]string // "" for nothing
}

func d(text string) Day {
	if len(text) == 5 {
		text = "2026-" + text
	}
	day, err := ParseDay(text)
	if err != nil {
		panic(err)
	}
	return day
}

func history(first string, c Cadence, early, late int, records ...Record) History {
	for i := range records {
		records[i].ID = testID(i + 1)
	}
	return History{
		Routine:   Routine{ID: testID(1000), Kind: WaterChange, Class: WaterQuality, CatchUp: Merge, FirstDay: d(first), LastDay: MaxDay},
		Revisions: []Revision{{From: d(first), Performer: Technician, Cadence: c, DaysEarly: early, DaysLate: late}},
		Records:   records,
	}
}

func every(n int, unit Unit) Cadence { return Cadence{Kind: Interval, Every: n, Unit: unit} }

func weeklyOn(rule string) Cadence {
	r, err := ParseRule(rule)
	if err != nil {
		panic(err)
	}
	return Cadence{Kind: Calendar, Rule: r}
}

func did(day string, r Result) Record { return Record{DoneOn: d(day), Result: r} }

func partly(day string, share int) Record {
	return Record{DoneOn: d(day), Result: Partly, Share: share}
}

func names(r Record, nominal string) Record {
	r.Names = &Identity{NominalDue: d(nominal)}
	return r
}

func skippedWithJoined(day string) Record {
	return Record{DoneOn: d(day), Result: Skipped, WithJoined: true}
}

// joinedTo makes a filter sock change that follows a weekly parent in the same
// visit, a day late allowed.
func joinedTo(parent History, records ...Record) History {
	h := history("03-02", Cadence{Kind: Joined, Parent: parent.Routine.ID, Gap: Gap{Unit: Minutes}}, 0, 1, records...)
	for i := range h.Records {
		h.Records[i].ID = testID(100 + i)
	}
	h.Routine.ID, h.Routine.Kind = testID(1001), FilterSockChange
	h.Parent = &parent
	return h
}

func mondays(records ...Record) History {
	return history("03-02", weeklyOn("FREQ=WEEKLY;BYDAY=MO"), 1, 1, records...)
}

func closedOn(h History, from, to, entered string) History {
	h.Access.Closures = append(h.Access.Closures, Closure{Span: Span{d(from), d(to) + 1}, Entered: d(entered)})
	return h
}

func pausedOn(h History, from, resume string) History {
	h.Pauses = append(h.Pauses, Span{d(from), d(resume)})
	return h
}

func week23(records ...Record) History { return history("03-02", every(7, Days), 2, 3, records...) }

// The cases of the worked examples, by hand: the same numbers, all but 7 (each)
// and 29 (forecast).
func TestWorkedExamples(t *testing.T) {
	t.Parallel()
	for _, ex := range append(ownCadences(), append(closuresAndJoined(), pausesAndRamps()...)...) {
		t.Run(ex.name, func(t *testing.T) {
			t.Parallel()
			for day, want := range ex.open {
				got := ""
				for _, it := range OpenOn(ex.history, d(day)) {
					got += line(it)
				}
				if diff := cmp.Diff(want, got); diff != "" {
					t.Errorf("open on %s (-want +got):\n%s", day, diff)
				}
			}
		})
	}
}

func ownCadences() []example {
	return []example{
		{"1 interval, done early", week23(did("03-02", Done), did("03-07", Done)), map[string]string{
			"03-01": "", "03-02": "", "03-06": "", "03-07": "", "03-11": "",
			"03-12": "03-14: 03-12 to 03-17, due 03-14, early",
			"03-14": "03-14: 03-12 to 03-17, due 03-14, due",
		}},
		{"2 interval, done late", week23(did("03-02", Done), did("03-14", Done)), map[string]string{
			"03-12": "03-09: 03-07 to 03-12, due 03-09, due",
			"03-13": "03-09: 03-07 to 03-12, due 03-09, overdue since 03-13",
			"03-14": "",
			"03-19": "03-21: 03-19 to 03-24, due 03-21, early",
		}},
		{"3 interval, second record", week23(did("03-02", Done), names(did("03-09", Done), "03-09"), names(did("03-10", Done), "03-09")), map[string]string{
			"03-09": "", "03-10": "", "03-14": "",
			"03-15": "03-17: 03-15 to 03-20, due 03-17, early",
		}},
		{"4 offline record", week23(did("03-02", Done), did("03-10", Done), did("03-09", Done)), map[string]string{
			"03-09": "", "03-10": "",
			"03-15": "03-17: 03-15 to 03-20, due 03-17, early",
		}},
		{"5 weekly, late completion", history("02-28", weeklyOn("FREQ=WEEKLY;BYDAY=MO"), 2, 3, did("03-06", Done)), map[string]string{
			"02-27": "",
			"02-28": "03-02: 02-28 to 03-05, due 03-02, early",
			"03-05": "03-02: 02-28 to 03-05, due 03-02, due",
			"03-06": "",
			"03-07": "03-09: 03-07 to 03-12, due 03-09, early",
		}},
		{"6 weekly, merge", history("02-28", weeklyOn("FREQ=WEEKLY;BYDAY=MO"), 2, 3, did("03-10", Done)), map[string]string{
			"03-06": "03-02: 02-28 to 03-05, due 03-02, overdue since 03-06",
			"03-07": "03-09: 03-07 to 03-12, due 03-09, overdue since 03-06",
			"03-10": "",
			"03-14": "03-16: 03-14 to 03-19, due 03-16, early",
		}},
		{"17 partly, twice", week23(did("03-02", Done), partly("03-09", 50), partly("03-11", 50)), map[string]string{
			"03-09": "03-09: 03-07 to 03-12, due 03-09, due, 50 % done",
			"03-11": "",
			"03-16": "03-18: 03-16 to 03-21, due 03-18, early",
		}},
		{"18 no access", week23(did("03-02", Done), did("03-09", NoAccess), did("03-14", Done)), map[string]string{
			"03-09": "03-09: 03-07 to 03-12, due 03-09, due, no access 1",
			"03-13": "03-09: 03-07 to 03-12, due 03-09, overdue since 03-13, no access 1",
			"03-14": "",
			"03-19": "03-21: 03-19 to 03-24, due 03-21, early",
		}},
		{"19 void of a closing record, an extra present", week23(did("03-02", Done), names(did("03-10", Done), "03-09")), map[string]string{
			"03-09": "03-09: 03-07 to 03-12, due 03-09, due",
			"03-10": "",
			"03-15": "03-17: 03-15 to 03-20, due 03-17, early",
		}},
		{"20 void of the only record", week23(did("03-02", Done)), map[string]string{
			"03-12": "03-09: 03-07 to 03-12, due 03-09, due",
			"03-13": "03-09: 03-07 to 03-12, due 03-09, overdue since 03-13",
		}},
		{"26 month-end clamp", history("01-31", every(1, Months), 0, 5, did("01-31", Done), did("02-28", Done), did("03-31", Done)), map[string]string{
			"01-31": "", "02-27": "", "02-28": "", "03-27": "",
			"03-28": "03-28: 03-28 to 04-02, due 03-28, due",
			"03-31": "",
			"04-30": "04-30: 04-30 to 05-05, due 04-30, due",
		}},
		{"28 calendar details", history("03-04", weeklyOn("FREQ=WEEKLY;BYDAY=MO;COUNT=3"), 0, 3, did("03-09", Done), did("03-16", Done)), map[string]string{
			"03-04": "", "03-09": "", "03-16": "",
			"03-23": "03-23: 03-23 to 03-26, due 03-23, due",
			"03-30": "03-23: 03-23 to 03-26, due 03-23, overdue since 03-27",
		}},
	}
}

func closuresAndJoined() []example {
	last := did("03-02", Done)
	weekend := history("03-02", every(13, Days), 2, 3, last)
	weekend.Access = Access{NoAccess: 1<<6 | 1<<7, NoAccessEntered: d("03-01")}
	return []example{
		{"8 closure inside the window", closedOn(week23(last), "03-09", "03-09", "03-03"), map[string]string{
			"03-07": "03-09: 03-07 to 03-12, due 03-08, early",
			"03-08": "03-09: 03-07 to 03-12, due 03-08, due",
		}},
		{"9 closure entered today", closedOn(week23(last), "03-09", "03-09", "03-09"), map[string]string{
			"03-09": "03-09: 03-07 to 03-12, due 03-10, early",
			"03-10": "03-09: 03-07 to 03-12, due 03-10, due",
		}},
		{"10 closure longer than the window", closedOn(week23(last), "03-07", "03-15", "03-03"), map[string]string{
			"03-09": "03-09: 03-07 to 03-16, due 03-16, early",
			"03-16": "03-09: 03-07 to 03-16, due 03-16, due",
			"03-17": "03-09: 03-07 to 03-16, due 03-16, overdue since 03-17",
		}},
		{"11 weekdays without access", weekend, map[string]string{
			"03-13": "03-15: 03-13 to 03-18, due 03-16, early",
			"03-16": "03-15: 03-13 to 03-18, due 03-16, due",
		}},
		{"12 joined, parent done alone", joinedTo(mondays(last, did("03-09", Done)), last, did("03-12", Done)), map[string]string{
			"03-08": "03-09: 03-08 to 03-10, due 03-09, early",
			"03-09": "03-09: 03-08 to 03-10, due 03-09, due",
			"03-11": "03-09: 03-08 to 03-10, due 03-09, overdue since 03-11",
			"03-12": "",
		}},
		{"13 joined, parent skipped", joinedTo(mondays(last, did("03-10", Skipped)), last), map[string]string{
			"03-10": "03-09: 03-08 to 03-11, due 03-10, due",
			"03-12": "03-09: 03-08 to 03-11, due 03-10, overdue since 03-12",
		}},
		{"14 joined, skipped with its joined work", joinedTo(mondays(last, skippedWithJoined("03-10")), last), map[string]string{
			"03-10": "",
			"03-15": "03-16: 03-15 to 03-17, due 03-16, early",
		}},
		{"15 joined, child first", joinedTo(mondays(last, did("03-10", Done)), last, did("03-08", Done)), map[string]string{
			"03-08": "", "03-10": "",
			"03-15": "03-16: 03-15 to 03-17, due 03-16, early",
		}},
		{"16 joined, next parent occurrence opens", joinedTo(mondays(last, did("03-09", Done)), last), map[string]string{
			"03-14": "03-09: 03-08 to 03-10, due 03-09, overdue since 03-11",
			"03-15": "03-16: 03-15 to 03-17, due 03-16, overdue since 03-11",
		}},
	}
}

func pausesAndRamps() []example {
	monday := weeklyOn("FREQ=WEEKLY;BYDAY=MO")
	pond := history("04-01", every(30, Days), 0, 7, did("10-12", Done))
	for month := 4; month <= 10; month++ {
		pond.Revisions[0].Months |= 1 << month
	}
	return []example{
		{"21 pause and resume, 7 days", pausedOn(history("03-02", every(7, Days), 0, 3, did("03-02", Done)), "03-08", "03-22"), map[string]string{
			"03-09": "", "03-21": "",
			"03-22": "03-22: 03-22 to 03-25, due 03-22, due",
		}},
		{"22 pause and resume, 90 days", pausedOn(history("01-05", every(90, Days), 0, 14, did("01-05", Done)), "02-02", "03-02"), map[string]string{
			"03-02": "",
			"04-05": "04-05: 04-05 to 04-19, due 04-05, due",
		}},
		{"23 pause over an overdue item", pausedOn(history("03-02", every(7, Days), 0, 3, did("03-02", Done)), "03-14", "03-20"), map[string]string{
			"03-13": "03-09: 03-09 to 03-12, due 03-09, overdue since 03-13",
			"03-14": "",
			"03-20": "03-20: 03-20 to 03-23, due 03-20, due",
		}},
		{"24 pause of a weekly calendar", pausedOn(history("03-02", monday, 0, 3, did("03-02", Done)), "03-09", "03-23"), map[string]string{
			"03-09": "", "03-22": "",
			"03-23": "03-23: 03-23 to 03-26, due 03-23, due",
		}},
		{"25 inactive months", pond, map[string]string{
			"11-11": "", "2027-03-31": "",
			"2027-04-01": "04-01: 04-01 to 04-08, due 04-01, due",
		}},
		{"27 light ramp", rampExample(), map[string]string{
			"03-01": "",
			"03-02": "",
			"03-09": "03-09: 03-09 to 03-11, due 03-09, due, 62.5 %",
			"03-12": "", "03-18": "", "03-19": "", "03-20": "", "03-26": "", "03-30": "", "03-31": "", "04-02": "",
			"04-03": "04-03: 04-03 to 04-05, due 04-03, due, 75 %",
			"04-04": "", "04-10": "", "04-11": "", "04-18": "", "05-01": "",
		}},
	}
}

func rampExample() History {
	set := func(day string, level float64) Record { return Record{DoneOn: d(day), Result: Done, Level: level} }
	h := history("03-02", Cadence{Kind: OnRamp, Ramp: &RampPlan{From: 50, To: 100, Days: 28, StepDays: 7, Curve: Linear, GreatestRise: 12.5}}, 0, 2,
		set("03-02", 50), set("03-12", 62.5), set("03-19", 75), set("03-31", 87.5), set("04-04", 75), set("04-11", 87.5), set("04-18", 100))
	h.RampEvents = []RampEvent{{d("03-20"), Hold}, {d("03-24"), Resume}, {d("04-03"), StepBack}}
	return h
}
