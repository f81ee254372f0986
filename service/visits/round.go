package visits

import (
	"context"
	"maps"
	"slices"
	"time"

	"github.com/google/uuid"

	"tankward/service/access"
	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
	"tankward/service/work"
)

// Round gives a member's round of a day, today unless on says otherwise, and the
// number of the change that it was read after. Today's round is stored when it is
// first read by somebody who may record work; a viewer, or a day to come, gets a
// preview; of a past day there is what was stored, else NotFound.
func (s *Service) Round(ctx context.Context, sc tx.Scope, member uuid.UUID, on *care.Day, now time.Time) (Round, int64, error) {
	page, err := s.days(ctx, sc, question{CrewFilter{Member: member}, resource.Paging{Limit: 1}, on}, now)
	if err != nil {
		return Round{}, 0, err
	}
	if len(page.Items) == 0 {
		return Round{}, 0, &fault.Error{Class: fault.NotFound, Detail: "No round was made for that day."}
	}
	return page.Items[0], page.Head, nil
}

// Rounds lists the rounds of the crew in the way of Round; of a past day those
// that were stored.
func (s *Service) Rounds(ctx context.Context, sc tx.Scope, on *care.Day, p resource.Paging, now time.Time) (resource.Page[Round], error) {
	return s.days(ctx, sc, question{CrewFilter{On: on}, p, on}, now)
}

// question asks for the rounds of some members.
type question struct {
	crew CrewFilter
	page resource.Paging
	on   *care.Day
}

// mayRecord says whether a role may record work, and so begin a day. A read by
// such a role may write: the plan of a day has to stay as it was first seen, or a
// technician would find another order after each piece of work. Who only looks
// leaves nothing behind.
func mayRecord(r tx.Role) bool {
	return slices.Contains([]tx.Role{tx.Owner, tx.Coordinator, tx.TechnicianR, tx.Integration}, r)
}

// tries is how often a day is read again because somebody else stored it in the
// meantime, or because it was stored now: what is answered has been read after
// the head of the change log, so that its tag never hides a change.
const tries = 4

func (s *Service) days(ctx context.Context, sc tx.Scope, q question, now time.Time) (resource.Page[Round], error) {
	for try := 1; ; try++ {
		page, more, err := s.read(ctx, sc, q, now)
		if err != nil || len(more) == 0 || try == tries || !mayRecord(sc.Role) {
			return page, err
		}
		for _, m := range more {
			if err := s.store(ctx, sc, m, now); err != nil {
				return page, err
			}
		}
	}
}

// unstored is a round with what of it is not stored.
type unstored struct {
	Round
	additions
}

// read gives the rounds as they are now, stored or not.
func (s *Service) read(ctx context.Context, sc tx.Scope, q question, now time.Time) (resource.Page[Round], []unstored, error) {
	crew, err := s.reads.Crew(ctx, sc, q.crew, q.page)
	page := resource.Page[Round]{Head: crew.Head, Next: crew.Next}
	if err != nil {
		return page, nil, err
	}
	if len(crew.Items) == 0 && q.crew.Member != uuid.Nil {
		return page, nil, fault.NoSuch("member", q.crew.Member)
	}
	all, err := s.gather(ctx, sc, crew.Items, q.on, now)
	if err != nil {
		return page, nil, err
	}
	var more []unstored
	for _, k := range all {
		if k.stored == nil && !k.live() {
			continue
		}
		r, add := k.decide()
		page.Items = append(page.Items, r)
		if !add.none() {
			more = append(more, unstored{r, add})
		}
	}
	return page, more, nil
}

// gather reads all that decides the members' days.
func (s *Service) gather(ctx context.Context, sc tx.Scope, members []access.Member, on *care.Day, now time.Time) ([]known, error) {
	all := make([]known, len(members))
	keys := make([]Key, len(members))
	for i, m := range members {
		today := fleet.Today(m.Fields.TimeZone, now)
		all[i] = known{member: m, day: today, today: today, now: now}
		if on != nil {
			all[i].day = *on
		}
		keys[i] = Key{m.ID, all[i].day}
	}
	if len(keys) == 0 {
		return nil, nil
	}
	book, err := s.reads.Rounds(ctx, sc, keys)
	if err != nil {
		return nil, err
	}
	var asks []ask
	for i := range all {
		k := &all[i]
		k.Places = book.Places
		if n := slices.IndexFunc(book.Rounds, func(r Round) bool { return r.MemberID == k.member.ID && r.Day == k.day }); n >= 0 {
			k.stored = &book.Rounds[n]
		}
		if k.live() {
			asks = append(asks, ask{to: &k.open, member: k.member.ID, day: k.day, plain: k.plain()})
		}
	}
	return all, s.askDue(ctx, sc, asks, now)
}

// plain says that the day is today at the member and at all sites, so that the
// stored due work answers for it.
func (k known) plain() bool {
	if k.day != k.today {
		return false
	}
	for _, site := range k.Sites {
		if site.Fields.ResponsibleMember == k.member.ID && fleet.Today(site.Fields.TimeZone, k.now) != k.day {
			return false
		}
	}
	return true
}

