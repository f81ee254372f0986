package rounds

import (
	"bytes"
	"cmp"
	"slices"

	"tankward/service/care"
)

// levels is the number of degrees of importance: class and pressing or not.
const levels = 8

// level gives the importance of a stop, 0 the greatest.
func (s *Stop) level() int {
	c := s.Class
	if c < care.LifeSupport || c > care.Upkeep {
		c = care.Upkeep
	}
	l := 2 * int(c-care.LifeSupport)
	if !s.Pressing {
		l++
	}
	return l
}

// cost compares plans: the fields in their order, the lower the better.
type cost struct {
	unserved       [levels]int
	finish, metres int
}

func (c cost) compare(d cost) int {
	return cmp.Or(slices.Compare(c.unserved[:], d.unserved[:]), cmp.Compare(c.finish, d.finish), cmp.Compare(c.metres, d.metres))
}

// problem is the free part of a round: the fixed stops are timed, and the stops
// that can't be served whatever the order are set aside.
type problem struct {
	in     Input
	prefix []Served
	at     Point // where the free part begins
	ready  int   // and when
	latest int   // when the round must have ended

	stops    []Stop // by id; windows merged
	level    []int
	hopeless []Unserved
	leg      [][]Leg // between stops; index len(stops) is the start, +1 the end
}

func newProblem(in Input) *problem {
	if in.Measure == nil {
		in.Measure = CommonTravel().Leg
	}
	p := &problem{in: in, at: in.Day.Start, ready: in.Day.Earliest}
	if s := in.Day.Shift; s != nil {
		p.ready, p.latest = max(s.From, p.ready), s.To+max(0, in.Day.Overtime)
	}
	for _, f := range in.Fixed {
		p.fix(f)
	}
	for _, s := range slices.SortedFunc(slices.Values(in.Stops), byID) {
		s = normal(s)
		if u, ok := p.refuse(s); ok {
			p.hopeless = append(p.hopeless, u)
			continue
		}
		s.Windows = slices.DeleteFunc(s.Windows, p.outside)
		p.stops = append(p.stops, s)
		p.level = append(p.level, s.level())
	}
	p.measure()
	return p
}

// normal gives a stop with merged windows and no negative time.
func normal(s Stop) Stop {
	given := len(s.Windows)
	s.Windows, s.Minutes = merged(s.Windows), max(0, s.Minutes)
	s.Closed = s.Closed || given > 0 && len(s.Windows) == 0
	return s
}

// outside says whether a window lies before or after the free part.
func (p *problem) outside(w Window) bool { return w.To < p.ready || w.From > p.latest }

func byID(a, b Stop) int { return bytes.Compare(a.ID[:], b.ID[:]) }

// fix appends a fixed stop to the prefix. What happened is never repaired.
func (p *problem) fix(f Fixed) {
	s := normal(f.Stop)
	v := Served{ID: s.ID, Drive: p.in.Measure(p.at, s.At), Fixed: true}
	switch {
	case f.Finished != nil:
		v.Known, v.Depart, v.Start = true, *f.Finished, *f.Finished
		if f.Started != nil {
			v.Start = min(*f.Started, v.Depart)
		}
		v.Arrive = v.Start
	case f.Started != nil:
		v.Known, v.Arrive, v.Start = true, *f.Started, *f.Started
		v.Depart = max(v.Start+s.Minutes, p.in.Day.Earliest)
	default:
		v.Arrive = p.ready + v.Drive.Minutes
		start, ok := s.begin(v.Arrive)
		if !ok {
			start, v.MissesAccess = v.Arrive, true
		}
		v.Start, v.Depart = start, start+s.Minutes
	}
	v.Wait = v.Start - v.Arrive
	p.prefix = append(p.prefix, v)
	p.at, p.ready = s.At, max(v.Depart, p.in.Day.Earliest)
}

// begin gives the first minute from arrive on at which the service fits a window.
func (s *Stop) begin(arrive int) (int, bool) {
	if s.Closed {
		return 0, false
	}
	for _, w := range s.Windows {
		if start := max(arrive, w.From); start+s.Minutes <= w.To {
			return start, true
		}
	}
	return arrive, len(s.Windows) == 0
}

func (p *problem) measure() {
	n := len(p.stops)
	points := make([]Point, 0, n+2)
	for _, s := range p.stops {
		points = append(points, s.At)
	}
	points = append(points, p.at, p.in.Day.End)
	p.leg = make([][]Leg, n+2)
	for i := range points {
		p.leg[i] = make([]Leg, n+2)
		for j := range points {
			if i != j {
				p.leg[i][j] = p.in.Measure(points[i], points[j])
			}
		}
	}
}

// start and end are the indices of the free part's ends.
func (p *problem) start() int { return len(p.stops) }
func (p *problem) end() int   { return len(p.stops) + 1 }

// walk times an order from a place and time on and gives where it ends, or
// false when it breaks a window or ends too late.
func (p *problem) walk(from, ready, metres int, order []int) (int, int, bool) {
	for _, j := range order {
		leg := p.leg[from][j]
		begin, ok := p.stops[j].begin(ready + leg.Minutes)
		if !ok {
			return 0, 0, false
		}
		from, ready, metres = j, begin+p.stops[j].Minutes, metres+leg.Metres
		if ready > p.latest {
			return 0, 0, false
		}
	}
	home := p.leg[from][p.end()]
	return ready + home.Minutes, metres + home.Metres, len(order) == 0 || ready+home.Minutes <= p.latest
}

// costOf gives the cost of an order, or false when it can't be driven.
func (p *problem) costOf(order []int) (cost, bool) {
	finish, metres, ok := p.walk(p.start(), p.ready, 0, order)
	c := cost{finish: finish, metres: metres}
	for _, l := range p.level {
		c.unserved[l]++
	}
	for _, j := range order {
		c.unserved[p.level[j]]--
	}
	return c, ok
}

// plan writes an order out.
func (p *problem) plan(order []int) Plan {
	out := Plan{Served: p.prefix, Leave: p.ready, Finish: p.ready, Exact: len(p.stops) <= ExactStops}
	from, ready := p.start(), p.ready
	for _, j := range order {
		v := Served{ID: p.stops[j].ID, Drive: p.leg[from][j]}
		v.Arrive = ready + v.Drive.Minutes
		v.Start, _ = p.stops[j].begin(v.Arrive)
		v.Wait, v.Depart = v.Start-v.Arrive, v.Start+p.stops[j].Minutes
		out.Served = append(out.Served, v)
		from, ready = j, v.Depart
	}
	if len(out.Served) > 0 {
		first := &out.Served[0]
		first.Arrive, first.Wait = first.Start, 0
		out.Leave = first.Start - first.Drive.Minutes
		out.Return = p.leg[from][p.end()]
		out.Finish = ready + out.Return.Minutes
	}
	for _, v := range out.Served {
		out.Drive = out.Drive.plus(v.Drive)
		out.WaitMinutes += v.Wait
		out.WorkMinutes += v.Depart - v.Start
	}
	out.Drive = out.Drive.plus(out.Return)
	if s := p.in.Day.Shift; s != nil && len(out.Served) > 0 {
		out.Overtime = max(0, out.Finish-s.To)
	}
	out.Unserved = p.unserved(order)
	return out
}
