package visits

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/rounds"
	"tankward/service/tx"
	"tankward/service/work"
)

// additions is what has to be stored so that the store says what was answered.
// The zero value: nothing.
type additions struct {
	create bool // the whole round
	// Of a stored round: seen are the versions it was decided from.
	seen    Versions
	round   bool                 // there are any, these or other unserved work
	visits  []Visit              // new, at the end
	items   map[uuid.UUID][]Item // new, of visits that are stored
	changed []Visit              // stored visits with new items or another plan
}

func (a additions) none() bool { return !a.create && !a.round }

// decide gives the round of the day and what of it is not stored yet.
func (k known) decide() (Round, additions) {
	k.open = slices.DeleteFunc(slices.Clone(k.open), func(d work.DueItem) bool {
		return k.Sites[d.Routine.Fields.SiteID].Fields.ResponsibleMember != k.member.ID
	})
	if k.stored == nil {
		r := k.draft()
		// An empty day is kept of technicians only, so that what comes later is
		// marked as such. The office and programs may well ask for their own
		// round, and have none.
		keep := len(r.Visits)+len(r.Unserved) > 0 || k.member.Fields.Role == tx.TechnicianR
		return k.loaded(r), additions{create: k.day == k.today && keep}
	}
	r := *k.stored
	r.MemberName, r.Visits = k.member.Fields.Name, slices.Clone(r.Visits)
	open := byKey(k.open)
	more := maps.Clone(open)
	for i, v := range r.Visits {
		for _, it := range v.Items {
			delete(more, it.key())
		}
		r.Visits[i] = k.settle(v, open, k.live())
	}
	var add additions
	if k.live() {
		add = k.extend(&r, slices.Collect(maps.Values(more)))
	}
	r.Unserved = slices.Clone(r.Unserved)
	for i := range r.Unserved {
		r.Unserved[i].SiteName = k.Sites[r.Unserved[i].SiteID].Fields.Name
	}
	return k.loaded(r), add
}

// live says that the day is not over for the member.
func (k known) live() bool { return k.day >= k.today }

func byKey(open []work.DueItem) map[ItemKey]work.DueItem {
	out := make(map[ItemKey]work.DueItem, len(open))
	for _, d := range open {
		out[keyOf(d)] = d
	}
	return out
}

// settle says how the work of a stored visit stands. While the day runs, work
// that is open shows its present dates, and work that is neither open nor closed
// has gone, with its routine or its dates. Of a day that is over, the visit shows
// what came of it that day: a later record changes nothing.
func (p Places) settle(v Visit, open map[ItemKey]work.DueItem, live bool) Visit {
	items := make([]Item, 0, len(v.Items))
	for _, it := range v.Items {
		d, isOpen := open[it.key()]
		switch {
		case isOpen && live:
			it.DueItem, it.Closed = d, nil
		case it.Closed != nil && (live || it.Closed.DoneOn <= v.Day || it.Closed.Visit == v.ID):
			it.State, it.DonePercent = care.DoneState, 100
			if it.Closed.Skipped {
				it.State, it.DonePercent = care.SkippedState, 0
			}
		case live:
			continue
		default:
			it.Closed = nil
		}
		it.TankName = p.Tanks[it.Routine.Fields.TankID].Fields.Name
		items = append(items, it)
	}
	slices.SortFunc(items, compareItems)
	v.Items, v.Site = items, p.Sites[v.Site.ID]
	return v
}

// draft plans the day anew: all of it, even when it is first read at noon, so
// that the plan does not depend on who looked when.
func (k known) draft() Round {
	r := Round{
		MemberID: k.member.ID, MemberName: k.member.Fields.Name, Day: k.day, CreatedAt: k.now, UpdatedAt: k.now, Version: 1, Notes: k.notes(),
	}
	work := k.atSites(k.open)
	in := k.input()
	for id, items := range work {
		in.Stops = append(in.Stops, k.stop(k.Sites[id], items))
	}
	plan := rounds.Order(in)
	for _, s := range plan.Served {
		r.Visits = append(r.Visits, k.visit(s, len(r.Visits), work[s.ID]))
	}
	r.Unserved = k.unserved(plan.Unserved, work)
	k.total(&r, plan)
	return r
}

