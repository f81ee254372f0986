package rounds

import (
	"cmp"
	"math/rand/v2"
	"slices"
)

// budget divided by the number of stops is how often the search tears a part out
// of the order and puts it back another way. It counts rounds of work, not
// time, so that the answer does not depend on the machine.
const budget = 12000

// greatestSlack is how many minutes an order that the search goes on from may
// end after the best one.
const greatestSlack = 20

// search finds a good order of many stops: the best of several first orders,
// each made better by moves, then ruined and rebuilt again and again.
func (p *problem) search(seed uint64) []int {
	if len(p.stops) == 0 {
		return nil
	}
	r := rand.New(rand.NewPCG(seed, uint64(len(p.stops))))
	s := &searcher{problem: p}
	var best []int
	var bestCost cost
	for i, first := range s.firsts() {
		order := s.improve(first)
		if c, _ := p.costOf(order); i == 0 || c.compare(bestCost) < 0 {
			best, bestCost = order, c
		}
	}
	current, currentCost := best, bestCost
	kicks := budget / len(p.stops)
	for k := range kicks {
		order := s.improve(s.rebuild(s.ruin(current, r), r))
		c, ok := p.costOf(order)
		if !ok {
			continue
		}
		if c.compare(bestCost) < 0 {
			best, bestCost = order, c
		}
		// A little worse is taken too, less and less of it, to get out of a
		// corner; then the search goes on from the best.
		slack := greatestSlack * (kicks - k) / kicks
		if c.unserved == currentCost.unserved && c.finish <= bestCost.finish+slack || c.compare(currentCost) <= 0 {
			current, currentCost = order, c
		}
		if k%50 == 49 {
			current, currentCost = best, bestCost
		}
	}
	return best
}

type searcher struct {
	*problem
	readyAt, metresAt []int // when and after how many metres each place of the order is left
	try               []int
}

// firsts gives orders to start from: by id, by when access ends and begins, and
// by cheapest insertion.
func (s *searcher) firsts() [][]int {
	ids := make([]int, len(s.stops))
	for j := range ids {
		ids[j] = j
	}
	by := func(key func(j int) int) []int {
		return slices.SortedStableFunc(slices.Values(ids), func(a, b int) int { return cmp.Compare(key(a), key(b)) })
	}
	closing := by(func(j int) int {
		if n := len(s.stops[j].Windows); n > 0 {
			return s.stops[j].Windows[n-1].To - s.stops[j].Minutes
		}
		return s.latest
	})
	opening := by(func(j int) int {
		if len(s.stops[j].Windows) > 0 {
			return s.stops[j].Windows[0].From
		}
		return s.ready
	})
	return [][]int{s.sorted(ids), s.sorted(closing), s.sorted(opening), s.insertAll(nil)}
}

// sorted takes stops in the order given and leaves out those that don't fit.
func (s *searcher) sorted(list []int) []int {
	var order []int
	for _, j := range list {
		if next := append(slices.Clone(order), j); s.fits(next) {
			order = next
		}
	}
	return order
}

func (s *searcher) fits(order []int) bool {
	_, _, ok := s.walk(s.start(), s.ready, 0, order)
	return ok
}

// left lists the stops that an order leaves out.
func (s *searcher) left(order []int) []int {
	served := make([]bool, len(s.stops))
	for _, j := range order {
		served[j] = true
	}
	var out []int
	for j := range s.stops {
		if !served[j] {
			out = append(out, j)
		}
	}
	return out
}

// insertAll puts in what fits, the gravest level first, within a level always
// the stop that costs least.
func (s *searcher) insertAll(order []int) []int {
	order = slices.Clone(order)
	for level := range levels {
		for {
			var best place
			found := false
			for _, j := range s.left(order) {
				if s.level[j] != level {
					continue
				}
				if at, ok := s.cheapest(order, j, nil); ok && (!found || at.compare(best) < 0) {
					best, found = at, true
				}
			}
			if !found {
				break
			}
			order = slices.Insert(order, best.at, best.stop)
		}
	}
	return order
}

// place is where a stop may be put and what the order then comes to.
type place struct{ stop, at, finish, metres int }

func (a place) compare(b place) int {
	return cmp.Or(cmp.Compare(a.finish, b.finish), cmp.Compare(a.metres, b.metres))
}

// blind is the share of places in 1/100 that rebuilding does not look at, so
// that it does not put everything back where it was.
const blind = 30

// cheapest gives the best place for a stop in an order; with a random source it
// looks past some places.
func (s *searcher) cheapest(order []int, j int, r *rand.Rand) (place, bool) {
	s.mark(order)
	var best place
	found := false
	for i := range len(order) + 1 {
		if r != nil && r.IntN(100) < blind {
			continue
		}
		s.try = append(append(s.try[:0], j), order[i:]...)
		finish, metres, ok := s.walk(s.before(order, i), s.readyAt[i], s.metresAt[i], s.try)
		if at := (place{j, i, finish, metres}); ok && (!found || at.compare(best) < 0) {
			best, found = at, true
		}
	}
	return best, found
}

