package care_test

import (
	"fmt"
	"time"

	"github.com/teambition/rrule-go"

	"tankward/service/care"
)

// ruleDates gives the dates of a recurrence rule from the first day to the
// last. The rule counts its periods from the first day, which itself is a date
// only if the rule gives it.
func ruleDates(text string, first, last care.Day) []care.Day {
	if text == "" {
		return nil
	}
	option, err := rrule.StrToROption(text)
	if err != nil {
		panic(fmt.Sprintf("rule %q: %v", text, err))
	}
	option.Dtstart = first.Time()
	rule, err := rrule.NewRRule(*option)
	if err != nil {
		panic(fmt.Sprintf("rule %q: %v", text, err))
	}
	var days []care.Day
	for _, t := range rule.Between(first.Time(), last.Time(), true) {
		days = append(days, care.DayOf(t))
	}
	return days
}

// addStep goes so many days, weeks or months on. A month step that meets no
// such date takes the month's last one and counts from the anchor's own day.
func addStep(anchor care.Day, every int, unit care.Unit) care.Day {
	switch unit {
	case care.Days:
		return anchor + care.Day(every)
	case care.Weeks:
		return anchor + care.Day(7*every)
	}
	y, m, d := anchor.Time().Date()
	target := m + time.Month(every)
	for ; ; d-- {
		day := care.Date(y, target, d)
		wanted := (int(target)-1)%12 + 1
		if day.Month() == wanted {
			return day
		}
	}
}

// active says whether a day lies in the months in which the routine works.
func active(rev care.Revision, day care.Day) bool {
	return rev.Months == 0 || rev.Months&(1<<day.Month()) != 0
}

// firstWorkingDay is the day itself or the first after it that lies neither in
// a pause nor in an inactive month; MaxDay when there is none.
func (w *refWalk) firstWorkingDay(rev care.Revision, day care.Day) care.Day {
	for range 2000 {
		if !w.paused(day) && active(rev, day) {
			return day
		}
		day++
	}
	return care.MaxDay
}

// floor is the first day on which an item may be open that would open on the
// given day: never before the first day, the resume day or the first active
// day. A pause counts from the day on which it begins.
func (w *refWalk) floor(rev care.Revision, nominal, earliest care.Day) care.Day {
	floor := max(earliest, w.routine.Routine.FirstDay)
	for _, p := range w.routine.Pauses {
		if p.From <= nominal && p.From <= w.today {
			floor = max(floor, w.pauseEnd(p.From))
		}
	}
	if rev.Months != 0 {
		day := nominal
		for active(rev, day-1) && day >= nominal-care.Day(rev.DaysEarly) {
			day--
		}
		floor = max(floor, day)
	}
	return w.pauseEnd(floor)
}

// plan finds what the routine makes due next, as it is known today.
func (w *refWalk) plan() {
	w.pending, w.moreDates = nil, false
	switch w.kind() {
	case care.Calendar:
		w.planCalendar()
	case care.Interval, care.Once:
		if w.open == nil {
			w.planSingle()
		}
	case care.OnRamp:
		if w.open == nil && w.newDue != 0 {
			w.planAsked()
		} else if w.open == nil {
			w.planRise()
		}
	case care.Joined:
		if w.newDue != 0 {
			w.planAsked()
		}
	}
}

// planAsked plans the item of the day that the skip of life support named: it
// is the next nominal due, and its window begins on it.
func (w *refWalk) planAsked() {
	if w.asked != nil {
		w.pending = []*refItem{w.asked}
		return
	}
	rev := w.now()
	nominal := w.firstWorkingDay(rev, w.newDue)
	if nominal == care.MaxDay {
		return
	}
	item := &refItem{
		revision: rev, asked: true, Identity: care.Identity{NominalDue: nominal, Ordinal: w.taken[nominal]},
		cutEarliest: nominal, cutLatest: nominal + care.Day(rev.DaysLate),
	}
	if w.kind() == care.OnRamp { // a skipped step postpones the same level
		item.level, _ = w.nextLevel()
	}
	w.move(item)
	w.asked, w.pending = item, []*refItem{item}
}

