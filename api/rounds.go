package api

import (
	"context"
	"net/http"

	"github.com/labstack/echo/v4"

	"tankward/api/gen"
	"tankward/service/resource"
	"tankward/service/rounds"
	"tankward/service/tx"
	"tankward/service/visits"
)

// GetMyRound answers the caller's own round. Like ListRounds it may write: see
// visits.Service.Round.
func (a *API) GetMyRound(c echo.Context, p gen.GetMyRoundParams) error {
	now := a.now()
	return showPolled(a, c, localDates(now), func(ctx context.Context, s tx.Scope) (gen.Round, int64, error) {
		r, head, err := a.visits.Round(ctx, s, s.Actor, dayPtr(p.On), now)
		return roundOut(r), head, err
	})
}

// ListRounds lists the rounds of a day: of one member, or of all who have one.
func (a *API) ListRounds(c echo.Context, p gen.ListRoundsParams) error {
	now := a.now()
	return showList(a, c, localDates(now), roundOut, func(ctx context.Context, s tx.Scope) (resource.Page[visits.Round], error) {
		if p.MemberID == nil {
			return a.visits.Rounds(ctx, s, dayPtr(p.On), paging(p.Limit, p.Cursor, nil), now)
		}
		r, head, err := a.visits.Round(ctx, s, *p.MemberID, dayPtr(p.On), now)
		return resource.Page[visits.Round]{Items: []visits.Round{r}, Head: head}, err
	})
}

// ListVisits lists visits that are stored.
func (a *API) ListVisits(c echo.Context, p gen.ListVisitsParams) error {
	now := a.now()
	f := visits.Filter{Member: deref(p.MemberID), Site: deref(p.SiteID), Day: dayPtr(p.Day), State: visits.State(deref(p.State))}
	return showList(a, c, localDates(now), visitOut, func(ctx context.Context, s tx.Scope) (resource.Page[visits.Visit], error) {
		return a.visits.Visits(ctx, s, f, paging(p.Limit, p.Cursor, nil), now)
	})
}

// GetVisit answers one visit with its work.
func (a *API) GetVisit(c echo.Context, id gen.ID, _ gen.GetVisitParams) error {
	now := a.now()
	return showPolled(a, c, localDates(now), func(ctx context.Context, s tx.Scope) (gen.Visit, int64, error) {
		v, head, err := a.visits.Visit(ctx, s, id, now)
		return visitOut(v), head, err
	})
}

// StartVisit marks a visit as under way.
func (a *API) StartVisit(c echo.Context, id gen.ID, _ gen.StartVisitParams) error {
	return a.moveVisit(c, id, a.visits.Start)
}

// FinishVisit marks a visit as finished.
func (a *API) FinishVisit(c echo.Context, id gen.ID, _ gen.FinishVisitParams) error {
	return a.moveVisit(c, id, a.visits.Finish)
}

func (a *API) moveVisit(c echo.Context, id gen.ID, move func(context.Context, tx.Call[visits.Visit], visits.Move) (tx.Outcome[visits.Visit], error)) error {
	m := visits.Move{Visit: id}
	var err error
	if m.Match, err = ifMatch(c); err != nil {
		return err
	}
	raw, err := readBody(c)
	if err != nil {
		return err
	}
	if len(raw) > 0 {
		body, err := decode[gen.VisitMoment](c)
		if err != nil {
			return err
		}
		m.At = body.At
	}
	cl, err := call(a, c, func(v visits.Visit) (tx.Answer, error) {
		b, err := encode(visitOut(v))
		return tx.Answer{Status: http.StatusOK, ETag: etag(v.Version), Body: b}, err
	})
	if err != nil {
		return err
	}
	out, err := move(c.Request().Context(), cl, m)
	if err != nil {
		return err
	}
	return reply(c, out.Answer, out.Repeated)
}

// showPolled answers a GET of something that is worked out when read, with a weak
// tag like that of a list: a phone that asks again has 304 for one small query.
func showPolled[R any](a *API, c echo.Context, dates string, read func(context.Context, tx.Scope) (R, int64, error)) error {
	ctx, s := c.Request().Context(), scopeOf(c)
	if c.Request().Header.Get("If-None-Match") != "" {
		head, err := a.reads.Head(ctx, s)
		if err != nil {
			return err
		}
		if unchanged(c, listTag(c, head, dates)) {
			return c.NoContent(http.StatusNotModified)
		}
	}
	body, head, err := read(ctx, s)
	if err != nil {
		return err
	}
	c.Response().Header().Set("ETag", listTag(c, head, dates))
	return send(c, http.StatusOK, body)
}

