package care

import (
	"fmt"
	"strconv"
	"strings"
)

// freq is the period a rule counts in.
type freq uint8

const (
	daily freq = iota + 1
	weekly
	monthly
	yearly
)

var freqNames = map[string]freq{"DAILY": daily, "WEEKLY": weekly, "MONTHLY": monthly, "YEARLY": yearly}

var freqTexts = [...]string{daily: "DAILY", weekly: "WEEKLY", monthly: "MONTHLY", yearly: "YEARLY"}

// weekdayTexts are the weekdays as rules write them, by ISO number.
var weekdayTexts = [...]string{1: "MO", 2: "TU", 3: "WE", 4: "TH", 5: "FR", 6: "SA", 7: "SU"}

// weekdayNum is a weekday with the ordinal that may stand before it; zero
// means every such weekday of the period.
type weekdayNum struct {
	nth     int8
	weekday uint8
}

// Rule is a parsed recurrence rule of RFC 5545 over civil dates. It is never
// changed after ParseRule and may be shared.
type Rule struct {
	freq       freq
	interval   int
	byDay      []weekdayNum
	byMonthDay []int8
	byMonth    MonthSet
	bySetPos   []int16
	count      int // 0 when it has none
	until      Day // MaxDay when it has none
	weekStart  uint8
	// tables is set when the rule's days of a month do not depend on the
	// first day; otherwise From makes them.
	tables *tables
}

// needsFirst says that the first day fills in what the rule leaves out.
func (r *Rule) needsFirst() bool {
	return r.freq != daily && len(r.byDay) == 0 && len(r.byMonthDay) == 0
}

// plain says that the rule gives each so many days, without further parts.
func (r *Rule) plain() bool {
	return r.freq == daily && r.byMonth == 0 && len(r.byDay)+len(r.byMonthDay)+len(r.bySetPos) == 0
}

// String gives the rule's canonical text, which ParseRule reads back.
func (r *Rule) String() string {
	var b strings.Builder
	b.WriteString("FREQ=" + freqTexts[r.freq])
	if r.interval != 1 {
		fmt.Fprintf(&b, ";INTERVAL=%d", r.interval)
	}
	writeList(&b, "BYMONTH", r.byMonth.list(), strconv.Itoa)
	writeList(&b, "BYMONTHDAY", r.byMonthDay, func(n int8) string { return strconv.Itoa(int(n)) })
	writeList(&b, "BYDAY", r.byDay, weekdayNum.String)
	writeList(&b, "BYSETPOS", r.bySetPos, func(n int16) string { return strconv.Itoa(int(n)) })
	if r.count != 0 {
		fmt.Fprintf(&b, ";COUNT=%d", r.count)
	}
	if r.until != MaxDay {
		b.WriteString(";UNTIL=" + r.until.Time().Format("20060102"))
	}
	if r.weekStart != 1 {
		b.WriteString(";WKST=" + weekdayTexts[r.weekStart])
	}
	return b.String()
}

// Equal says whether two rules read the same.
func (r *Rule) Equal(other *Rule) bool {
	if r == nil || other == nil {
		return r == other
	}
	return r.String() == other.String()
}

func (w weekdayNum) String() string {
	if w.nth == 0 {
		return weekdayTexts[w.weekday]
	}
	return strconv.Itoa(int(w.nth)) + weekdayTexts[w.weekday]
}

func writeList[T any](b *strings.Builder, name string, list []T, text func(T) string) {
	for i, v := range list {
		if i == 0 {
			b.WriteString(";" + name + "=")
		} else {
			b.WriteByte(',')
		}
		b.WriteString(text(v))
	}
}

// Has says whether the month, 1 to 12, is active.
func (s MonthSet) Has(month int) bool { return s == 0 || s>>month&1 == 1 }

// list gives the months of the set in order, none for the empty set.
func (s MonthSet) list() []int {
	var months []int
	for m := 1; m <= 12; m++ {
		if s>>m&1 == 1 {
			months = append(months, m)
		}
	}
	return months
}

// everyDay says whether the rule gives each day without a gap.
func (r *Rule) everyDay() bool {
	if r.interval != 1 || r.byMonth != 0 || len(r.byMonthDay) != 0 || len(r.bySetPos) != 0 {
		return false
	}
	var days uint8
	for _, w := range r.byDay {
		days |= 1 << (w.weekday - 1)
	}
	return days == 0x7f && (r.freq == daily || r.freq == weekly) || r.freq == daily && len(r.byDay) == 0
}

// Resolve gives the rule as it is saved for a routine that begins on the first
// day: COUNT becomes the day of the last occurrence. A rule that never occurs
// from that day on is refused.
func (r *Rule) Resolve(first Day) (*Rule, error) {
	dates := r.From(first)
	if _, ok := dates.Next(first - 1); !ok {
		return nil, fmt.Errorf("the rule %s gives no day from %v on; check its parts against each other and against the first day", r, first)
	}
	if r.count == 0 {
		return r, nil
	}
	resolved := *r
	resolved.count, resolved.until = 0, dates.last
	return &resolved, nil
}
