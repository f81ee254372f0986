package visits

import (
	"context"
	"time"

	"github.com/google/uuid"

	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
	"tankward/service/work"
)

// Visit gives a stored visit and the number of the change that it was read after.
func (s *Service) Visit(ctx context.Context, sc tx.Scope, id uuid.UUID, now time.Time) (Visit, int64, error) {
	page, err := s.Visits(ctx, sc, Filter{ID: id}, resource.Paging{Limit: 1}, now)
	if err != nil {
		return Visit{}, 0, err
	}
	if len(page.Items) == 0 {
		return Visit{}, 0, fault.NoSuch("visit", id)
	}
	return page.Items[0], page.Head, nil
}

// Visits lists stored visits by day, member and place in the round.
func (s *Service) Visits(ctx context.Context, sc tx.Scope, f Filter, p resource.Paging, now time.Time) (resource.Page[Visit], error) {
	page, err := s.reads.Visits(ctx, sc, f, p)
	out := resource.Page[Visit]{Items: page.Visits, Next: page.Next, Head: page.Head}
	if err != nil {
		return out, err
	}
	open := make([][]work.DueItem, len(out.Items))
	var asks []ask
	for i, v := range out.Items {
		if !v.live(now) {
			continue
		}
		plain := fleet.Today(page.Sites[v.Site.ID].Fields.TimeZone, now) == v.Day
		asks = append(asks, ask{to: &open[i], member: v.MemberID, site: v.Site.ID, day: v.Day, plain: plain})
	}
	if err := s.askDue(ctx, sc, asks, now); err != nil {
		return out, err
	}
	for i, v := range out.Items {
		mine := map[ItemKey]work.DueItem{}
		// Work of a site that somebody else has taken over is theirs.
		if page.Sites[v.Site.ID].Fields.ResponsibleMember == v.MemberID {
			mine = byKey(open[i])
		}
		out.Items[i] = page.settle(v, mine, v.live(now))
	}
	return out, nil
}

// live says that the visit's day is not over for its member.
func (v Visit) live(now time.Time) bool { return v.Day >= fleet.Today(v.MemberZone, now) }

// Move is a command that moves a visit on.
type Move struct {
	Visit uuid.UUID
	At    *time.Time // when it happened; nil: now
	Match resource.IfMatch
}

// Start marks a visit as under way. One that is under way stays as it is; one
// that is over is a Conflict.
func (s *Service) Start(ctx context.Context, c tx.Call[Visit], m Move) (tx.Outcome[Visit], error) {
	return s.move(ctx, c, m, start)
}

// Finish marks a visit that is under way as finished; work that is not done
// stays due. One that is finished stays as it is; any other is a Conflict.
func (s *Service) Finish(ctx context.Context, c tx.Call[Visit], m Move) (tx.Outcome[Visit], error) {
	return s.move(ctx, c, m, finish)
}

// move reads the visit as it is shown, then locks it and moves it on.
func (s *Service) move(ctx context.Context, c tx.Call[Visit], m Move, decide func(Visit, time.Time) (Visit, error)) (tx.Outcome[Visit], error) {
	at, err := m.moment(c.Now)
	if err != nil {
		return tx.Outcome[Visit]{}, err
	}
	shown, _, err := s.Visit(ctx, c.Scope, m.Visit, c.Now)
	if err != nil {
		return tx.Outcome[Visit]{}, err
	}
	return tx.Do(ctx, s.run, c, func(ctx context.Context, t Tx) (Visit, tx.Trail, error) {
		v, err := t.LoadVisit(ctx, m.Visit)
		if err != nil {
			return v, tx.Trail{}, err
		}
		if m.Match.Misses(v.Version) {
			return v, tx.Trail{}, fault.Stale(v.Version)
		}
		at := at
		if m.At == nil && v.StartedAt != nil && at.Before(*v.StartedAt) {
			at = *v.StartedAt // the phone that started it was ahead
		}
		next, err := decide(v, at)
		if err != nil {
			return v, tx.Trail{}, err
		}
		var trail tx.Trail
		if next.State != v.State {
			next.Version, next.UpdatedAt = v.Version+1, c.Now
			if err := t.SaveVisits(ctx, []Visit{next}); err != nil {
				return v, tx.Trail{}, err
			}
			trail = tx.Did(tx.Change{Resource: "visit", Action: moved[next.State], ID: v.ID, Site: v.Site.ID, Fields: []string{"state"}})
		}
		next.Site, next.Items = shown.Site, shown.Items
		return next, trail, nil
	})
}

// moved names what happened to a visit that reached a state.
var moved = map[State]string{UnderWay: "started", Finished: "finished"}

// phoneClock is how far a phone's clock may be ahead.
const phoneClock = 5 * time.Minute

func (m Move) moment(now time.Time) (time.Time, error) {
	if m.At == nil {
		return now, nil
	}
	at := m.At.UTC().Truncate(time.Microsecond)
	if at.After(now.Add(phoneClock)) {
		return at, fault.InvalidField("/at", "lies in the future; leave it out for now")
	}
	return at, nil
}

func start(v Visit, at time.Time) (Visit, error) {
	switch v.State {
	case UnderWay:
		return v, nil
	case Planned:
	default:
		return v, fault.ConflictWith("This visit is %s and cannot be started again.", v.State)
	}
	// Clocks of the whole world show the visit's day within these hours.
	if day := v.Day.Time(); at.Before(day.Add(-14*time.Hour)) || at.After(day.Add(48*time.Hour)) {
		return v, fault.InvalidField("/at", "must lie on the day of the visit, %s; say when it was", v.Day)
	}
	v.State, v.StartedAt = UnderWay, &at
	return v, nil
}

func finish(v Visit, at time.Time) (Visit, error) {
	switch v.State {
	case Finished:
		return v, nil
	case UnderWay:
	case Planned:
		return v, fault.ConflictWith("This visit has not been started; start it first.")
	default:
		return v, fault.ConflictWith("This visit is %s and cannot be finished.", v.State)
	}
	if v.StartedAt != nil && at.Before(*v.StartedAt) {
		return v, fault.InvalidField("/at", "must not be before the visit was started (%s)", v.StartedAt.Format(time.RFC3339))
	}
	v.State, v.FinishedAt = Finished, &at
	return v, nil
}
