package care_test

import (
	"bytes"
	"slices"

	"github.com/google/uuid"

	"tankward/service/care"
)

// This file and its reference_* siblings say what is due in the slowest and
// plainest way: one day after the other, from before the first day on, with
// nothing but the items seen so far as state. The engine must agree with it.

// refRoutine is a history as the reference reads it: the rule of a calendar is
// its text, never the engine's parsed form.
type refRoutine struct {
	care.History
	rules  []string    // one per revision; empty unless it is a calendar
	parent *refRoutine // joined
}

// refItem is one item of a routine while the reference walks.
type refItem struct {
	care.Identity
	revision care.Revision // what the routine said when the item was planned

	cutEarliest, cutLatest care.Day // the window on nominal days
	earliest, due, latest  care.Day // the same, moved by closures
	moved                  bool     // to another day than it was due
	blocked                bool     // no day at all was open
	closedByClosure        bool     // moved onto a later item, which stands for both

	percent, noAccess int
	given             care.Day // once: the date as the routine gives it
	asked             bool     // by a skip: its day was named by a person
	level             float64  // ramp
	stepBack          bool     // ramp
	follows           *refItem // joined, minutes: the parent's item
	parentClosed      bool     // joined, minutes: the parent closed without it
	parentDone        bool     // joined, days: due on the day on which the parent was done
}

// center is the day from which open days are looked for: the nominal due, or
// the resume day for which it waits.
func (i *refItem) center() care.Day { return max(i.NominalDue, i.cutEarliest) }

// lateFrom is the day after the moved latest; a blocked item is never late.
func (i *refItem) lateFrom() care.Day {
	if i.blocked {
		return care.MaxDay
	}
	return i.latest + 1
}

// refClosing is the closing of an item by a record.
type refClosing struct {
	item   *refItem
	record care.Record
	day    care.Day
	state  care.State

	nextEarliest care.Day // of the next window, as known then
}

// refWalk is the state at the end of one day.
type refWalk struct {
	routine *refRoutine
	parent  *refWalk
	dates   [][]care.Day // per revision, the dates that its rule gives
	today   care.Day

	revision    int
	open        *refItem
	pending     []*refItem       // planned and not yet open, in order of due
	moreDates   bool             // the rule gives dates after those that are planned
	previous    *refItem         // the newest nominal due that was ever open
	shut        []*refItem       // closed by a closure when their windows began
	taken       map[care.Day]int // closed items by nominal due: the next one's ordinal
	carriedFrom care.Day         // nominal due of the oldest unfinished that was merged away
	carriedLate care.Day         // of the oldest unfinished that was merged away

	lastDone    *care.Day
	pausedFrom  care.Day // first day of the last pause that has begun
	resumeFloor care.Day // resume day of the pause that closed an item
	newDue      care.Day // asked for by a skip; zero when not
	asked       *refItem // the item of that day, once planned; no change moves it
	dropped     bool     // since the last closing an item went away without one
	onceDone    map[care.Day]bool

	standing    *float64 // ramp: the level last set
	held        bool     // ramp: by an event
	resumed     care.Day // ramp: the last day on which a hold or pause ended
	displaced   *refItem // ramp: the rise in whose place a step back came today
	askedInVain bool     // ramp: nothing lies below for the step back of today

	followed map[*refItem]bool // joined: the parent's items it followed

	openAtDawn    *refItem // open today before anybody did anything, here or at a parent
	closingsToday []refClosing
	closings      []refClosing
	counted       map[uuid.UUID]care.Counted
}

// newRefWalk prepares the walk of a routine and of all that it follows, for
// days up to the given one.
func newRefWalk(r *refRoutine, upTo care.Day) *refWalk {
	w := &refWalk{
		routine: r, carriedLate: care.MaxDay, resumeFloor: care.MinDay, pausedFrom: care.MinDay, resumed: care.MinDay,
		taken: map[care.Day]int{}, onceDone: map[care.Day]bool{},
		followed: map[*refItem]bool{}, counted: map[uuid.UUID]care.Counted{},
	}
	for i := range r.Revisions {
		w.dates = append(w.dates, ruleDates(r.rules[i], r.Routine.FirstDay, upTo+500))
	}
	if r.parent != nil {
		w.parent = newRefWalk(r.parent, upTo)
	}
	return w
}

