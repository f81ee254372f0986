package rounds

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
)

// refuse says why a stop can't be served in any order, if so.
func (p *problem) refuse(s Stop) (Unserved, bool) {
	day := p.in.Day
	say := func(code Code, format string, args ...any) (Unserved, bool) {
		return Unserved{s.ID, code, fmt.Sprintf(format, args...)}, true
	}
	if day.Shift == nil {
		if day.Off != "" {
			return say(NoShift, "no shift: %s", day.Off)
		}
		return say(NoShift, "no shift on this day")
	}
	if s.Closed {
		return say(NoAccessThen, "the site gives no access on this day")
	}
	if len(s.Windows) == 0 {
		return Unserved{}, false
	}
	text, longest, open := day.Clock.Text, 0, false
	for _, w := range s.Windows {
		if !p.outside(w) {
			open, longest = true, max(longest, w.To-w.From)
		}
	}
	switch {
	case !open:
		return say(NoAccessThen, "the site gives no access between %s and %s", text(p.ready), text(p.latest))
	case longest < s.Minutes:
		return say(WindowTooShort, "the work takes %s, and the longest span of access has %s", minutes(s.Minutes), minutes(longest))
	}
	return Unserved{}, false
}

// unserved lists what an order leaves out, with reasons, the gravest first.
func (p *problem) unserved(order []int) []Unserved {
	out := slices.Clone(p.hopeless)
	for j := range p.stops {
		if !slices.Contains(order, j) {
			out = append(out, p.explain(order, j))
		}
	}
	level := map[string]int{}
	for _, s := range p.in.Stops {
		level[string(s.ID[:])] = s.level()
	}
	slices.SortFunc(out, func(a, b Unserved) int {
		return cmp.Or(cmp.Compare(level[string(a.ID[:])], level[string(b.ID[:])]), bytes.Compare(a.ID[:], b.ID[:]))
	})
	return out
}

// explain says why stop j is left out: first whether it fails alone, straight
// from where the free part begins, then what fails beside the others.
func (p *problem) explain(order []int, j int) Unserved {
	s, text := &p.stops[j], p.in.Day.Clock.Text
	arrive := p.ready + p.leg[p.start()][j].Minutes
	begin, ok := s.begin(arrive)
	if !ok {
		return Unserved{s.ID, AccessMissed, fmt.Sprintf("access ends at %s; the earliest arrival is %s and the work takes %s",
			text(s.closes()), text(arrive), minutes(s.Minutes))}
	}
	if finish := begin + s.Minutes + p.leg[j][p.end()].Minutes; finish > p.latest {
		opens := ""
		if begin > arrive {
			opens = fmt.Sprintf("access opens at %s; ", text(begin))
		}
		return Unserved{s.ID, TooLate, fmt.Sprintf("%salone it would end the round at %s; the latest end is %s", opens, text(finish), text(p.latest))}
	}
	if over, ok := p.squeeze(order, j); ok {
		return Unserved{s.ID, NoRoom, fmt.Sprintf("no room beside the other stops: the round would end at %s at the soonest, %s after the latest end",
			text(p.latest+over), minutes(over))}
	}
	return Unserved{s.ID, NoRoom, "no room beside the other stops: in each place of this order somebody's access would end before the work is done"}
}

// squeeze gives the least minutes past the latest end that stop j would cost in
// some place of the order, or false when it breaks access in each.
func (p *problem) squeeze(order []int, j int) (int, bool) {
	loose := *p
	loose.latest = int(^uint(0) >> 1)
	least, found := 0, false
	for i := range len(order) + 1 {
		finish, _, ok := loose.walk(p.start(), p.ready, 0, slices.Insert(slices.Clone(order), i, j))
		if ok && (!found || finish < least) {
			least, found = finish, true
		}
	}
	// The search may have missed a place; then there is nothing to count.
	if !found || least <= p.latest {
		return 0, false
	}
	return least - p.latest, true
}

// closes gives the end of the last window that is long enough.
func (s *Stop) closes() int {
	end := 0
	for _, w := range s.Windows {
		if w.To-w.From >= s.Minutes {
			end = w.To
		}
	}
	return end
}

func minutes(n int) string {
	if n == 1 {
		return "1 minute"
	}
	return fmt.Sprintf("%d minutes", n)
}
