package care_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"tankward/service/care"
)

// randomCases is the count of random histories before the divisor.
const randomCases = 100_000

// randomCount divides the count by TANKWARD_RANDOM_DIVISOR, 20 by default.
func randomCount(t *testing.T) uint64 {
	t.Helper()
	divisor := uint64(20)
	if text := os.Getenv("TANKWARD_RANDOM_DIVISOR"); text != "" {
		n, err := strconv.ParseUint(text, 10, 32)
		if err != nil || n == 0 {
			t.Fatalf("TANKWARD_RANDOM_DIVISOR is %q, not a positive number", text)
		}
		divisor = n
	}
	return max(randomCases/divisor, 1)
}

// randomSeed is taken from TANKWARD_RANDOM_SEED, to repeat a run, or is new.
func randomSeed(t *testing.T) uint64 {
	t.Helper()
	seed := rand.Uint64()
	if text := os.Getenv("TANKWARD_RANDOM_SEED"); text != "" {
		n, err := strconv.ParseUint(text, 10, 64)
		if err != nil {
			t.Fatalf("TANKWARD_RANDOM_SEED is %q, not a number", text)
		}
		seed = n
	}
	t.Logf("TANKWARD_RANDOM_SEED=%d", seed)
	return seed
}

// engineHistory gives the history as the engine reads it.
func engineHistory(r *refRoutine) (care.History, error) {
	h := r.History
	h.Revisions = slices.Clone(h.Revisions)
	for i, text := range r.rules {
		if text == "" {
			continue
		}
		rule, err := care.ParseRule(text)
		if err != nil {
			return h, err
		}
		if h.Revisions[i].Cadence.Rule, err = rule.Resolve(h.Routine.FirstDay); err != nil {
			return h, err
		}
	}
	if r.parent != nil {
		parent, err := engineHistory(r.parent)
		if err != nil {
			return h, err
		}
		h.Parent = &parent
	}
	return h, nil
}

func TestEngineAgreesWithReference(t *testing.T) {
	t.Parallel()
	seed := randomSeed(t)
	const workers = 4
	for worker := range uint64(workers) {
		t.Run(fmt.Sprint(worker), func(t *testing.T) {
			t.Parallel()
			failures := 0
			for number := worker; number < randomCount(t) && failures < 3; number += workers {
				r := randomRoutine(seed, number)
				difference := disagreement(r)
				if difference == "" {
					continue
				}
				failures++
				small := shrink(r, func(r *refRoutine) bool { return disagreement(r) != "" })
				t.Errorf("history %d of seed %d:\n%s\n%s", number, seed, render(small), disagreement(small))
			}
		})
	}
}

// lastEntry is the last day of a record, a change or an event of a ramp.
func lastEntry(r *refRoutine) care.Day {
	last := r.Revisions[len(r.Revisions)-1].From
	for _, rec := range r.Records {
		last = max(last, rec.DoneOn)
	}
	for _, e := range r.RampEvents {
		last = max(last, e.Day)
	}
	if r.parent != nil {
		last = max(last, lastEntry(r.parent))
	}
	return last
}

// lastEventDay is the last day on which something happens to the routine.
func lastEventDay(r *refRoutine) care.Day {
	last := max(r.Routine.FirstDay, lastEntry(r))
	for at := r; at != nil; at = at.parent {
		for _, c := range at.Access.Closures {
			last = max(last, c.From)
		}
	}
	return last
}

// disagreement says where engine and reference differ, the empty text when
// they don't.
func disagreement(r *refRoutine) string {
	h, err := engineHistory(r)
	if err != nil {
		return "" // a rule without a date from the first day on is refused
	}
	last := lastEventDay(r) + 45
	answers := reference(r, last)
	for day := answers.first; day <= last; day++ {
		want := renderItems(answers.on(day))
		if got := renderItems(care.OpenOn(h, day)); got != want {
			return fmt.Sprintf("open on %v:\n  reference: %s\n  engine:    %s", day, want, got)
		}
	}
	settled := care.Settle(h)
	if text := closesDiffer(answers.walk, settled); text != "" {
		return text
	}
	return storedDiffers(r, answers, settled.Stored)
}

// closesDiffer compares what each record closes and counts for.
func closesDiffer(w *refWalk, settled care.Settled) string {
	var want []care.Close
	for _, c := range w.closings {
		want = append(want, care.Close{Identity: c.item.Identity, RecordID: c.record.ID, DoneOn: c.day, State: c.state})
	}
	if diff := cmp.Diff(want, settled.Closes); diff != "" {
		return "closes (-reference +engine):\n" + diff
	}
	got := map[uuid.UUID]care.Counted{}
	for _, c := range settled.Counted {
		got[c.RecordID] = c
	}
	if diff := cmp.Diff(w.counted, got); diff != "" {
		return "counted (-reference +engine):\n" + diff
	}
	return ""
}