// mark notes when each place of an order is reached.
func (s *searcher) mark(order []int) {
	s.readyAt = append(s.readyAt[:0], s.ready)
	s.metresAt = append(s.metresAt[:0], 0)
	from, ready, metres := s.start(), s.ready, 0
	for _, j := range order {
		leg := s.leg[from][j]
		begin, _ := s.stops[j].begin(ready + leg.Minutes)
		from, ready, metres = j, begin+s.stops[j].Minutes, metres+leg.Metres
		s.readyAt = append(s.readyAt, ready)
		s.metresAt = append(s.metresAt, metres)
	}
}

// before gives the stop before a place of the order.
func (s *searcher) before(order []int, i int) int {
	if i == 0 {
		return s.start()
	}
	return order[i-1]
}

// improve makes an order better by 2-opt, Or-opt and by taking stops in that
// were left out, until none of them helps. Each step lowers the cost, so it ends.
func (s *searcher) improve(order []int) []int {
	order = slices.Clone(order)
	for {
		order = s.insertAll(order)
		if next, ok := s.twoOpt(order); ok {
			order = next
			continue
		}
		if next, ok := s.orOpt(order); ok {
			order = next
			continue
		}
		next, ok := s.exchange(order)
		if !ok {
			return order
		}
		order = next
	}
}

// better walks the tail of a changed order, which is s.try, from place i on and
// says whether it ends sooner, or as soon with fewer metres.
func (s *searcher) better(order []int, i int, now place) bool {
	finish, metres, ok := s.walk(s.before(order, i), s.readyAt[i], s.metresAt[i], s.try)
	return ok && place{finish: finish, metres: metres}.compare(now) < 0
}

func (s *searcher) now(order []int) place {
	s.mark(order)
	finish, metres, _ := s.walk(s.start(), s.ready, 0, order)
	return place{finish: finish, metres: metres}
}

// twoOpt turns the first stretch around whose turning helps.
func (s *searcher) twoOpt(order []int) ([]int, bool) {
	now := s.now(order)
	for i := range order {
		for k := i + 2; k <= len(order); k++ {
			s.try = append(s.try[:0], order[i:]...)
			slices.Reverse(s.try[:k-i])
			if s.better(order, i, now) {
				return slices.Concat(order[:i], s.try), true
			}
		}
	}
	return order, false
}

// orOpt moves the first stretch of up to three stops, as it is or turned
// around, to another place where that helps.
func (s *searcher) orOpt(order []int) ([]int, bool) {
	now := s.now(order)
	for size := 1; size <= 3; size++ {
		for i := 0; i+size <= len(order); i++ {
			for to := range len(order) + 1 {
				if to >= i && to <= i+size {
					continue
				}
				for turn := range min(size, 2) {
					first := s.moved(order, i, size, to)
					if turn == 1 {
						s.turn(i, size, to)
					}
					if s.better(order, first, now) {
						return slices.Concat(order[:first], s.try), true
					}
				}
			}
		}
	}
	return order, false
}

// moved sets s.try to the tail of the order in which the stretch of some size
// at i stands before place to, and gives the first place that changes.
func (s *searcher) moved(order []int, i, size, to int) int {
	stretch := order[i : i+size]
	if to < i {
		s.try = append(append(append(s.try[:0], stretch...), order[to:i]...), order[i+size:]...)
		return to
	}
	s.try = append(append(append(s.try[:0], order[i+size:to]...), stretch...), order[to:]...)
	return i
}

// turn reverses the moved stretch within s.try.
func (s *searcher) turn(i, size, to int) {
	at := 0
	if to > i {
		at = to - i - size
	}
	slices.Reverse(s.try[at : at+size])
}

// exchange takes a left-out stop in for a served one where that lowers the cost.
func (s *searcher) exchange(order []int) ([]int, bool) {
	now := s.now(order)
	for _, j := range s.left(order) {
		for i, out := range order {
			if s.level[j] > s.level[out] {
				continue
			}
			rest := slices.Delete(slices.Clone(order), i, i+1)
			at, ok := s.cheapest(rest, j, nil)
			if ok && (s.level[j] < s.level[out] || at.compare(now) < 0) {
				return slices.Insert(rest, at.at, j), true
			}
		}
	}
	return order, false
}

// ruin takes up to eight stops out of an order: a stretch of it, or those that
// lie nearest to one of them.
func (s *searcher) ruin(order []int, r *rand.Rand) []int {
	if len(order) == 0 {
		return nil
	}
	size := min(len(order), 2+r.IntN(7))
	at := r.IntN(len(order) - size + 1)
	if r.IntN(2) == 0 {
		return slices.Delete(slices.Clone(order), at, at+size)
	}
	seed := order[at]
	near := slices.SortedStableFunc(slices.Values(order), func(a, b int) int {
		return cmp.Compare(s.leg[seed][a].Metres, s.leg[seed][b].Metres)
	})[:size]
	return slices.DeleteFunc(slices.Clone(order), func(j int) bool { return slices.Contains(near, j) })
}

// rebuild puts left-out stops back, level by level, within a level in a random
// order, each in its cheapest place.
func (s *searcher) rebuild(order []int, r *rand.Rand) []int {
	left := s.left(order)
	r.Shuffle(len(left), func(i, k int) { left[i], left[k] = left[k], left[i] })
	slices.SortStableFunc(left, func(a, b int) int { return cmp.Compare(s.level[a], s.level[b]) })
	for _, j := range left {
		if at, ok := s.cheapest(order, j, r); ok {
			order = slices.Insert(order, at.at, j)
		}
	}
	return order
}
