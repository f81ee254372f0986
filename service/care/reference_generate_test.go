package care_test

import (
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"strings"

	"github.com/google/uuid"

	"tankward/service/care"
)

// refMaker makes random histories of a routine or of a chain of joined ones.
type refMaker struct {
	*rand.Rand
	first, last care.Day // the days in which things happen
	withJoined  bool     // skips may skip joined work too
}

func (m refMaker) chance(percent int) bool { return m.IntN(100) < percent }

func (m refMaker) between(least, greatest int) int { return least + m.IntN(greatest-least+1) }

func (m refMaker) day() care.Day { return m.first + care.Day(m.IntN(int(m.last-m.first)+1)) }

func pick[T any](m refMaker, choices ...T) T { return choices[m.IntN(len(choices))] }

func (m refMaker) id() uuid.UUID {
	var id uuid.UUID
	binary.BigEndian.PutUint64(id[:8], m.Uint64())
	binary.BigEndian.PutUint64(id[8:], m.Uint64())
	return id
}

// randomRoutine makes one history of its number; the same seed and number give
// the same one. Not compared, because too little is said of them: chains with
// life support in them, whose skips name days of their own; skips with joined
// work, and closures, in chains of more than two; joined work that begins later
// than its parent or has pauses of its own; closures of a calendar whose rule
// changes; pauses and inactive months of changed life support, where a named day
// and a change may meet.
func randomRoutine(seed, number uint64) *refRoutine {
	m := refMaker{Rand: rand.New(rand.NewPCG(seed, number))}
	m.first = mustDay("2026-01-05") + care.Day(m.IntN(300))
	m.last = m.first + care.Day(m.between(20, 110))
	r := m.root()
	links := 1
	for r.Revisions[0].Cadence.Kind != care.OnRamp && r.Routine.Class != care.LifeSupport && m.chance(30) {
		r = m.joinedTo(r)
		links++
	}
	m.withJoined = links == 2
	if links > 2 {
		for at := r; at != nil; at = at.parent {
			at.Access = care.Access{}
		}
	}
	m.recordAll(r)
	return r
}

func (m refMaker) root() *refRoutine {
	r := &refRoutine{History: care.History{Routine: m.routine()}}
	kind := pick(m, care.Interval, care.Interval, care.Interval, care.Calendar, care.Calendar, care.Calendar, care.Once, care.OnRamp)
	m.addRevision(r, kind, m.first-care.Day(m.IntN(5)))
	for kind != care.OnRamp && len(r.Revisions) < 3 && m.chance(20) {
		next := kind
		if kind != care.Once && m.chance(15) {
			next = pick(m, care.Interval, care.Calendar)
		}
		from := m.day()
		if from > r.Revisions[len(r.Revisions)-1].From {
			m.addRevision(r, next, from)
		}
	}
	if kind != care.Calendar && r.Revisions[len(r.Revisions)-1].Cadence.Kind != care.Calendar || len(r.Revisions) == 1 {
		r.Access = m.access()
	}
	r.Pauses = m.pauses()
	if r.Routine.Class == care.LifeSupport && len(r.Revisions) > 1 {
		r.Pauses = nil
		for i := range r.Revisions {
			r.Revisions[i].Months = 0
		}
	}
	if kind == care.OnRamp {
		r.RampEvents = m.rampEvents()
	}
	return r
}

func (m refMaker) routine() care.Routine {
	routine := care.Routine{
		ID: m.id(), CatchUp: care.Merge, FirstDay: m.first, LastDay: care.MaxDay,
		Kind:  pick(m, care.Feeding, care.WaterChange, care.WaterChange, care.EquipmentService),
		Class: pick(m, care.LifeSupport, care.AnimalWelfare, care.WaterQuality, care.WaterQuality, care.Upkeep),
	}
	if m.chance(20) {
		routine.LastDay = m.day()
	}
	return routine
}