// ask wants the technician work that is open on a day put into to: of the sites
// of a member, or, with a site, of that site.
type ask struct {
	to           *[]work.DueItem
	member, site uuid.UUID
	day          care.Day
	plain        bool // the day is each site's own today
}

// askDue answers several at once: asks of one day share their due work.
func (s *Service) askDue(ctx context.Context, sc tx.Scope, asks []ask, now time.Time) error {
	type group struct {
		day   care.Day
		plain bool
	}
	groups := map[group][]ask{}
	for _, a := range asks {
		g := group{a.day, a.plain}
		if a.plain {
			g.day = 0
		}
		groups[g] = append(groups[g], a)
	}
	for g, same := range groups {
		f := work.DueFilter{PerformedBy: care.Technician, Member: same[0].member, Site: same[0].site}
		for _, a := range same[1:] {
			if a.member != f.Member {
				f.Member = uuid.Nil
			}
			if a.site != f.Site {
				f.Site = uuid.Nil
			}
		}
		on := &g.day
		if g.plain {
			on = nil
		}
		items, err := s.allDue(ctx, sc, f, on, now)
		if err != nil {
			return err
		}
		for _, a := range same {
			*a.to = items
		}
	}
	return nil
}

// duePage is how much due work is read at once.
const duePage = 2000

func (s *Service) allDue(ctx context.Context, sc tx.Scope, f work.DueFilter, on *care.Day, now time.Time) ([]work.DueItem, error) {
	var all []work.DueItem
	p := resource.Paging{Limit: duePage}
	for {
		page, err := s.due.Due(ctx, sc, work.DueQuery{DueFilter: f, On: on, Now: now}, p)
		if err != nil {
			return nil, err
		}
		all = append(all, page.Items...)
		if page.Next == "" {
			return all, nil
		}
		p.After = page.Next
	}
}

// store keeps what is new of a round. When somebody else was faster, nothing
// happens; the next read shows theirs.
func (s *Service) store(ctx context.Context, sc tx.Scope, m unstored, now time.Time) error {
	if m.create {
		m.ID = s.newID()
		for i := range m.Visits {
			m.Visits[i].ID = s.newID()
		}
	}
	for i := range m.visits {
		m.visits[i].ID = s.newID()
	}
	_, err := tx.Do(ctx, s.run, tx.Call[bool]{Scope: sc, Now: now}, func(ctx context.Context, t Tx) (bool, tx.Trail, error) {
		if m.create {
			return m.begin(ctx, t)
		}
		return m.extend(ctx, t)
	})
	return err
}

// begin stores a new round.
func (m unstored) begin(ctx context.Context, t Tx) (bool, tx.Trail, error) {
	added, err := t.InsertRound(ctx, m.Round)
	if err != nil || !added {
		return false, tx.Trail{}, err
	}
	trail := tx.Did(tx.Change{Resource: "round", Action: "created", ID: m.ID})
	for _, v := range m.Visits {
		trail.Changes = append(trail.Changes, tx.Change{Resource: "visit", Action: "created", ID: v.ID, Site: v.Site.ID})
	}
	return true, trail, nil
}

// extend stores the additions to a round that is still as it was seen.
func (m unstored) extend(ctx context.Context, t Tx) (bool, tx.Trail, error) {
	now, err := t.LockRound(ctx, Key{m.MemberID, m.Day})
	if err != nil || !maps.Equal(m.seen, now) {
		return false, tx.Trail{}, err
	}
	if err := t.SaveRound(ctx, m.Round); err != nil {
		return false, tx.Trail{}, err
	}
	if err := t.InsertVisits(ctx, m.visits); err != nil {
		return false, tx.Trail{}, err
	}
	if err := t.InsertItems(ctx, m.items); err != nil {
		return false, tx.Trail{}, err
	}
	if err := t.SaveVisits(ctx, m.changed); err != nil {
		return false, tx.Trail{}, err
	}
	trail := tx.Did(tx.Change{Resource: "round", Action: "changed", ID: m.ID, Fields: m.fields()})
	for _, v := range m.visits {
		trail.Changes = append(trail.Changes, tx.Change{Resource: "visit", Action: "created", ID: v.ID, Site: v.Site.ID})
	}
	for _, v := range m.changed {
		fields := []string{"depart_at"}
		if m.items[v.ID] != nil {
			fields = append(fields, "items")
		}
		trail.Changes = append(trail.Changes, tx.Change{Resource: "visit", Action: "changed", ID: v.ID, Site: v.Site.ID, Fields: fields})
	}
	return true, trail, nil
}

// fields names what of the round's own body differs.
func (m unstored) fields() []string {
	if len(m.visits)+len(m.changed) == 0 {
		return []string{"unserved"}
	}
	return []string{"visits", "unserved"}
}
