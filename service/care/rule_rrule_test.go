package care

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/teambition/rrule-go"
	"pgregory.net/rapid"
)

// drawRule makes a rule that ParseRule takes, as text.
func drawRule(t *rapid.T) string {
	freq := rapid.SampledFrom([]string{"DAILY", "WEEKLY", "MONTHLY", "YEARLY"}).Draw(t, "freq")
	parts := []string{"FREQ=" + freq}
	add := func(name string, values ...string) {
		if len(values) > 0 {
			parts = append(parts, name+"="+strings.Join(values, ","))
		}
	}
	maybe := func(label string) bool { return rapid.IntRange(0, 2).Draw(t, label) == 0 }
	numbers := func(label string, least, greatest, most int) []string {
		list := rapid.SliceOfNDistinct(rapid.IntRange(least, greatest).Filter(func(n int) bool { return n != 0 }), 1, most, rapid.ID[int]).Draw(t, label)
		return texts(list)
	}
	if maybe("interval?") {
		add("INTERVAL", numbers("interval", 1, 7, 1)...)
	}
	byMonth, by := maybe("months?"), false
	if byMonth {
		add("BYMONTH", numbers("months", 1, 12, 4)...)
	}
	if freq != "WEEKLY" && maybe("month days?") {
		add("BYMONTHDAY", numbers("month days", -31, 31, 5)...)
		by = true
	}
	if maybe("days?") {
		add("BYDAY", drawWeekdays(t, freq, byMonth)...)
		by = true
	}
	if (by || byMonth) && freq != "DAILY" && maybe("positions?") {
		add("BYSETPOS", numbers("positions", -6, 6, 3)...)
	}
	switch rapid.IntRange(0, 3).Draw(t, "end") {
	case 0:
		add("COUNT", numbers("count", 1, 30, 1)...)
	case 1:
		day := Date(2026, 1, rapid.IntRange(-2000, 6000).Draw(t, "until"))
		add("UNTIL", strings.ReplaceAll(day.String(), "-", ""))
	}
	if maybe("week start?") {
		add("WKST", rapid.SampledFrom([]string{"MO", "SU", "TH"}).Draw(t, "week start"))
	}
	return strings.Join(parts, ";")
}

func drawWeekdays(t *rapid.T, freq string, byMonth bool) []string {
	days := rapid.SliceOfNDistinct(rapid.SampledFrom([]string{"MO", "TU", "WE", "TH", "FR", "SA", "SU"}), 1, 4, rapid.ID[string]).Draw(t, "weekdays")
	greatest := 0
	switch {
	case freq == "MONTHLY" || freq == "YEARLY" && byMonth:
		greatest = 5
	case freq == "YEARLY":
		greatest = 53
	}
	numbered := greatest > 0 && rapid.Bool().Draw(t, "numbered?")
	for i := range days {
		if numbered {
			nth := rapid.IntRange(1, greatest).Draw(t, "nth") * rapid.SampledFrom([]int{-1, 1}).Draw(t, "end")
			days[i] = fmt.Sprint(nth, days[i])
		}
	}
	return days
}

func texts(list []int) []string {
	out := make([]string, len(list))
	for i, n := range list {
		out[i] = fmt.Sprint(n)
	}
	return out
}

// The general library and we differ in two places on purpose. In the week of
// the first day it counts BYSETPOS from that day, we in the whole week (RFC
// 5545, 3.3.10: BYSETPOS counts in the set of one interval of the rule); such
// rules begin at the start of a week here. And it gives no day for a BYDAY that
// mixes weekdays with and without a number, where we give both; such rules are
// not drawn. Like us, and unlike the RFC, it counts the first day only if the
// rule gives it.
func TestRuleAgreesWithAGeneralLibrary(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		text := drawRule(t)
		first := Date(2020, 1, rapid.IntRange(1, 3000).Draw(t, "first"))
		if strings.Contains(text, "WEEKLY") && strings.Contains(text, "BYSETPOS") {
			first = weekStart(text, first)
		}
		rule, err := ParseRule(text)
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		option, err := rrule.StrToROption(text)
		if err != nil {
			t.Fatalf("the other library refuses %s: %v", text, err)
		}
		option.Dtstart = first.Time()
		other, err := rrule.NewRRule(*option)
		if err != nil {
			t.Fatalf("the other library refuses %s: %v", text, err)
		}
		horizon := first + 30*366
		var want []Day
		for _, at := range other.Between(first.Time(), horizon.Time(), true) {
			want = append(want, DayOf(at))
		}
		dates := rule.From(first)
		if diff := cmp.Diff(want, forward(&dates, horizon)); diff != "" {
			t.Fatalf("%s from %v (-other library, +ours):\n%s", text, first, diff)
		}
		back := backward(&dates, horizon)
		slices.Reverse(back)
		if diff := cmp.Diff(want, back); diff != "" {
			t.Fatalf("%s from %v backwards (-other library, +ours):\n%s", text, first, diff)
		}
		again, err := ParseRule(rule.String())
		if err != nil || again.String() != rule.String() {
			t.Fatalf("the canonical text %s is read as %v, %v", rule, again, err)
		}
	})
}

func weekStart(text string, first Day) Day {
	begin := time.Monday
	if strings.Contains(text, "WKST=SU") {
		begin = time.Sunday
	}
	if strings.Contains(text, "WKST=TH") {
		begin = time.Thursday
	}
	for first.Time().Weekday() != begin {
		first++
	}
	return first
}

func forward(d *Dates, to Day) []Day {
	var days []Day
	day, ok := d.Next(MinDay)
	for ok && day <= to {
		days = append(days, day)
		day, ok = d.Next(day)
	}
	return days
}

func backward(d *Dates, from Day) []Day {
	var days []Day
	day, ok := d.Prev(from + 1)
	for ok {
		days = append(days, day)
		day, ok = d.Prev(day)
	}
	return days
}

// A rule costs nothing an occurrence, and a first day long ago changes no date.
func TestNextJumps(t *testing.T) { //nolint:paralleltest // allocations are counted
	for _, text := range []string{"FREQ=DAILY;INTERVAL=3", "FREQ=WEEKLY;INTERVAL=2;BYDAY=MO,TH", "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-1", "FREQ=YEARLY;BYMONTH=3,9;BYDAY=-1SU"} {
		rule := mustRule(t, text)
		dates := rule.From(Date(1996, 1, 1))
		allocated := testing.AllocsPerRun(100, func() {
			day := Date(2026, 3, 2)
			for range 20 {
				next, ok := dates.Next(day)
				if !ok {
					t.Error("the rule ended")
				}
				day = next
				if _, found := dates.Prev(day); !found {
					t.Error("the rule began")
				}
			}
		})
		if allocated != 0 {
			t.Errorf("%s: %v allocations, want none", text, allocated)
		}
		all := forward(&dates, Date(2026, 12, 31))
		got, ok := dates.Next(all[len(all)-2])
		if !ok || got != all[len(all)-1] {
			t.Errorf("%s: jumping gives %v, stepping %v", text, got, all[len(all)-1])
		}
	}
}

func mustRule(tb testing.TB, text string) *Rule {
	tb.Helper()
	rule, err := ParseRule(text)
	if err != nil {
		tb.Fatalf("%s: %v", text, err)
	}
	return rule
}
