package rounds

import (
	"cmp"
	"slices"
)

// ExactStops is how many free stops are planned exactly.
const ExactStops = 12

// label is one way to serve a set of stops and end at one of them: ready to
// leave it at a minute after so many metres.
type label struct {
	ready, metres int
	prev          int32 // index of the label it extends; -1 at the start
	stop          int8
}

// exact finds the best order by dynamic programming over (set of stops served,
// last stop).
//
// Why it is exact. Ready times only grow later when the arrival does (begin is
// monotone), and metres add up. So of two labels of the same state, one that is
// ready no later after no more metres can be continued in every way in which the
// other can, and ends no later after no more metres, with the same stops
// unserved: the other is never needed. The finish alone would need only the
// earliest label; the metres, that break its ties, need the whole front, as an
// earlier arrival may be lost again in waiting. Every set is a candidate for the
// end, so leaving stops out is decided exactly too. Nothing is assumed of the ways:
// they may be asymmetric and break the triangle inequality.
func (p *problem) exact() []int {
	n := len(p.stops)
	var labels []label
	span := make([][2]int32, n<<n) // the labels of (set, last)
	var best cost
	bestAt := int32(-1)
	best, _ = p.costOf(nil)
	for set := 1; set < 1<<n; set++ {
		for last := range n {
			if set>>last&1 == 0 {
				continue
			}
			from := int32(len(labels))
			labels = p.extend(labels, span, set&^(1<<last), last)
			span[set*n+last] = [2]int32{from, int32(len(labels))}
		}
		if at, c := p.closing(labels, span, set); at >= 0 && c.compare(best) < 0 {
			best, bestAt = c, at
		}
	}
	var order []int
	for at := bestAt; at >= 0; at = labels[at].prev {
		order = append(order, int(labels[at].stop))
	}
	slices.Reverse(order)
	return order
}

// extend appends the front of labels that end at last after serving rest.
func (p *problem) extend(labels []label, span [][2]int32, rest, last int) []label {
	n, base := len(p.stops), len(labels)
	add := func(from, ready, metres int, prev int32) {
		leg := p.leg[from][last]
		begin, ok := p.stops[last].begin(ready + leg.Minutes)
		if done := begin + p.stops[last].Minutes; ok && done <= p.latest {
			labels = append(labels, label{done, metres + leg.Metres, prev, int8(last)})
		}
	}
	if rest == 0 {
		add(p.start(), p.ready, 0, -1)
		return labels
	}
	for from := range n {
		if rest>>from&1 == 0 {
			continue
		}
		for at := span[rest*n+from][0]; at < span[rest*n+from][1]; at++ {
			add(from, labels[at].ready, labels[at].metres, at)
		}
	}
	// Equal labels keep the order they were found in, which follows the ids.
	found := labels[base:]
	slices.SortStableFunc(found, func(a, b label) int {
		return cmp.Or(cmp.Compare(a.ready, b.ready), cmp.Compare(a.metres, b.metres))
	})
	kept := 0
	for _, l := range found {
		if kept == 0 || l.metres < found[kept-1].metres {
			found[kept] = l
			kept++
		}
	}
	return labels[:base+kept]
}

// closing gives the best label of a set to drive to the end position from.
func (p *problem) closing(labels []label, span [][2]int32, set int) (int32, cost) {
	n := len(p.stops)
	var best cost
	bestAt := int32(-1)
	c := cost{}
	for j, l := range p.level {
		if set>>j&1 == 0 {
			c.unserved[l]++
		}
	}
	for last := range n {
		for at := span[set*n+last][0]; at < span[set*n+last][1]; at++ {
			home := p.leg[last][p.end()]
			c.finish, c.metres = labels[at].ready+home.Minutes, labels[at].metres+home.Metres
			if c.finish <= p.latest && (bestAt < 0 || c.compare(best) < 0) {
				best, bestAt = c, at
			}
		}
	}
	return bestAt, best
}
