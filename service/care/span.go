package care

import (
	"cmp"
	"slices"
)

// Covers says whether the day lies in the span.
func (s Span) Covers(d Day) bool { return s.From <= d && d < s.To }

// mergeSpans gives the spans in order, those that touch as one, empty ones
// left out.
func mergeSpans(spans []Span) []Span {
	var merged []Span
	sorted := slices.Clone(spans)
	slices.SortFunc(sorted, func(a, b Span) int { return cmp.Compare(a.From, b.From) })
	for _, s := range sorted {
		switch last := len(merged) - 1; {
		case s.To <= s.From:
		case last >= 0 && s.From <= merged[last].To:
			merged[last].To = max(merged[last].To, s.To)
		default:
			merged = append(merged, s)
		}
	}
	return merged
}

// spanAt gives the span of a merged list that covers the day.
func spanAt(merged []Span, d Day) (Span, bool) {
	for _, s := range merged {
		if s.Covers(d) {
			return s, true
		}
	}
	return Span{}, false
}

// activity says on which days a routine is active: neither paused nor in an
// inactive month.
type activity struct {
	pauses []Span // merged
	months MonthSet
}

func (a *activity) active(d Day) bool {
	if _, paused := spanAt(a.pauses, d); paused {
		return false
	}
	return a.months == 0 || a.months.Has(d.Month())
}

// from gives the first active day at or after a day; false when
// there is none.
func (a *activity) from(d Day) (Day, bool) {
	for d < lastCivilDay {
		if pause, paused := spanAt(a.pauses, d); paused {
			d = pause.To
			continue
		}
		year, month, _ := civil(d)
		if a.months.Has(month) {
			return d, true
		}
		d = monthStart(monthIndex(year, month) + 1)
	}
	return 0, false
}

// stretch gives the first day, not before a least one, from which on all
// months are active up to a day.
func (a *activity) stretch(least, d Day) Day {
	if a.months == 0 {
		return least
	}
	year, month, _ := civil(d)
	index := monthIndex(year, month)
	for monthStart(index) > least && a.months.Has((index-1)%12+1) {
		index--
	}
	return max(least, monthStart(index))
}