// visit makes a new visit of a served stop.
func (k known) visit(s rounds.Served, position int, items []Item) Visit {
	v := Visit{
		Version: 1, CreatedAt: k.now, UpdatedAt: k.now, MemberID: k.member.ID, MemberZone: k.member.Fields.TimeZone, Day: k.day,
		Site: k.Sites[s.ID], State: Planned, Position: position, Items: items,
	}
	k.time(&v, s)
	return v
}

// time writes the plan of a stop into its visit.
func (k known) time(v *Visit, s rounds.Served) {
	at := func(minute int) time.Time { return k.clock().Instant(minute).UTC() }
	v.ArriveAt, v.BeginAt, v.DepartAt = at(s.Arrive), at(s.Start), at(s.Depart)
	v.ServiceMinutes, v.Drive = s.Depart-s.Start, s.Drive
}

func (k known) unserved(left []rounds.Unserved, work map[uuid.UUID][]Item) []Unserved {
	out := make([]Unserved, len(left))
	for i, u := range left {
		out[i] = k.left(u.ID, u.Code, u.Reason, work[u.ID])
	}
	return out
}

func (k known) left(site uuid.UUID, code rounds.Code, reason string, items []Item) Unserved {
	u := Unserved{SiteID: site, SiteName: k.Sites[site].Fields.Name, Code: code, Reason: reason}
	for _, it := range items {
		u.Items = append(u.Items, it.key())
	}
	for _, c := range k.closures(site) {
		// The plan sees spans of time only; people know the closure.
		if code == rounds.NoAccessThen && c.From <= k.day && k.day <= c.To {
			u.Reason = "closed on this day"
			if c.Reason != "" {
				u.Reason += ": " + c.Reason
			}
			break
		}
	}
	return u
}

// total writes the sums of the plan.
func (k known) total(r *Round, plan rounds.Plan) {
	r.Drive, r.OvertimeMinutes = plan.Drive, plan.Overtime
	if len(plan.Served) == 0 {
		r.StartAt, r.EndAt = nil, nil
		return
	}
	start, end := k.clock().Instant(plan.Leave).UTC(), k.clock().Instant(plan.Finish).UTC()
	under := slices.ContainsFunc(r.Visits, func(v Visit) bool { return v.StartedAt != nil })
	if r.StartAt == nil || !under {
		r.StartAt = &start
	}
	r.EndAt = &end
}

// extend adds to a stored round what has become due since. Where the round
// goes, and is not finished, the work joins the visit. Sites that it does not go
// to, also those left out before, are tried at its end: what was shut may be open
// by now, who was absent may have come. What stands in the round keeps its order.
func (k known) extend(r *Round, more []work.DueItem) additions {
	add := additions{seen: Versions{r.ID: r.Version}, items: map[uuid.UUID][]Item{}}
	at := map[uuid.UUID]int{}
	for i, v := range r.Visits {
		add.seen[v.ID], at[v.Site.ID] = v.Version, i
	}
	free := k.atSites(more)
	var left []Unserved
	for _, site := range slices.SortedFunc(maps.Keys(free), func(a, b uuid.UUID) int { return slices.Compare(a[:], b[:]) }) {
		for i := range free[site] {
			free[site][i].AddedLater = true
		}
		i, visited := at[site]
		if !visited {
			continue
		}
		// Early work is not added: it would come up as soon as the piece before
		// it was done.
		due := slices.DeleteFunc(free[site], func(it Item) bool { return !pressing(it.DueItem) })
		delete(free, site)
		if v := &r.Visits[i]; v.State.over() {
			left = append(left, k.left(site, VisitFinished, "it became due after the visit here was finished; it may still be recorded", due))
		} else {
			add.items[v.ID] = due
			v.Items = append(v.Items, due...)
			slices.SortFunc(v.Items, compareItems)
		}
	}
	k.replan(r, free, &add)
	unserved := append(r.Unserved, left...)
	if !slices.EqualFunc(unserved, k.stored.Unserved, sameUnserved) {
		add.round = true
	}
	r.Unserved = unserved
	if add.round {
		r.Version, r.UpdatedAt = r.Version+1, k.now
	}
	return add
}

