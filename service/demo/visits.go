package demo

import (
	"slices"

	"tankward/service/care"
	"tankward/service/tx"
)

// visit is one technician at a site on a past day.
type visit struct {
	day    care.Day
	by     *person
	begin  int // minutes after midnight
	course visitCourse
	next   care.Day // when the next one is planned
}

// visitCourse says how a visit went.
type visitCourse int

const (
	wentWell visitCourse = iota
	lockedOut
	cutShort
)

// How visits go, in percent: common sense, no published source.
const (
	onTheDay      = 82
	oneDayLate    = 10
	everLockedOut = 1.5
	everCutShort  = 4
)

func (s *site) period() care.Day {
	if s.plan == "fortnightly" {
		return 14
	}
	return 7
}

// planVisits makes the visits of the past: by plan, usually on the day, moved
// where the site is shut, the last ones as the plan stands today.
func (b *builder) planVisits(s *site) {
	d := newDice(b.seed, b.code, s.key, "visits")
	period := s.period()
	ahead := b.ahead(s)
	planned := b.begin + (ahead+historyDays)%period
	for planned < b.begin+1 {
		planned += period
	}
	for ; planned < b.today; planned += period {
		v := visit{day: planned, course: wentWell}
		delay, course := d.delay(), d.visitCourse()
		switch last := planned+period >= b.today; {
		case last && !s.lastVisit(&v):
			continue
		case !last && (s.now == "" || planned+steadyDays < b.today):
			v.day, v.course = v.day+delay, course
		}
		for !s.open(v.day) {
			v.day++
		}
		if n := len(s.visits); v.day >= b.today || n > 0 && v.day <= s.visits[n-1].day {
			continue
		}
		b.attend(s, &v, d)
		s.visits = append(s.visits, v)
	}
	for i := range s.visits {
		s.visits[i].next = b.today + max(ahead, 1)
		if i+1 < len(s.visits) {
			s.visits[i].next = s.visits[i+1].day
		}
	}
}

// steadyDays is for how long sites with a part in today's picture were visited
// by plan.
const steadyDays = 30

// ahead gives in how many days the next planned visit is; below zero when one
// that was planned did not do its work.
func (b *builder) ahead(s *site) care.Day {
	switch s.now {
	case "today":
		return 0
	case "tomorrow":
		return 1
	case "yesterday":
		return s.period() - 1
	case "no access", "technician ill", "partly":
		// So long ago that the work is late by now.
		if s.period() == 14 {
			return s.period() - 8
		}
		return s.period() - 6
	}
	d := newDice(b.seed, b.code, s.key, "day")
	for range 100 {
		day := care.Day(d.between(1, int(s.period())-1))
		if s.open(b.today+day) && s.by.works(b.today+day) {
			return day
		}
	}
	return 1
}

// lastVisit gives the last planned visit its course; false when nobody came.
func (s *site) lastVisit(v *visit) bool {
	switch s.now {
	case "no access":
		v.course = lockedOut
	case "partly":
		v.course = cutShort
	case "technician ill":
		return false
	}
	return true
}

func (d dice) delay() care.Day {
	switch n := d.r.Float64() * 100; {
	case n < onTheDay:
		return 0
	case n < onTheDay+oneDayLate:
		return 1
	case n < onTheDay+oneDayLate+4:
		return 2
	}
	return -1
}

func (d dice) visitCourse() visitCourse {
	switch n := d.r.Float64() * 100; {
	case n < everLockedOut:
		return lockedOut
	case n < everLockedOut+everCutShort:
		return cutShort
	}
	return wentWell
}

// attend says who comes and when: the responsible member, or somebody whose
// day it is.
func (b *builder) attend(s *site, v *visit, d dice) {
	v.by = s.by
	if !s.by.works(v.day) || d.chance(3) {
		cover := slices.DeleteFunc(b.withRole(tx.TechnicianR), func(p *person) bool { return !p.works(v.day) })
		if len(cover) > 0 {
			v.by = pick(d, cover)
		}
	}
	v.begin = pick(d, []int{8 * 60, 9*60 + 30, 11 * 60, 13 * 60, 14 * 60})
}
