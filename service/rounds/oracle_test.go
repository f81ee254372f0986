package rounds_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/rounds"
)

// This file knows the rules of a round a second time, slowly and minute by
// minute, and shares no code with the package.

// cases divides a count of random cases for slow runs.
func cases(t *testing.T, n int) int {
	t.Helper()
	text := os.Getenv("TANKWARD_RANDOM_DIVISOR")
	if text == "" {
		return n
	}
	d, err := strconv.Atoi(text)
	if err != nil || d < 1 {
		t.Fatalf("TANKWARD_RANDOM_DIVISOR=%q is not a whole number from 1 on", text)
	}
	return max(1, n/d)
}

// seeded gives a source for one test; TANKWARD_RANDOM_SEED repeats a run.
func seeded(t *testing.T) uint64 {
	t.Helper()
	seed := rand.Uint64()
	if text := os.Getenv("TANKWARD_RANDOM_SEED"); text != "" {
		var err error
		if seed, err = strconv.ParseUint(text, 10, 64); err != nil {
			t.Fatalf("TANKWARD_RANDOM_SEED=%q: %v", text, err)
		}
	}
	t.Logf("TANKWARD_RANDOM_SEED=%d", seed)
	return seed
}

// town gives a random day with n free stops.
func town(r *rand.Rand, n int) rounds.Input {
	spot := func() rounds.Point {
		return rounds.Point{Lat: 50 + r.Float64()*0.2, Lon: 8 + r.Float64()*0.3}
	}
	in := rounds.Input{Seed: r.Uint64(), Day: rounds.Day{
		Start: spot(), End: spot(), Shift: &rounds.Window{From: 480, To: 480 + 60 + r.IntN(600)},
		Overtime: r.IntN(3) * 30, Earliest: r.IntN(2) * (450 + r.IntN(200)),
	}}
	stop := func(i int) rounds.Stop {
		s := rounds.Stop{At: spot(), Minutes: 1 + r.IntN(80), Class: care.Class(1 + r.IntN(4)), Pressing: r.IntN(3) == 0, Closed: r.IntN(20) == 0}
		for k := range s.ID {
			s.ID[k] = byte(r.Uint32())
		}
		s.ID[15] = byte(i) // never the same twice
		for range max(0, r.IntN(5)-1) {
			from := 420 + r.IntN(600)
			s.Windows = append(s.Windows, rounds.Window{From: from, To: from - 10 + r.IntN(240)})
		}
		return s
	}
	for i := range n {
		in.Stops = append(in.Stops, stop(i))
	}
	for i := range max(0, r.IntN(5)-2) {
		in.Fixed = append(in.Fixed, rounds.Fixed{Stop: stop(200 + i)})
	}
	now := 470
	for i := range in.Fixed {
		f := &in.Fixed[i]
		switch r.IntN(3) {
		case 0:
			f.Started, f.Finished = new(now+r.IntN(30)), new(now+30+r.IntN(30))
		case 1:
			f.Started = new(now + r.IntN(30))
		}
		now += 60
	}
	if r.IntN(3) == 0 {
		in.Measure = oddWays(r, in)
	}
	return in
}

// oddWays measures ways that are asymmetric and break the triangle inequality.
func oddWays(r *rand.Rand, in rounds.Input) func(from, to rounds.Point) rounds.Leg {
	points := []rounds.Point{in.Day.Start, in.Day.End}
	for _, s := range in.Stops {
		points = append(points, s.At)
	}
	for _, f := range in.Fixed {
		points = append(points, f.At)
	}
	ways := map[[2]rounds.Point]rounds.Leg{}
	for _, a := range points {
		for _, b := range points {
			ways[[2]rounds.Point{a, b}] = rounds.Leg{Minutes: r.IntN(40), Metres: r.IntN(30000)}
		}
	}
	return func(from, to rounds.Point) rounds.Leg { return ways[[2]rounds.Point{from, to}] }
}

// site answers from a stop's access minute by minute.
type site struct {
	rounds.Stop
	level int
	run   []int // run[m]: for how many minutes from m on the site stays open
}

const dayEnd = 4000 // past every minute of a test