// firstWalkDay is a day before anything of the routine or of its parents.
func firstWalkDay(r *refRoutine) care.Day {
	first := r.Routine.FirstDay
	for _, rec := range r.Records {
		first = min(first, rec.DoneOn)
	}
	for _, e := range r.RampEvents {
		first = min(first, e.Day)
	}
	if r.parent != nil {
		first = min(first, firstWalkDay(r.parent))
	}
	return first - 1
}

// walkFrom sets the walk to the evening before its first day.
func (w *refWalk) walkFrom(day care.Day) {
	if w.parent != nil {
		w.parent.walkFrom(day)
	}
	w.today = day - 1
	for i, rev := range w.routine.Revisions {
		if i > 0 && rev.From < day {
			w.revision = i
		}
	}
	w.plan()
}

// refAnswers holds what is open at the end of each day of a walk.
type refAnswers struct {
	first care.Day
	open  [][]care.Item
	walk  *refWalk
}

func (a *refAnswers) on(day care.Day) []care.Item {
	if day < a.first {
		return nil
	}
	return a.open[day-a.first]
}

// reference walks a routine to the last day and keeps every evening.
func reference(r *refRoutine, last care.Day) *refAnswers {
	w := newRefWalk(r, last)
	first := firstWalkDay(r)
	w.walkFrom(first)
	answers := &refAnswers{first: first, walk: w}
	for day := first; day <= last; day++ {
		w.step(day, recordsOfDay)
		answers.open = append(answers.open, w.report())
	}
	return answers
}

// recordsOfDay gives a routine's records of a day in the order of their ids,
// whatever the order in which they arrived.
func recordsOfDay(w *refWalk, day care.Day) []care.Record {
	var records []care.Record
	for _, rec := range w.routine.Records {
		if rec.DoneOn == day {
			records = append(records, rec)
		}
	}
	slices.SortFunc(records, func(a, b care.Record) int { return bytes.Compare(a.ID[:], b.ID[:]) })
	return records
}

// step lives through one day: what begins with the day, then its records.
func (w *refWalk) step(day care.Day, records func(*refWalk, care.Day) []care.Record) {
	if w.parent != nil {
		w.parent.step(day, records)
	}
	w.today = day
	w.closingsToday = nil
	w.openPending()
	w.followDawn()
	w.enterRevision()
	w.beginPause()
	w.changeRamp()
	w.openAtDawn = w.visible()
	w.followParent()
	w.countRecords(records(w, day))
	w.openPending()
	w.refreshJoined()
}

func (w *refWalk) kind() care.CadenceKind { return w.now().Cadence.Kind }

func (w *refWalk) now() care.Revision { return w.routine.Revisions[w.revision] }

// paused says whether a day lies in a pause; the resume day does not.
func (w *refWalk) paused(day care.Day) bool {
	return slices.ContainsFunc(w.routine.Pauses, func(p care.Span) bool {
		return p.From <= day && day < p.To
	})
}

// pauseEnd is the first day from the given one on that lies in no pause.
func (w *refWalk) pauseEnd(day care.Day) care.Day {
	for range 2000 {
		if !w.paused(day) {
			return day
		}
		day++
	}
	return care.MaxDay
}

// beginPause closes, as paused, all that is unfinished and was due before the
// pause. It uses up no identity, and its shares are dropped with it. What is
// due later waits for the resume day. A ramp's pause is a hold and handled
// there.
func (w *refWalk) beginPause() {
	if w.kind() == care.OnRamp || !w.paused(w.today) || w.paused(w.today-1) {
		return
	}
	if w.carriedFrom < w.today {
		w.carriedLate = care.MaxDay
	}
	w.pausedFrom = w.today
	if w.open != nil && w.open.NominalDue < w.today {
		w.resumeFloor = w.pauseEnd(w.today)
		w.discardOpen()
		w.dropped = true
	}
	if w.open != nil {
		w.waitForResume(w.open)
	}
	w.plan()
}