// sameUnserved leaves the words out: they name times of day, which pass.
func sameUnserved(a, b Unserved) bool {
	return a.SiteID == b.SiteID && a.Code == b.Code && slices.Equal(a.Items, b.Items)
}

// replan puts the free sites behind the visits of the round; when that, or new
// work at a visit, changes the day, the visits still to come get new times.
func (k known) replan(r *Round, free map[uuid.UUID][]Item, add *additions) {
	r.Unserved = nil
	if len(free) == 0 && len(add.items) == 0 {
		return
	}
	in := k.input()
	var fixed []int
	for i, v := range r.Visits {
		if v.State == Abandoned {
			continue
		}
		f := rounds.Fixed{Stop: k.stop(v.Site, v.Items), Started: k.minute(v.StartedAt), Finished: k.minute(v.FinishedAt)}
		if f.Started != nil {
			in.Day.Earliest = *k.minute(&k.now) // the day is under way
		}
		in.Fixed, fixed = append(in.Fixed, f), append(fixed, i)
	}
	for id, items := range free {
		in.Stops = append(in.Stops, k.stop(k.Sites[id], items))
	}
	plan := rounds.Order(in)
	for _, u := range plan.Unserved {
		r.Unserved = append(r.Unserved, k.stillLeft(u, free[u.ID]))
	}
	if len(plan.Served) == len(fixed) && len(add.items) == 0 {
		return
	}
	r.Notes, add.round = k.notes(), true
	for n, s := range plan.Served {
		if n >= len(fixed) {
			v := k.visit(s, len(r.Visits), free[s.ID])
			r.Visits, add.visits = append(r.Visits, v), append(add.visits, v)
			continue
		}
		v := &r.Visits[fixed[n]]
		if s.MissesAccess && v.State == Planned {
			r.Notes = append(r.Notes, v.Site.Fields.Name+": with what was added the visit no longer fits the access to the site")
		}
		if k.retime(v, s, in.Fixed[n].Minutes) || add.items[v.ID] != nil {
			v.Version, v.UpdatedAt = v.Version+1, k.now
			add.changed = append(add.changed, *v)
		}
	}
	k.total(r, plan)
}

// stillLeft says why a site found no place behind the visits of the round. What
// would stand in its way if it were alone comes first, as when the round was made;
// a reason that was given before keeps its words.
func (k known) stillLeft(u rounds.Unserved, items []Item) Unserved {
	in := k.input()
	in.Stops = []rounds.Stop{k.stop(k.Sites[u.ID], items)}
	if alone := rounds.Order(in); len(alone.Unserved) > 0 {
		u = alone.Unserved[0]
	} else if u.Code != rounds.NoRoom {
		u.Code, u.Reason = rounds.NoRoom, "no room behind the other visits: "+u.Reason
	}
	left := k.left(u.ID, u.Code, u.Reason, items)
	for _, old := range k.stored.Unserved {
		if sameUnserved(old, left) {
			left.Reason = old.Reason
		}
	}
	return left
}

// retime gives a visit still to come its new times, and says whether they differ.
func (k known) retime(v *Visit, s rounds.Served, minutes int) bool {
	old := *v
	switch v.State {
	case Planned:
		k.time(v, s)
	case UnderWay:
		v.ServiceMinutes, v.DepartAt = minutes, k.clock().Instant(s.Depart).UTC()
	default:
	}
	return cmp.Or(v.ArriveAt.Compare(old.ArriveAt), v.BeginAt.Compare(old.BeginAt), v.DepartAt.Compare(old.DepartAt),
		cmp.Compare(v.ServiceMinutes, old.ServiceMinutes), cmp.Compare(v.Drive.Metres, old.Drive.Metres)) != 0
}

func (k known) minute(t *time.Time) *int {
	if t == nil {
		return nil
	}
	m := k.clock().Of(*t)
	return &m
}

// loaded adds what the visits still to come need.
func (k known) loaded(r Round) Round {
	if !k.live() {
		return r
	}
	var loads []rounds.StopLoad
	for i := range r.Visits {
		v := &r.Visits[i]
		if v.State.over() {
			continue
		}
		v.Load = k.load(v.Site, v.Items)
		loads = append(loads, v.Load)
	}
	r.Load = rounds.LoadList(loads)
	return r
}
