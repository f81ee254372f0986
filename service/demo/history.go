package demo

import (
	"sync"

	"tankward/service/care"
	"tankward/service/tx"
	"tankward/service/work"
)

// hand is who does work, and when.
type hand struct {
	day    care.Day
	minute int // after midnight; moves on with the work
	by     work.DoneBy
	member *person // who enters the record
}

// history lets the past happen, tank by tank, and folds what came of it.
func (b *builder) history() error {
	var wait sync.WaitGroup
	lanes := make(chan struct{}, 2)
	found := make([]yield, len(b.tanks))
	for i, t := range b.tanks {
		wait.Go(func() {
			lanes <- struct{}{}
			found[i] = b.live(t)
			<-lanes
		})
	}
	wait.Wait()
	for i, t := range b.tanks {
		for _, c := range t.courses {
			b.org.Routines = append(b.org.Routines, c.routine)
		}
		b.org.Records = append(b.org.Records, found[i].records...)
		b.org.Readings = append(b.org.Readings, found[i].readings...)
		b.org.Settlements = append(b.org.Settlements, found[i].settlements...)
	}
	return nil
}

// yield is what the history of one tank gives.
type yield struct {
	records     []work.Record
	readings    []work.Reading
	settlements []work.Settlement
}

// live goes through the days of a tank.
func (b *builder) live(t *tank) yield {
	visits := t.site.visits
	keepers := b.keepers(t)
	away := b.awayDays(t)
	for day := b.begin; day < b.today; day++ {
		for len(visits) > 0 && visits[0].day == day {
			b.attended(t, &visits[0])
			visits = visits[1:]
		}
		b.keepersDay(t, day, keepers, away[day])
	}
	var y yield
	for _, c := range t.courses {
		y.records = append(y.records, c.records...)
		y.settlements = append(y.settlements, c.settle())
	}
	for i := range y.records {
		y.readings = append(y.readings, t.measured(&y.records[i])...)
	}
	return y
}

// attended is one technician at the tank.
func (b *builder) attended(t *tank, v *visit) {
	h := hand{day: v.day, minute: v.begin + t.between(0, 40), by: work.DoneBy{Kind: "member", ID: v.by.ID}, member: v.by}
	done := 0
	for _, c := range t.courses {
		if !c.onVisit {
			continue
		}
		it, ok := c.open(v.day)
		if !ok || it.State == care.Blocked || it.State == care.Early && it.Due >= v.next && it.Due > v.day+2 {
			continue
		}
		switch {
		case v.course == lockedOut:
			b.record(t, c, it, &h, outcome{result: care.NoAccess, reason: "nobody opened"})
		case v.course == cutShort && done >= 2:
			// Out of time: the rest stays due.
		case v.course == cutShort && c.key == "water_change":
			b.record(t, c, it, &h, outcome{result: care.Partly, share: 40, reason: "return pump jammed, freed it first"})
		default:
			b.record(t, c, it, &h, t.outcome(c, it))
			done++
		}
	}
}

// outcome is how a piece of work ended.
type outcome struct {
	result care.Result
	share  int
	reason string
}

// Of a hundred pieces of work so many are not simply done.
const (
	everPartly  = 1.5
	everSkipped = 1.2
	everLeft    = 0.6
)

// outcome throws how a technician's work ends.
func (t *tank) outcome(c *course, it care.Item) outcome {
	f := &c.routine.Fields
	switch n := t.r.Float64() * 100; {
	case f.WorkKind == care.LightStep || f.Class == care.LifeSupport:
		return outcome{result: care.Done}
	case n < everPartly && f.WorkKind == care.WaterChange && it.DonePercent == 0:
		return outcome{care.Partly, pick(t.dice, []int{40, 50, 60}), pick(t.dice, []string{"salt water ran out", "drain blocked", "called away to a leak"})}
	case n < everPartly+everSkipped && (f.Class == care.Upkeep || f.WorkKind == care.WaterTest):
		return outcome{care.Skipped, 0, pick(t.dice, []string{"reagent out of date", "animals just moved, left in peace", "customer asked not to", "polyps closed"})}
	}
	return outcome{result: care.Done}
}

// keeper is one of those who look after a tank between visits.
type keeper struct {
	by     work.DoneBy
	member *person
}

// keepers gives who marks daily work: a keeper through the keeper pages, or the
// club's volunteers.
func (b *builder) keepers(t *tank) []keeper {
	if b.code == "club" {
		var out []keeper
		for _, p := range b.withRole(tx.TechnicianR) {
			out = append(out, keeper{work.DoneBy{Kind: "member", ID: p.ID}, p})
		}
		return out
	}
	if t.site.plan == "shop" {
		return []keeper{{work.DoneBy{Kind: "member", ID: t.site.by.ID}, t.site.by}}
	}
	if pages := b.withRole(tx.Integration); t.site.marks && len(pages) > 0 {
		return []keeper{{work.DoneBy{Kind: "keeper", Name: t.site.keeper}, pages[0]}}
	}
	return nil
}

// awayDays are the days on which a keeper marks nothing.
func (b *builder) awayDays(t *tank) map[care.Day]bool {
	d := newDice(b.seed, b.code, t.site.key, "keeper")
	away := map[care.Day]bool{}
	if b.code == "club" || t.site.plan == "shop" {
		return away
	}
	for range 3 {
		from := b.begin + care.Day(d.between(0, historyDays-20))
		for day := from; day < from+care.Day(d.between(2, 4)); day++ {
			away[day] = true
		}
	}
	if t.site.key == "cornerhouse" { // the floor manager is ill
		for day := b.today - 3; day < b.today; day++ {
			away[day] = true
		}
	}
	return away
}

// Of a hundred daily pieces of work so many are marked, and of the less frequent
// on a day on which they are due.
const (
	dailyMarked = 97
	otherMarked = 70
	doneEarly   = 35
)

// keepersDay lets keepers do and mark their work on a day.
func (b *builder) keepersDay(t *tank, day care.Day, keepers []keeper, away bool) {
	if len(keepers) == 0 || away {
		return
	}
	who := keepers[int(day)%len(keepers)]
	h := hand{day: day, minute: 8*60 + t.between(0, 90), by: who.by, member: who.member}
	for _, c := range t.courses {
		f := &c.routine.Fields
		if c.onVisit || f.FirstDay > day {
			continue
		}
		often := daily(f.Cadence)
		marked := t.chance(otherMarked)
		if often {
			marked = t.chance(dailyMarked) || b.code == "club" && day == b.today-1 || f.PerformedBy == care.Shop
		}
		it, ok := c.open(day)
		if !ok || !marked || it.State == care.Waiting || it.State == care.Blocked || it.State == care.Early && !t.chance(doneEarly) {
			continue
		}
		if f.PartOfDay == "evening" {
			late := h
			late.minute = 18*60 + t.between(0, 60)
			b.record(t, c, it, &late, outcome{result: care.Done})
			continue
		}
		b.record(t, c, it, &h, outcome{result: care.Done})
	}
}