func roundOut(r visits.Round) gen.Round {
	out := gen.Round{
		MemberID: r.MemberID, MemberName: r.MemberName, Day: date(r.Day), Preview: !r.Stored(), StartAt: r.StartAt, EndAt: r.EndAt,
		Visits: make([]gen.Visit, len(r.Visits)), Unserved: make([]gen.Unserved, len(r.Unserved)), Load: linesOut(r.Load.Total),
		Containers: r.Load.Containers, Unclear: r.Unclear(), DriveKm: r.Drive.KM(), DriveMinutes: r.Drive.Minutes,
		WaitMinutes: r.WaitMinutes(), WorkMinutes: r.WorkMinutes(), OvertimeMinutes: r.OvertimeMinutes,
	}
	for i, v := range r.Visits {
		out.Visits[i] = visitOut(v)
		load := linesOut(v.Load.Lines)
		out.Visits[i].Load = &load
	}
	for i, u := range r.Unserved {
		one := gen.Unserved{
			SiteID: u.SiteID, SiteName: u.SiteName, Reason: string(u.Code), Explanation: u.Reason, Items: make([]gen.RoutineItem, len(u.Items)),
		}
		for n, k := range u.Items {
			one.Items[n] = gen.RoutineItem{RoutineID: k.Routine, NominalDue: date(k.NominalDue), Ordinal: k.Ordinal}
		}
		out.Unserved[i] = one
	}
	return out
}

func linesOut(in []rounds.Line) []gen.LoadLine {
	out := make([]gen.LoadLine, len(in))
	for i, l := range in {
		out[i] = gen.LoadLine{
			Material: gen.MaterialKind(l.Substance), Label: optional(l.Label), SalinityPsu: l.SalinityPSU, Quantity: l.Quantity,
			Unit: gen.MaterialUnit(l.Unit), Containers: optional(l.Containers), TankID: idOrNone(l.TankID), TankName: optional(l.Tank),
		}
	}
	return out
}

func visitOut(v visits.Visit) gen.Visit {
	f := v.Site.Fields
	out := gen.Visit{
		ID: idOrNone(v.ID), SiteID: v.Site.ID, SiteName: f.Name, Address: addressOut(f.Address), Position: pointOut(f.Position), Day: date(v.Day), MemberID: v.MemberID,
		State: gen.VisitState(v.State), Order: v.Position + 1, ArriveAt: optional(v.ArriveAt), WaitMinutes: v.WaitMinutes(),
		StartAt: optional(v.BeginAt), DepartAt: optional(v.DepartAt), ServiceMinutes: v.ServiceMinutes, DriveMinutes: v.Drive.Minutes,
		DriveKm: v.Drive.KM(), Items: make([]gen.VisitItem, len(v.Items)), StartedAt: v.StartedAt, FinishedAt: v.FinishedAt,
	}
	if out.ID != nil {
		out.Version, out.CreatedAt, out.UpdatedAt = &v.Version, &v.CreatedAt, &v.UpdatedAt
	}
	for i, it := range v.Items {
		out.Items[i] = visitItemOut(it)
	}
	return out
}

func visitItemOut(it visits.Item) gen.VisitItem {
	d := dueItemOut(it.DueItem)
	out := gen.VisitItem{
		RoutineID: d.RoutineID, TankID: d.TankID, TankName: it.TankName, SiteID: d.SiteID, Name: d.Name, WorkKind: d.WorkKind,
		PerformedBy: d.PerformedBy, ConsequenceClass: d.ConsequenceClass, ActiveMinutes: d.ActiveMinutes, PartOfDay: d.PartOfDay,
		NominalDue: d.NominalDue, Ordinal: d.Ordinal, Earliest: d.Earliest, Due: d.Due, Latest: d.Latest, LateSince: d.LateSince,
		State: d.State, DonePercent: d.DonePercent, NoAccessCount: d.NoAccessCount, LevelPercent: d.LevelPercent,
		Facts: d.Facts, Explanation: d.Explanation, Cautions: d.Cautions, AddedLater: it.AddedLater,
	}
	if it.Closed != nil {
		out.RecordID = &it.Closed.Record
	}
	return out
}