func siteOf(s rounds.Stop) site {
	open := make([]bool, dayEnd+1)
	for m := range open {
		open[m] = !s.Closed && len(s.Windows) == 0
		for _, w := range s.Windows {
			if !s.Closed && w.From <= m && m < w.To {
				open[m] = true
			}
		}
	}
	x := site{Stop: s, level: int(s.Class)*2 - 2, run: make([]int, dayEnd+2)}
	if !s.Pressing {
		x.level++
	}
	for m := dayEnd; m >= 0; m-- {
		if open[m] {
			x.run[m] = x.run[m+1] + 1
		}
	}
	return x
}

func (x site) fits(start int) bool { return x.run[start] >= x.Minutes }

// score is the objective in its order: eight counts of unserved stops, overtime,
// finish, metres.
type score [11]int

func (a score) compare(b score) int { return slices.Compare(a[:], b[:]) }

// world is a day ready to be tried out.
type world struct {
	in     rounds.Input
	ways   func(from, to rounds.Point) rounds.Leg
	sites  []site
	at     rounds.Point // after the fixed stops
	ready  int
	metres int
	latest int
}

func worldOf(in rounds.Input) *world {
	w := &world{in: in, ways: in.Measure, at: in.Day.Start}
	if w.ways == nil {
		w.ways = rounds.CommonTravel().Leg
	}
	w.ready = max(in.Day.Shift.From, in.Day.Earliest)
	w.latest = in.Day.Shift.To + in.Day.Overtime
	for _, f := range in.Fixed {
		leg := w.ways(w.at, f.At)
		w.metres += leg.Metres
		switch {
		case f.Finished != nil:
			w.ready = *f.Finished
		case f.Started != nil:
			w.ready = *f.Started + f.Minutes
		default:
			w.ready = pinnedStart(f.Stop, w.ready+leg.Minutes) + f.Minutes
		}
		w.ready = max(w.ready, in.Day.Earliest)
		w.at = f.At
	}
	for _, s := range in.Stops {
		w.sites = append(w.sites, siteOf(s))
	}
	return w
}

func pinnedStart(s rounds.Stop, arrive int) int {
	x := siteOf(s)
	for m := arrive; m < dayEnd-200; m++ {
		if x.fits(m) {
			return m
		}
	}
	return arrive
}

// drive goes on from a place and gives when the service of site j is done.
func (w *world) drive(from rounds.Point, ready, j int) (int, bool) {
	for m := ready + w.ways(from, w.sites[j].At).Minutes; m <= w.latest; m++ {
		if w.sites[j].fits(m) {
			return m + w.sites[j].Minutes, m+w.sites[j].Minutes <= w.latest
		}
	}
	return 0, false
}

// home scores a round that ends here; only an empty one may end too late.
func (w *world) home(from rounds.Point, ready, metres int, served []bool) (score, bool) {
	var s score
	some := false
	for j, x := range w.sites {
		some = some || served[j]
		if !served[j] {
			s[x.level]++
		}
	}
	leg := w.ways(from, w.in.Day.End)
	finish := ready + leg.Minutes
	s[8], s[9], s[10] = max(0, finish-w.in.Day.Shift.To), finish, metres+leg.Metres
	if !some && len(w.in.Fixed) == 0 {
		s[8], s[9], s[10] = 0, ready, 0
	}
	return s, !some || finish <= w.latest
}

// brute tries every order of every set of stops.
func (w *world) brute() score {
	served := make([]bool, len(w.sites))
	best, _ := w.home(w.at, w.ready, w.metres, served)
	var try func(from rounds.Point, ready, metres int)
	try = func(from rounds.Point, ready, metres int) {
		if s, ok := w.home(from, ready, metres, served); ok && s.compare(best) < 0 {
			best = s
		}
		for j, x := range w.sites {
			if served[j] {
				continue
			}
			if done, ok := w.drive(from, ready, j); ok {
				served[j] = true
				try(x.At, done, metres+w.ways(from, x.At).Metres)
				served[j] = false
			}
		}
	}
	try(w.at, w.ready, w.metres)
	return best
}