// waitForResume lets a window begin not before the resume day.
func (w *refWalk) waitForResume(item *refItem) {
	item.earliest = max(item.earliest, w.floor(item.revision, item.NominalDue, item.earliest))
	item.due = max(item.due, item.earliest)
	item.latest = max(item.latest, item.due)
}

// discardOpen lets the open item go without any record closing it.
func (w *refWalk) discardOpen() {
	w.open = nil
	w.carriedLate = care.MaxDay
}

// openPending opens what begins its window. From the next occurrence's
// earliest on, the open item is that one.
func (w *refWalk) openPending() {
	held := w.kind() == care.OnRamp && w.paused(w.today)
	for len(w.pending) > 0 && w.pending[0].earliest <= w.today && !held {
		next := w.pending[0]
		w.pending = w.pending[1:]
		if next.closedByClosure {
			w.shut = append(w.shut, next)
			continue
		}
		w.takeOver(next)
	}
	if w.moreDates && len(w.pending) < planAhead/2 {
		w.plan()
	}
}

// takeOver makes an item the open one. The one before it, if unfinished, is
// missed and, as the oldest, hands on the day from which it is late; unless a
// closure moved it so far that it fell together with this one, then it is
// neither.
func (w *refWalk) takeOver(next *refItem) {
	if before := w.open; before != nil {
		fellTogether := before.moved && before.due >= next.earliest
		if !fellTogether && w.carriedLate == care.MaxDay {
			w.carriedLate, w.carriedFrom = before.lateFrom(), before.NominalDue
		}
	}
	w.open = next
	if w.previous == nil || next.NominalDue >= w.previous.NominalDue {
		w.previous = next
	}
	w.newDue, w.asked = 0, nil
}

// enterRevision lets a change of the routine count from its day on. What is
// open on that day keeps its dates; what was only planned is planned anew.
func (w *refWalk) enterRevision() {
	for i, rev := range w.routine.Revisions {
		if i == 0 || rev.From != w.today {
			continue
		}
		w.shut = nil // of the old rule only what was open bounds the new windows
		waits := w.open != nil && w.open.earliest > w.today
		if waits && (w.kind() == care.Interval || w.kind() == care.Calendar || w.kind() == care.Once) {
			w.discardOpen() // nothing is open in a pause
		}
		w.revision = i
		w.plan()
		w.openPending()
	}
}

// before is the newest item that was open or that a closure has closed.
func (w *refWalk) before() *refItem {
	newest := w.previous
	for _, item := range w.shut {
		if newest == nil || item.NominalDue > newest.NominalDue {
			newest = item
		}
	}
	return newest
}

// visible gives the item that is open now for records and readers alike.
func (w *refWalk) visible() *refItem {
	if w.open == nil || w.open.earliest > w.today {
		return nil
	}
	if w.paused(w.today) && w.kind() != care.OnRamp {
		return nil
	}
	return w.open
}

// report gives what is open at the end of the day.
func (w *refWalk) report() []care.Item {
	item := w.open
	if item == nil || w.visible() == nil && !w.waiting() {
		return nil
	}
	out := care.Item{
		Identity: item.Identity, Earliest: item.earliest, Due: item.due, Latest: item.latest,
		DonePercent: item.percent, NoAccessCount: item.noAccess, Level: item.level,
	}
	lateSince := w.carriedLate
	if lateSince == care.MaxDay {
		lateSince = item.lateFrom()
	}
	switch {
	case item.blocked && item.earliest <= w.today:
		out.State = care.Blocked
	case item.blocked:
		out.State = care.Waiting
	case lateSince <= w.today:
		out.State, out.LateSince = care.Overdue, lateSince
	case w.today < item.earliest:
		out.State = care.Waiting
	case w.today < item.due:
		out.State = care.Early
	default:
		out.State = care.Due
	}
	return []care.Item{out}
}

// waiting says whether the parent has closed and the gap in days still runs.
func (w *refWalk) waiting() bool {
	return w.open != nil && w.open.earliest > w.today &&
		w.open.revision.Cadence.Gap.Unit == care.Days && !w.open.asked
}