// addRevision adds what the routine says from a day on.
func (m refMaker) addRevision(r *refRoutine, kind care.CadenceKind, from care.Day) {
	rev := care.Revision{
		From: from, Cadence: care.Cadence{Kind: kind},
		Performer: pick(m, care.Technician, care.Technician, care.Technician, care.Keeper, care.Shop, care.Device),
		DaysLate:  m.IntN(9),
	}
	rule, text, step := &rev.Cadence, "", 8
	switch kind {
	case care.Interval:
		rule.Unit = pick(m, care.Days, care.Days, care.Days, care.Weeks, care.Months)
		switch rule.Unit {
		case care.Days:
			rule.Every = m.between(1, 16)
			step = rule.Every
		case care.Weeks:
			rule.Every = m.between(1, 3)
			step = 7 * rule.Every
		default:
			rule.Every = m.between(1, 2)
			step = 28
		}
	case care.Calendar:
		text = m.ruleText(r)
	case care.Once:
		rule.On = max(from, m.first) + care.Day(m.IntN(30))
		if len(r.Revisions) > 0 { // only its tolerance changes
			rule.On = r.Revisions[0].Cadence.On
		}
	case care.OnRamp:
		rule.Ramp = m.ramp()
		step = 1
	}
	rev.DaysEarly = m.IntN(step)
	if m.chance(30) {
		rev.DaysEarly = 0
	}
	if kind != care.OnRamp && m.chance(15) {
		for month := 1; month <= 12; month++ {
			if m.chance(70) {
				rev.Months |= 1 << month
			}
		}
	}
	r.Revisions = append(r.Revisions, rev)
	r.rules = append(r.rules, text)
}

// ruleText makes a rule that is plainly daily for feeding or plainly not.
func (m refMaker) ruleText(r *refRoutine) string {
	weekdays := []string{"MO", "TU", "WE", "TH", "FR", "SA", "SU"}
	m.Shuffle(7, func(i, j int) { weekdays[i], weekdays[j] = weekdays[j], weekdays[i] })
	some := strings.Join(weekdays[:m.between(1, 4)], ",")
	text := pick(m,
		"FREQ=DAILY",
		fmt.Sprintf("FREQ=DAILY;INTERVAL=%d", m.between(2, 9)),
		"FREQ=WEEKLY;BYDAY="+some,
		"FREQ=WEEKLY;BYDAY="+some,
		"FREQ=WEEKLY;INTERVAL=2;WKST=SU;BYDAY="+some,
		fmt.Sprintf("FREQ=MONTHLY;BYMONTHDAY=%d,%d", m.between(1, 31), -m.between(1, 31)),
		"FREQ=MONTHLY;BYDAY=1"+weekdays[0]+",-1"+weekdays[1],
		"FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=1,-1",
		"FREQ=YEARLY;BYMONTH=1,2,3,4,5,6,7,8,9,10,11,12;BYMONTHDAY=3,20",
	)
	switch {
	case m.chance(10):
		until := m.last - care.Day(m.IntN(20))
		text += ";UNTIL=" + strings.ReplaceAll(until.String(), "-", "")
	case m.chance(10) && len(r.Revisions) == 0:
		text += fmt.Sprintf(";COUNT=%d", m.between(1, 9))
	}
	return text
}

func (m refMaker) ramp() *care.RampPlan {
	plan := &care.RampPlan{
		From: float64(m.between(10, 60)), Days: m.between(1, 30), StepDays: m.between(1, 9),
		Curve: pick(m, care.Linear, care.Linear, care.Geometric), GreatestRise: float64(m.between(5, 40)) / 2,
	}
	plan.To = plan.From + float64(m.between(1, 40))
	return plan
}

func (m refMaker) rampEvents() []care.RampEvent {
	var events []care.RampEvent
	held := false
	for day := m.first; day <= m.last; day++ {
		switch {
		case held && m.chance(15):
			held = false
			events = append(events, care.RampEvent{Day: day, Kind: care.Resume})
		case !held && m.chance(3):
			held = true
			events = append(events, care.RampEvent{Day: day, Kind: care.Hold})
		}
		if m.chance(3) {
			events = append(events, care.RampEvent{Day: day, Kind: care.StepBack})
		}
	}
	return events
}

func (m refMaker) access() care.Access {
	var access care.Access
	for m.chance(60) && len(access.Closures) < 5 {
		from := m.day()
		to := from + care.Day(m.between(1, 10))
		if m.chance(15) {
			to = from + care.Day(m.between(11, 40))
		}
		entered := from + care.Day(m.between(-12, 9))
		if m.chance(5) {
			to = care.MaxDay
		}
		access.Closures = append(access.Closures, care.Closure{Span: care.Span{From: from, To: to}, Entered: entered})
	}
	if m.chance(20) {
		access.NoAccess = 1 << m.between(1, 7)
		for m.chance(50) {
			access.NoAccess |= 1 << m.between(1, 7)
		}
		if m.chance(8) {
			access.NoAccess = 0xfe
		}
		access.NoAccessEntered = m.first + care.Day(m.between(-30, 40))
	}
	return access
}