// storedDiffers checks what is read from the stored item alone, from the last
// day on which anybody entered anything.
func storedDiffers(r *refRoutine, answers *refAnswers, stored care.Stored) string {
	newest := max(lastEntry(r), answers.first)
	for day := newest; day <= lastEventDay(r)+45; day++ {
		items, ok := stored.On(day)
		if !ok {
			continue
		}
		want := renderItems(answers.on(day))
		if got := renderItems(items); got != want {
			return fmt.Sprintf("read from what is stored on %v:\n  reference: %s\n  engine:    %s\n  stored:    %+v", day, want, got, stored)
		}
	}
	return ""
}

// shrink takes away what can be taken away while the history still fails.
func shrink(r *refRoutine, fails func(*refRoutine) bool) *refRoutine {
	for {
		smaller := false
		for _, candidate := range reductions(r) {
			if fails(candidate) {
				r, smaller = candidate, true
				break
			}
		}
		if !smaller {
			return r
		}
	}
}

// clone copies a chain deeply enough for reductions.
func clone(r *refRoutine) *refRoutine {
	c := *r
	c.Records = slices.Clone(r.Records)
	c.Revisions = slices.Clone(r.Revisions)
	c.rules = slices.Clone(r.rules)
	c.Pauses = slices.Clone(r.Pauses)
	c.RampEvents = slices.Clone(r.RampEvents)
	c.Access.Closures = slices.Clone(r.Access.Closures)
	if r.parent != nil {
		c.parent = clone(r.parent)
	}
	return &c
}

func depth(r *refRoutine) int {
	if r.parent == nil {
		return 0
	}
	return 1 + depth(r.parent)
}

func link(r *refRoutine, n int) *refRoutine {
	for range n {
		r = r.parent
	}
	return r
}

// reductions gives the history with one thing less, for each thing.
func reductions(r *refRoutine) []*refRoutine {
	var all []*refRoutine
	with := func(n int, change func(*refRoutine)) {
		c := clone(r)
		change(link(c, n))
		all = append(all, c)
	}
	if r.parent != nil {
		all = append(all, clone(r.parent))
	}
	for n := range depth(r) + 1 {
		at := link(r, n)
		for i := range at.Records {
			with(n, func(c *refRoutine) { c.Records = slices.Delete(c.Records, i, i+1) })
		}
		for i := range at.Access.Closures {
			with(n, func(c *refRoutine) { c.Access.Closures = slices.Delete(c.Access.Closures, i, i+1) })
		}
		for i := range at.Pauses {
			with(n, func(c *refRoutine) { c.Pauses = slices.Delete(c.Pauses, i, i+1) })
		}
		for i := range at.RampEvents {
			with(n, func(c *refRoutine) { c.RampEvents = slices.Delete(c.RampEvents, i, i+1) })
		}
		for i := 1; i < len(at.Revisions); i++ {
			with(n, func(c *refRoutine) {
				c.Revisions = slices.Delete(c.Revisions, i, i+1)
				c.rules = slices.Delete(c.rules, i, i+1)
			})
		}
		all = append(all, simplifications(r, n)...)
	}
	return all
}

// simplifications gives the history with plainer values.
func simplifications(r *refRoutine, n int) []*refRoutine {
	var all []*refRoutine
	with := func(change func(*refRoutine)) {
		c := clone(r)
		change(link(c, n))
		all = append(all, c)
	}
	at := link(r, n)
	if at.Access.NoAccess != 0 {
		with(func(c *refRoutine) { c.Access.NoAccess = 0 })
	}
	if at.Routine.LastDay != care.MaxDay {
		with(func(c *refRoutine) { c.Routine.LastDay = care.MaxDay })
	}
	for i, rec := range at.Records {
		if rec.Names != nil {
			with(func(c *refRoutine) { c.Records[i].Names = nil })
		}
		if rec.WithJoined {
			with(func(c *refRoutine) { c.Records[i].WithJoined = false })
		}
		if rec.Result != care.Done && at.Routine.Class != care.LifeSupport {
			with(func(c *refRoutine) { c.Records[i].Result = care.Done })
		}
	}
	for i, rev := range at.Revisions {
		if rev.Months != 0 {
			with(func(c *refRoutine) { c.Revisions[i].Months = 0 })
		}
		if rev.DaysEarly > 0 {
			with(func(c *refRoutine) { c.Revisions[i].DaysEarly-- })
		}
		if rev.DaysLate > 0 {
			with(func(c *refRoutine) { c.Revisions[i].DaysLate-- })
		}
	}
	return all
}