// planSingle plans the only next item of an interval or of a single date.
func (w *refWalk) planSingle() {
	rev, routine := w.now(), w.routine.Routine
	if w.newDue != 0 {
		w.planAsked()
		return
	}
	item := &refItem{revision: rev}
	nominal := routine.FirstDay
	switch {
	case w.kind() == care.Once:
		item.given = rev.Cadence.On
		if w.onceDone[item.given] {
			return
		}
		nominal = item.given
	case w.lastDone != nil:
		nominal = max(nominal, addStep(*w.lastDone, rev.Cadence.Every, rev.Cadence.Unit))
	}
	nominal = w.firstWorkingDay(rev, max(nominal, w.resumeFloor, w.changed()))
	if nominal == care.MaxDay || nominal > routine.LastDay {
		return
	}
	item.NominalDue, item.Ordinal = nominal, w.taken[nominal]
	item.cutEarliest = nominal - care.Day(rev.DaysEarly)
	if w.kind() == care.Interval && w.lastDone != nil {
		item.cutEarliest = max(item.cutEarliest, *w.lastDone+1)
	}
	item.cutEarliest = w.floor(rev, nominal, max(item.cutEarliest, w.changed()))
	item.cutLatest = nominal + care.Day(rev.DaysLate)
	w.move(item)
	w.pending = []*refItem{item}
}

// changed is the day from which on the routine says what it says now. A change
// makes nothing due, and opens no window, before its day.
func (w *refWalk) changed() care.Day {
	if w.revision == 0 {
		return care.MinDay
	}
	return w.now().From
}

// planAhead is how many dates of a rule are planned at once; with fewer than
// half of them left they are planned again.
const planAhead = 60

// planCalendar plans the next dates of the rule, first the one that a skip
// asked for. Each window ends on the day before the next date and then begins
// on the day after the window before it.
func (w *refWalk) planCalendar() {
	rev := w.now()
	if w.newDue != 0 {
		w.planAsked()
	}
	for _, day := range w.calendarDates() {
		item := &refItem{revision: rev, Identity: care.Identity{NominalDue: day, Ordinal: w.taken[day]}}
		w.pending = append(w.pending, item)
	}
	for i, item := range w.pending {
		item.cutLatest = item.NominalDue + care.Day(item.revision.DaysLate)
		if i+1 < len(w.pending) {
			item.cutLatest = min(item.cutLatest, w.pending[i+1].NominalDue-1)
		}
		before := w.before()
		if i > 0 && (before == nil || w.pending[i-1].NominalDue >= before.NominalDue) {
			before = w.pending[i-1]
		}
		earliest := max(item.NominalDue-care.Day(rev.DaysEarly), w.changed())
		if before != nil {
			earliest = max(earliest, min(before.cutLatest, item.NominalDue-1)+1)
		}
		item.cutEarliest = w.floor(rev, item.NominalDue, earliest)
		if item.asked {
			item.cutEarliest = item.NominalDue
		}
		w.move(item)
	}
	w.closeByClosure()
}

// closeByClosure: an occurrence moved to or past the earliest of a later one
// is closed by the closure: the newest stands for both.
func (w *refWalk) closeByClosure() {
	for i := range w.pending[:max(len(w.pending)-1, 0)] {
		item := w.pending[i]
		item.closedByClosure = item.moved && item.due >= w.pending[i+1].earliest
	}
}

// calendarDates gives the dates of the rule still to come. A date before the
// first day, after the last, in a pause or in an inactive month never existed;
// one not newer than an item that has been is not opened again.
func (w *refWalk) calendarDates() []care.Day {
	rev, routine := w.now(), w.routine.Routine
	newer := care.MinDay
	if before := w.before(); before != nil {
		newer = before.NominalDue
	}
	for _, item := range w.pending { // the one that a skip asked for
		newer = max(newer, item.NominalDue)
	}
	var days []care.Day
	for _, day := range w.dates[w.revision] {
		exists := day >= routine.FirstDay && day <= routine.LastDay && active(rev, day) && !w.paused(day)
		if exists && day > newer && day >= w.changed() && day >= w.pausedFrom {
			days = append(days, day)
		}
		if len(days) == planAhead {
			w.moreDates = true
			break
		}
	}
	return days
}