// sorted takes the stops in the order of their ids where they fit.
func (w *world) sorted() score {
	ids := make([]int, len(w.sites))
	for j := range ids {
		ids[j] = j
	}
	slices.SortFunc(ids, func(a, b int) int { return slices.Compare(w.sites[a].ID[:], w.sites[b].ID[:]) })
	served := make([]bool, len(w.sites))
	at, ready, metres := w.at, w.ready, w.metres
	best, _ := w.home(at, ready, metres, served)
	for _, j := range ids {
		done, ok := w.drive(at, ready, j)
		if !ok {
			continue
		}
		served[j] = true
		s, ok := w.home(w.sites[j].At, done, metres+w.ways(at, w.sites[j].At).Metres, served)
		if !ok {
			served[j] = false
			continue
		}
		best, metres = s, metres+w.ways(at, w.sites[j].At).Metres
		at, ready = w.sites[j].At, done
	}
	return best
}

// scoreOf reads the objective off a plan.
func (w *world) scoreOf(p rounds.Plan) score {
	var s score
	for _, u := range p.Unserved {
		for _, x := range w.sites {
			if x.ID == u.ID {
				s[x.level]++
			}
		}
	}
	s[8], s[9], s[10] = p.Overtime, p.Finish, p.Drive.Metres
	return s
}

// check finds what is wrong with a plan, rule by rule.
func (w *world) check(p rounds.Plan) []string {
	var wrong []string
	say := func(format string, args ...any) { wrong = append(wrong, fmt.Sprintf(format, args...)) }
	free := map[uuid.UUID]site{}
	for _, x := range w.sites {
		free[x.ID] = x
	}
	at, ready, drive := w.in.Day.Start, p.Leave, rounds.Leg{}
	wait, work := 0, 0
	if p.Leave < max(w.in.Day.Shift.From, w.in.Day.Earliest) && (len(p.Served) == 0 || !p.Served[0].Known) {
		say("leaves at %d, too early", p.Leave)
	}
	for i, v := range p.Served {
		var s rounds.Stop
		if i < len(w.in.Fixed) {
			s = w.in.Fixed[i].Stop
			if v.ID != s.ID || !v.Fixed {
				say("place %d is not the fixed stop", i)
			}
		} else {
			x, ok := free[v.ID]
			if !ok {
				say("place %d is unknown or served twice", i)
				continue
			}
			delete(free, v.ID)
			s = x.Stop
			if !x.fits(v.Start) || v.MissesAccess {
				say("place %d breaks a window", i)
			}
		}
		if leg := w.ways(at, s.At); leg != v.Drive {
			say("place %d: way %v is not %v", i, v.Drive, leg)
		}
		if !v.Known {
			if v.Arrive != ready+v.Drive.Minutes || v.Depart != v.Start+s.Minutes || v.Wait < 0 {
				say("place %d: times %+v after %d", i, v, ready)
			}
			if v.MissesAccess == siteOf(s).fits(v.Start) {
				say("place %d says %v of its access", i, v.MissesAccess)
			}
		}
		if v.Wait != v.Start-v.Arrive {
			say("place %d: wait %d", i, v.Wait)
		}
		drive.Minutes, drive.Metres = drive.Minutes+v.Drive.Minutes, drive.Metres+v.Drive.Metres
		wait, work = wait+v.Wait, work+v.Depart-v.Start
		at, ready = s.At, max(v.Depart, w.in.Day.Earliest)
	}
	for _, u := range p.Unserved {
		if _, ok := free[u.ID]; !ok || u.Reason == "" || u.Code == "" {
			say("unserved %+v", u)
		}
		delete(free, u.ID)
	}
	if len(free) != 0 {
		say("%d stops are forgotten", len(free))
	}
	if len(p.Served) > 0 {
		if p.Return != w.ways(at, w.in.Day.End) || p.Finish != ready+p.Return.Minutes {
			say("return %v to %d", p.Return, p.Finish)
		}
		drive.Minutes, drive.Metres = drive.Minutes+p.Return.Minutes, drive.Metres+p.Return.Metres
	} else if p.Finish != p.Leave {
		say("an empty round takes time")
	}
	if len(p.Served) > len(w.in.Fixed) && p.Finish > w.latest {
		say("ends at %d, latest %d", p.Finish, w.latest)
	}
	over := max(0, p.Finish-w.in.Day.Shift.To)
	if len(p.Served) == 0 {
		over = 0
	}
	if drive != p.Drive || wait != p.WaitMinutes || work != p.WorkMinutes || p.Overtime != over {
		say("sums: %+v", p)
	}
	return wrong
}
