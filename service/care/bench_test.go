package care

import (
	"testing"
	"time"

	"github.com/teambition/rrule-go"
)

var benchmarkRules = []struct{ name, rule string }{
	{"daily", "FREQ=DAILY;INTERVAL=3"},
	{"weekly", "FREQ=WEEKLY;BYDAY=MO,TH"},
	{"monthly", "FREQ=MONTHLY;BYMONTHDAY=2,15"},
	{"bysetpos", "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-1"},
}

// One operation is one occurrence, 30 years after the first day.
func BenchmarkDates(b *testing.B) {
	for _, c := range benchmarkRules {
		b.Run(c.name, func(b *testing.B) {
			dates := mustRule(b, c.rule).From(d("1996-01-01"))
			from := d("2026-01-01")
			day := from
			b.ReportAllocs()
			for b.Loop() {
				day, _ = dates.Next(day)
				if day > from+3650 {
					day = from
				}
			}
		})
	}
}

// The same rules in a general library, from a first day of this year.
func BenchmarkDatesOfAGeneralLibrary(b *testing.B) {
	for _, c := range benchmarkRules {
		b.Run(c.name, func(b *testing.B) {
			option, err := rrule.StrToROption(c.rule)
			if err != nil {
				b.Fatal(err)
			}
			option.Dtstart = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
			rule, err := rrule.NewRRule(*option)
			if err != nil {
				b.Fatal(err)
			}
			next := rule.Iterator()
			b.ReportAllocs()
			for b.Loop() {
				if at, ok := next(); !ok || at.Year() > 2035 {
					next = rule.Iterator()
				}
			}
		})
	}
}

// One operation is the fold of a year of a weekly routine.
func BenchmarkFold(b *testing.B) {
	h := history("2025-03-03", weeklyOn("FREQ=WEEKLY;BYDAY=MO"), 2, 3)
	for day := d("2025-03-03"); day < d("2026-03-02"); day += 7 {
		h.Records = append(h.Records, Record{ID: testID(int(day)), DoneOn: day, Result: Done})
	}
	b.ReportAllocs()
	for b.Loop() {
		if len(OpenOn(h, d("2026-03-02"))) != 1 {
			b.Fatal("nothing is open")
		}
	}
}

// One operation is the fold of a daily routine that nobody has done for ten
// years.
func BenchmarkFoldOfNeglectedWork(b *testing.B) {
	h := history("2016-03-03", weeklyOn("FREQ=DAILY"), 0, 0)
	b.ReportAllocs()
	for b.Loop() {
		if len(OpenOn(h, d("2026-03-02"))) != 1 {
			b.Fatal("nothing is open")
		}
	}
}

// One operation is the fold from a seed: what a command does.
func BenchmarkSeededFold(b *testing.B) {
	h := week23(did("03-09", Done))
	h.Seed = &Seed{DoneOn: d("03-02"), RecordID: testID(0), Closed: Identity{NominalDue: d("03-02")}, Result: Done}
	b.ReportAllocs()
	for b.Loop() {
		if Settle(h).Stored.None {
			b.Fatal("nothing is stored")
		}
	}
}