func (m refMaker) pauses() []care.Span {
	var pauses []care.Span
	for m.chance(25) && len(pauses) < 3 {
		from := m.day()
		to := from + care.Day(m.between(1, 25))
		if m.chance(10) {
			to = care.MaxDay
		}
		pauses = append(pauses, care.Span{From: from, To: to})
	}
	return pauses
}

// joinedTo makes a routine of the same tank that follows another.
func (m refMaker) joinedTo(parent *refRoutine) *refRoutine {
	r := &refRoutine{History: care.History{Routine: m.routine()}, parent: parent}
	r.Routine.FirstDay = parent.Routine.FirstDay
	r.Routine.Class = pick(m, care.AnimalWelfare, care.WaterQuality, care.Upkeep)
	gap := care.Gap{Unit: care.Minutes, Least: m.between(0, 30), Greatest: 60}
	if m.chance(40) {
		gap.Unit, gap.Least = care.Days, m.IntN(5)
		gap.Greatest = gap.Least + m.IntN(6)
	}
	for range 2 {
		from := r.Routine.FirstDay
		if len(r.Revisions) > 0 {
			from = m.day()
			if from <= r.Revisions[0].From || m.chance(85) {
				continue
			}
		}
		r.Revisions = append(r.Revisions, care.Revision{
			From: from, Cadence: care.Cadence{Kind: care.Joined, Parent: parent.Routine.ID, Gap: gap},
			Performer: pick(m, care.Technician, care.Keeper), DaysLate: m.IntN(6),
		})
		r.rules = append(r.rules, "")
	}
	r.Access = parent.Access
	r.Pauses = parent.Pauses
	return r
}

// recordAll walks the routine once and lets people record work as they see
// fit: mostly what is open, sometimes what is not.
func (m refMaker) recordAll(r *refRoutine) {
	w := newRefWalk(r, m.last)
	first := m.first - 6
	w.walkFrom(first)
	for day := first; day <= m.last; day++ {
		w.step(day, m.recordsOn)
	}
}

func (m refMaker) recordsOn(w *refWalk, day care.Day) []care.Record {
	percent, item := 2, w.visible()
	if item != nil {
		percent = 20
	}
	for m.chance(percent) {
		w.routine.Records = append(w.routine.Records, m.record(w, item, day))
		percent = 12
	}
	return recordsOfDay(w, day)
}

func (m refMaker) record(w *refWalk, item *refItem, day care.Day) care.Record {
	rec := care.Record{ID: m.id(), DoneOn: day}
	rec.Result = pick(m, care.Done, care.Done, care.Done, care.Partly, care.Skipped, care.Skipped, care.NoAccess)
	switch rec.Result {
	case care.Partly:
		rec.Share = pick(m, 10, 30, 50, 50, 70, 100)
	case care.Skipped:
		rec.WithJoined = m.withJoined && m.chance(40)
		if w.routine.Routine.Class == care.LifeSupport {
			rec.NewDueOn = day + care.Day(m.IntN(2))
		}
	}
	rec.Names = m.names(w, item, day)
	if w.kind() == care.OnRamp && (rec.Result == care.Done || rec.Result == care.Partly) && m.chance(90) {
		rec.Level = m.level(w, item)
	}
	return rec
}

// names lets a record name the open item, an older or a newer one, or nothing.
func (m refMaker) names(w *refWalk, item *refItem, day care.Day) *care.Identity {
	switch {
	case m.chance(40):
		return nil
	case item != nil && m.chance(75):
		identity := item.Identity
		return &identity
	case len(w.closings) > 0 && m.chance(50):
		identity := w.closings[len(w.closings)-1].item.Identity
		return &identity
	case len(w.pending) > 0 && m.chance(50):
		identity := w.pending[0].Identity
		return &identity
	}
	return &care.Identity{NominalDue: day + care.Day(m.between(-12, 12))}
}

// level is mostly the one asked for, sometimes another.
func (m refMaker) level(w *refWalk, item *refItem) float64 {
	if item != nil && m.chance(80) {
		return item.level
	}
	levels := refLevels(*w.now().Cadence.Ramp)
	level := levels[m.IntN(len(levels))]
	if m.chance(20) {
		level += float64(m.between(-20, 20)) / 8
	}
	return max(level, 1)
}