// render writes a history for a human reader, the parent first.
func render(r *refRoutine) string {
	var b strings.Builder
	if r.parent != nil {
		b.WriteString(render(r.parent) + "followed by\n")
	}
	fmt.Fprintf(&b, "%s, class %d, first %v, last %v\n", r.Routine.Kind, r.Routine.Class, r.Routine.FirstDay, r.Routine.LastDay)
	for i, rev := range r.Revisions {
		c := rev.Cadence
		what := fmt.Sprintf("%s %s", c.Kind, r.rules[i])
		switch c.Kind {
		case care.Interval:
			what = fmt.Sprintf("every %d %s", c.Every, c.Unit)
		case care.Once:
			what = fmt.Sprintf("once on %v", c.On)
		case care.Joined:
			what = fmt.Sprintf("joined, gap %d to %d %s", c.Gap.Least, c.Gap.Greatest, c.Gap.Unit)
		case care.OnRamp:
			what = fmt.Sprintf("ramp %+v levels %.4v", *c.Ramp, refLevels(*c.Ramp))
		}
		fmt.Fprintf(&b, "  from %v: %s, %d early, %d late, months %b, by %s\n", rev.From, what, rev.DaysEarly, rev.DaysLate, rev.Months, rev.Performer)
	}
	for _, c := range r.Access.Closures {
		fmt.Fprintf(&b, "  closed [%v, %v) entered %v\n", c.From, c.To, c.Entered)
	}
	if r.Access.NoAccess != 0 {
		fmt.Fprintf(&b, "  no access on weekdays %b (bit 1 Monday) entered %v\n", r.Access.NoAccess, r.Access.NoAccessEntered)
	}
	for _, p := range r.Pauses {
		fmt.Fprintf(&b, "  pause [%v, %v)\n", p.From, p.To)
	}
	for _, e := range r.RampEvents {
		fmt.Fprintf(&b, "  %v %s\n", e.Day, e.Kind)
	}
	records := slices.Clone(r.Records)
	slices.SortFunc(records, func(a, b care.Record) int {
		if a.DoneOn != b.DoneOn {
			return int(a.DoneOn - b.DoneOn)
		}
		return strings.Compare(a.ID.String(), b.ID.String())
	})
	for _, rec := range records {
		fmt.Fprintf(&b, "  %v %s", rec.DoneOn, rec.Result)
		if rec.Result == care.Partly {
			fmt.Fprintf(&b, " %d%%", rec.Share)
		}
		if rec.Names != nil {
			fmt.Fprintf(&b, " names %v/%d", rec.Names.NominalDue, rec.Names.Ordinal)
		}
		if rec.WithJoined {
			b.WriteString(" with joined")
		}
		if rec.NewDueOn != 0 {
			fmt.Fprintf(&b, " new due on %v", rec.NewDueOn)
		}
		if rec.Level != 0 {
			fmt.Fprintf(&b, " level %.4f", rec.Level)
		}
		fmt.Fprintf(&b, " (%.8s)\n", rec.ID)
	}
	return b.String()
}

// TestArrivalOrderChangesNothing: records in any order give the same items.
func TestArrivalOrderChangesNothing(t *testing.T) {
	t.Parallel()
	seed := randomSeed(t)
	for number := range randomCount(t) / 5 {
		r := randomRoutine(seed, number)
		sorted, err := engineHistory(r)
		if err != nil {
			continue
		}
		other := clone(r)
		shuffle := rand.New(rand.NewPCG(seed, number))
		for at := other; at != nil; at = at.parent {
			shuffle.Shuffle(len(at.Records), func(i, j int) {
				at.Records[i], at.Records[j] = at.Records[j], at.Records[i]
			})
		}
		shuffled, err := engineHistory(other)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(settledByRecord(sorted), settledByRecord(shuffled)); diff != "" {
			t.Fatalf("history %d of seed %d, settled (-in order +shuffled):\n%s\n%s", number, seed, render(r), diff)
		}
		for day := r.Routine.FirstDay; day <= lastEventDay(r)+45; day += 3 {
			if diff := cmp.Diff(care.OpenOn(sorted, day), care.OpenOn(shuffled, day)); diff != "" {
				t.Fatalf("history %d of seed %d, open on %v (-in order +shuffled):\n%s\n%s", number, seed, day, render(r), diff)
			}
		}
	}
}

// settledByRecord puts what the records count for in the order of their ids.
func settledByRecord(h care.History) care.Settled {
	settled := care.Settle(h)
	slices.SortFunc(settled.Counted, func(a, b care.Counted) int {
		return strings.Compare(a.RecordID.String(), b.RecordID.String())
	})
	return settled
}
