package care

import (
	"fmt"
	"strings"
	"time"
)

var ordinalWords = map[int]string{1: "first", 2: "second", 3: "third", 4: "fourth", 5: "fifth", -1: "last", -2: "second to last"}

// ruleWords says a rule in plain words where they are short, for example
// "every Monday" or "on the last Friday of each month".
func ruleWords(text string) string {
	r, err := ParseRule(text)
	if err != nil || r.byMonth != 0 || len(r.bySetPos) > 0 {
		return "by its calendar"
	}
	switch {
	case r.plain():
		return "every " + unitWords(r.interval, "day")
	case r.freq == daily && len(r.byMonthDay) == 0, r.freq == weekly && len(r.byDay) > 0:
		days := make([]string, len(r.byDay))
		for i, w := range r.byDay {
			days[i] = time.Weekday(w.weekday % 7).String()
		}
		if r.interval == 1 {
			return "every " + listWords(days)
		}
		return "every " + unitWords(r.interval, freqUnits[r.freq]) + " on " + listWords(days)
	case r.freq == weekly:
		return "every " + unitWords(r.interval, "week")
	case r.freq == monthly:
		return r.monthWords()
	}
	return "by its calendar"
}

var freqUnits = [...]string{daily: "day", weekly: "week", monthly: "month", yearly: "year"}

// monthWords says a monthly rule that names either weekdays or days.
func (r *Rule) monthWords() string {
	var days []string
	for _, w := range r.byDay {
		word, known := ordinalWords[int(w.nth)]
		if !known {
			return "by its calendar"
		}
		days = append(days, "the "+word+" "+time.Weekday(w.weekday%7).String())
	}
	for _, d := range r.byMonthDay {
		switch {
		case d == -1:
			days = append(days, "the last day")
		case d < 0:
			return "by its calendar"
		default:
			days = append(days, fmt.Sprintf("the %d%s", d, suffix(int(d))))
		}
	}
	if len(days) == 0 || len(r.byDay) > 0 && len(r.byMonthDay) > 0 {
		return "every " + unitWords(r.interval, "month")
	}
	of := "each month"
	if r.interval > 1 {
		of = "every " + unitWords(r.interval, "month")
	}
	return "on " + listWords(days) + " of " + of
}

func unitWords(n int, unit string) string {
	if n == 1 {
		return unit
	}
	return fmt.Sprintf("%d %ss", n, unit)
}

func listWords(words []string) string {
	if len(words) == 1 {
		return words[0]
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}

func suffix(n int) string {
	switch {
	case n%10 == 1 && n != 11:
		return "st"
	case n%10 == 2 && n != 12:
		return "nd"
	case n%10 == 3 && n != 13:
		return "rd"
	}
	return "th"
}
