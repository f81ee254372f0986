package care

import (
	"bytes"

	"github.com/google/uuid"
)

// Reach is how many days before a routine's first day the course of the routine
// it follows may still matter: more than the greatest tolerance.
const Reach = 400

// Seedable says whether a fold of the routine may begin at a seed. A ramp is
// folded whole: its records are few, and where it stands depends on them. So is
// joined life support, whose named days leave no trace of the parent's item.
func Seedable(r Routine, c Cadence) bool {
	return c.Kind != OnRamp && (c.Kind != Joined || r.Class != LifeSupport)
}

// SeedBefore gives the seed for a command that touches nothing before a day:
// the last closing before that day, of the routine's closed items and its
// records that are not void; nil when the routine is to be folded whole.
//
// The same rows by a query: of the routine's closed items joined with their
// records, the one with the greatest (done on, record id) among those done
// before the day, without the items that were open when the routine was changed:
// those for which a revision other than the first begins on a day from the
// nominal due less the greatest days early to the day it was done; then, as Used, the closed items whose record is not later than
// that one and whose nominal due is on or after the lesser of its day and its
// nominal due. The history then needs the routine's records after (done on,
// record id) of the seed.
func SeedBefore(day Day, closes []Close, h History) *Seed {
	var last *Close
	for i := range closes {
		if c := &closes[i]; c.DoneOn < day && !c.keptOver(h.Revisions) && (last == nil || c.after(last)) {
			last = c
		}
	}
	if last == nil {
		return nil
	}
	seed := &Seed{DoneOn: last.DoneOn, RecordID: last.RecordID, Closed: last.Identity, Result: Done}
	if last.State == SkippedState {
		seed.Result = Skipped
	}
	for _, r := range h.Records {
		if r.ID == last.RecordID && r.Result == Skipped {
			seed.NewDueOn = r.NewDueOn
		}
	}
	from := min(last.DoneOn, last.NominalDue)
	for _, c := range closes {
		if !c.after(last) && c.NominalDue >= from {
			seed.Used = append(seed.Used, c.Identity)
		}
	}
	return seed
}

// keptOver says that the item may have been open when the routine was changed:
// its dates come from an older revision than what follows it.
func (c *Close) keptOver(revisions []Revision) bool {
	early := 0
	for _, r := range revisions {
		early = max(early, r.DaysEarly)
	}
	for _, r := range revisions[1:] {
		if r.From >= c.NominalDue-Day(early) && r.From <= c.DoneOn {
			return true
		}
	}
	return false
}

// after says whether a closing counts after another.
func (c *Close) after(o *Close) bool {
	return c.DoneOn > o.DoneOn || c.DoneOn == o.DoneOn && lessID(o.RecordID, c.RecordID)
}

// ParentBefore gives the day before which the seed of the parent has to lie
// when the joined routine is folded from a seed, or whole when that is nil.
func ParentBefore(child Routine, seed *Seed) Day {
	if seed == nil {
		return child.FirstDay - Reach
	}
	return seed.DoneOn
}

// Touched gives the first day on which a pause or a closure that is entered,
// changed or removed can change what a record counts for: from is the first day
// of the pause, or the lesser of the closure's first day and the day on which it
// was entered; early is the greatest tolerance of the routine. It reaches back as
// far as closures may have moved an item to that day.
func Touched(from Day, closures []Closure, early int) Day {
	day := from - searchDays - Day(early) - 1
	for moved := true; moved; {
		moved = false
		for _, c := range closures {
			if c.From < day && c.To >= day-afterClosures && c.To > c.From {
				day, moved = c.From-Day(early)-1, true
			}
		}
	}
	return day
}

// sow sets the state right after the seed's record.
func (f *fold) sow(seed *Seed) {
	f.day, f.lastDone = seed.DoneOn, seed.DoneOn
	state := DoneState
	if seed.Result == Skipped {
		state = SkippedState
	}
	f.closes = []closing{{Close: Close{Identity: seed.Closed, RecordID: seed.RecordID, DoneOn: seed.DoneOn, State: state}}}
	f.gone, f.isGone = seed.Closed, true
	for _, id := range append([]Identity{seed.Closed}, seed.Used...) {
		f.used[id.NominalDue] = max(f.used[id.NominalDue], id.Ordinal+1)
		f.closedTo = max(f.closedTo, id.NominalDue)
	}
	f.after = f.closedTo
	for f.nextRecord < len(f.records) && !seed.before(f.records[f.nextRecord]) {
		f.nextRecord++
	}
	for f.nextRevision < len(f.h.Revisions) && f.h.Revisions[f.nextRevision].From <= f.day {
		f.useRevision(f.nextRevision)
		f.nextRevision++
	}
	for ; f.nextPause < len(f.activity.pauses) && f.activity.pauses[f.nextPause].From <= f.day; f.nextPause++ {
		f.resumed = f.activity.pauses[f.nextPause]
		f.after = max(f.after, f.resumed.From-1)
	}
	if f.parent != nil {
		for ; f.nextStep < len(f.parent.steps) && f.parent.steps[f.nextStep].day <= f.day; f.nextStep++ {
			if st := f.parent.steps[f.nextStep]; st.closed == nil {
				f.seen = st
			}
		}
	}
	f.last = older{ok: true, nominal: f.closedTo, latest: f.latestOf(f.closedTo)}
	f.planAfter(closer{id: seed.RecordID, day: seed.DoneOn, newDue: seed.NewDueOn})
}

// latestOf gives the end of the window of a closed item.
func (f *fold) latestOf(nominal Day) Day {
	latest := nominal + Day(f.rev.DaysLate)
	if f.rev.Cadence.Kind == Calendar {
		if next, ok := f.nextNominal(max(nominal, f.after)); ok {
			latest = min(latest, next-1)
		}
	}
	return latest
}

// before says whether a record comes after the seed's in the order in which
// records count.
func (s *Seed) before(r Record) bool {
	return r.DoneOn > s.DoneOn || r.DoneOn == s.DoneOn && lessID(s.RecordID, r.ID)
}

func lessID(a, b uuid.UUID) bool { return bytes.Compare(a[:], b[:]) < 0 }
