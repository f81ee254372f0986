package api

import (
	"bytes"
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"tankward/api/gen"
	"tankward/service/care"
	"tankward/service/care/caution"
	"tankward/service/resource"
	"tankward/service/tx"
	"tankward/service/work"
)

func factsOut(in []care.Fact) []gen.Fact {
	out := make([]gen.Fact, len(in))
	for i, f := range in {
		out[i] = gen.Fact{
			Kind: string(f.Kind), Day: dateOrNone(f.Day), To: dateOrNone(f.To), Every: optional(f.Every), Unit: optional(gen.FactUnit(f.Unit)),
			DaysEarly: optional(f.Early), DaysLate: optional(f.Late), Percent: optional(f.Percent), Count: optional(f.Count),
			Text: optional(f.Text), RoutineID: idOrNone(f.Routine), EnteredOn: dateOrNone(f.Entered),
		}
	}
	return out
}

// cautionsFor gives the cautions that stand where the work is shown.
func cautionsFor(kind care.WorkKind, routine *work.DueItem) []gen.Caution {
	var ctx caution.Context
	if routine != nil {
		ctx.Lives = routine.Cautions
		for _, m := range routine.Routine.Fields.Materials {
			ctx.Materials = append(ctx.Materials, m.Material+" "+m.Label)
		}
	}
	found := caution.ForWork(kind, ctx)
	out := make([]gen.Caution, len(found))
	for i, c := range found {
		out[i] = gen.Caution{Code: c.Code, Text: c.Text}
	}
	return out
}

func dueItemOut(d work.DueItem) gen.DueItem {
	f := d.Routine.Fields
	out := gen.DueItem{
		RoutineID: d.Routine.ID, TankID: f.TankID, SiteID: f.SiteID, Name: f.Name, WorkKind: gen.WorkKind(f.WorkKind),
		PerformedBy: gen.Performer(d.PerformedBy()), ConsequenceClass: classOut(f.Class), ActiveMinutes: f.ActiveMinutes,
		PartOfDay: gen.PartOfDay(f.PartOfDay), NominalDue: date(d.NominalDue), Ordinal: d.Ordinal,
		Earliest: date(d.Earliest), Due: date(d.Due), Latest: date(d.Latest), LateSince: dateOrNone(d.LateSince),
		State: gen.ItemState(d.State), DonePercent: d.DonePercent, NoAccessCount: d.NoAccessCount,
		Facts: factsOut(d.Facts), Explanation: care.Explain(d.Item, f.WorkKind), Cautions: cautionsFor(f.WorkKind, &d),
	}
	if f.Cadence.Kind == care.OnRamp {
		out.LevelPercent = &d.Level
	}
	return out
}

// ListDueWork lists due work.
func (a *API) ListDueWork(c echo.Context, p gen.ListDueWorkParams) error {
	f := work.DueFilter{
		Site: deref(p.SiteID), Tank: deref(p.TankID), Member: deref(p.MemberID), WorkKind: care.WorkKind(deref(p.WorkKind)),
		PerformedBy: care.Performer(deref(p.PerformedBy)), State: care.State(deref(p.State)),
	}
	return a.due(c, f, dayPtr(p.On), paging(p.Limit, p.Cursor, nil))
}

// ListTankDueWork lists the due work of a tank.
func (a *API) ListTankDueWork(c echo.Context, id gen.ID, p gen.ListTankDueWorkParams) error {
	if _, err := a.fleetReads.Tank(c.Request().Context(), scopeOf(c), id); err != nil {
		return err
	}
	f := work.DueFilter{
		Tank: id, Member: deref(p.MemberID), WorkKind: care.WorkKind(deref(p.WorkKind)), PerformedBy: care.Performer(deref(p.PerformedBy)), State: care.State(deref(p.State)),
	}
	return a.due(c, f, dayPtr(p.On), paging(p.Limit, p.Cursor, nil))
}

// localDates stands for all local dates of the earth in a list's tag: somewhere
// one changes every quarter of an hour at the most.
func localDates(now time.Time) string {
	return now.UTC().Truncate(15 * time.Minute).Format("2006-01-02T15:04")
}

func (a *API) due(c echo.Context, f work.DueFilter, on *care.Day, p resource.Paging) error {
	now := a.now()
	return showList(a, c, localDates(now), dueItemOut, func(ctx context.Context, s tx.Scope) (resource.Page[work.DueItem], error) {
		return a.work.Due(ctx, s, work.DueQuery{DueFilter: f, On: on, Now: now}, p)
	})
}

// ListParameters lists what can be measured.
func (a *API) ListParameters(c echo.Context, p gen.ListParametersParams) error {
	answer := func(p work.Parameter) gen.Parameter {
		return gen.Parameter{Code: p.Code, Name: p.Name, Unit: p.Unit, Low: p.Low, High: p.High}
	}
	return showList(a, c, "", answer, func(ctx context.Context, s tx.Scope) (resource.Page[work.Parameter], error) {
		all, head, err := a.workReads.ListParameters(ctx, s)
		if err != nil {
			return resource.Page[work.Parameter]{}, err
		}
		page, err := cut(all, paging(p.Limit, p.Cursor, nil))
		page.Head = head
		return page, err
	})
}

// ListTankReadings lists a tank's readings, the newest first.
func (a *API) ListTankReadings(c echo.Context, id gen.ID, p gen.ListTankReadingsParams) error {
	f := work.ReadingFilter{Tank: id, Parameter: deref(p.Parameter), From: p.From, To: p.To}
	answer := func(r work.Reading) gen.Reading {
		return gen.Reading{
			ID: r.ID, TankID: r.TankID, Parameter: r.Parameter, Value: r.Value, Unit: r.Unit, TakenAt: r.TakenAt,
			Method: optional(r.Method), RecordID: idOrNone(r.RecordID),
		}
	}
	return showList(a, c, "", answer, func(ctx context.Context, s tx.Scope) (resource.Page[work.Reading], error) {
		return a.workReads.Readings(ctx, s, f, paging(p.Limit, p.Cursor, nil))
	})
}

func recordIn(b gen.WorkRecordCreate) work.NewRecord {
	r := work.NewRecord{
		ID: deref(b.ID), RoutineID: deref(b.RoutineID), TankID: deref(b.TankID), WorkKind: care.WorkKind(deref(b.WorkKind)),
		DoneOn: dayPtr(b.DoneOn), DoneAt: instantPtr(b.DoneAt), Result: care.Result(b.Result), Share: deref(b.SharePercent), Reason: deref(b.Reason),
		WithJoined: deref(b.WithJoined), NewDueOn: dayPtr(b.NewDueOn), Minutes: b.Minutes, Level: b.LevelPercent, Note: deref(b.Note),
		VisitID: deref(b.VisitID),
	}
	if b.NominalDue != nil {
		r.Names = &care.Identity{NominalDue: day(*b.NominalDue), Ordinal: deref(b.Ordinal)}
	}
	for _, m := range deref(b.Amounts) {
		r.Amounts = append(r.Amounts, work.Material{Material: string(m.Material), Label: deref(m.Label), Quantity: m.Quantity, Unit: string(m.Unit)})
	}
	for _, m := range deref(b.Readings) {
		r.Readings = append(r.Readings, work.NewReading{
			Parameter: m.Parameter, Value: m.Value, Unit: deref(m.Unit), TakenAt: instant(deref(m.TakenAt)), Method: deref(m.Method),
		})
	}
	if b.DoneBy != nil {
		r.DoneBy = &work.DoneBy{Kind: string(b.DoneBy.Kind), ID: deref(b.DoneBy.ID), Name: deref(b.DoneBy.Name)}
	}
	return r
}

func recordOut(r work.Record) gen.WorkRecord {
	out := gen.WorkRecord{
		ID: r.ID, RoutineID: idOrNone(r.RoutineID), TankID: r.TankID, SiteID: r.SiteID, WorkKind: gen.WorkKind(r.WorkKind),
		DoneOn: date(*r.DoneOn), DoneAt: r.DoneAt, ReceivedAt: r.ReceivedAt, Result: gen.Result(r.Result), SharePercent: optional(r.Share),
		Reason: optional(r.Reason), WithJoined: r.WithJoined, NewDueOn: datePtr(r.NewDueOn), Minutes: r.Minutes, Amounts: []gen.Amount{},
		LevelPercent: r.Level, Readings: []gen.ReadingCreate{}, Note: optional(r.Note), RecordedBy: r.RecordedBy, VisitID: idOrNone(r.VisitID),
		DoneBy: gen.DoneBy{Kind: gen.DoneByKind(r.DoneBy.Kind), ID: idOrNone(r.DoneBy.ID), Name: optional(r.DoneBy.Name)},
	}
	if r.Names != nil {
		out.NominalDue, out.Ordinal = datePtr(&r.Names.NominalDue), &r.Names.Ordinal
	}
	for _, m := range r.Amounts {
		out.Amounts = append(out.Amounts, gen.Amount{Material: gen.MaterialKind(m.Material), Label: optional(m.Label), Quantity: m.Quantity, Unit: gen.MaterialUnit(m.Unit)})
	}
	for _, m := range r.Readings {
		out.Readings = append(out.Readings, gen.ReadingCreate{
			Parameter: m.Parameter, Value: m.Value, Unit: optional(m.Unit), TakenAt: optional(m.TakenAt), Method: optional(m.Method),
		})
	}
	if v := r.Voided; v != nil {
		out.Voided = &gen.Voided{At: v.At, By: v.By, Reason: v.Reason}
	}
	return out
}

// recordedOut adds what came of a record.
func recordedOut(r work.Recorded) gen.WorkRecord {
	out := recordOut(r.Record)
	if r.RoutineID == uuid.Nil || r.Voided != nil {
		return out
	}
	extra := r.Counted.Extra
	out.Extra, out.AlreadyDone = &extra, &extra
	if r.Counted.For != nil {
		out.CountsFor = &gen.ItemIdentity{NominalDue: date(r.Counted.For.NominalDue), Ordinal: r.Counted.For.Ordinal}
	}
	out.ClosedBy = idOrNone(r.ClosedBy)
	if r.Next != nil {
		next := dueItemOut(*r.Next)
		out.Next = &next
	}
	return out
}

// RecordWork stores one record, or several all or none.
func (a *API) RecordWork(c echo.Context, _ gen.RecordWorkParams) error {
	raw, err := readBody(c)
	if err != nil {
		return err
	}
	single := !bytes.HasPrefix(bytes.TrimSpace(raw), []byte("["))
	var bodies []gen.WorkRecordCreate
	if single {
		bodies = make([]gen.WorkRecordCreate, 1)
		err = decodeInto(raw, &bodies[0])
	} else {
		err = decodeInto(raw, &bodies)
	}
	if err != nil {
		return err
	}
	records := make([]work.NewRecord, len(bodies))
	for i, b := range bodies {
		records[i] = recordIn(b)
	}
	cl, err := call(a, c, func(rs []work.Recorded) (tx.Answer, error) { return recordedAnswer(rs, single) })
	if err != nil {
		return err
	}
	out, err := a.work.RecordWork(c.Request().Context(), cl, records, single)
	if err != nil {
		return err
	}
	return reply(c, out.Answer, out.Repeated)
}

func recordedAnswer(rs []work.Recorded, single bool) (tx.Answer, error) {
	code := http.StatusOK
	out := make([]gen.WorkRecord, len(rs))
	for i, r := range rs {
		out[i] = recordedOut(r)
		if r.New {
			code = http.StatusCreated
		}
	}
	if single {
		b, err := encode(out[0])
		return tx.Answer{Status: code, Location: "/v1/work-records/" + out[0].ID.String(), Body: b}, err
	}
	b, err := encode(out)
	return tx.Answer{Status: code, Body: b}, err
}

// ListWorkRecords lists records of work, the newest first.
func (a *API) ListWorkRecords(c echo.Context, p gen.ListWorkRecordsParams) error {
	f := work.RecordFilter{Tank: deref(p.TankID), Routine: deref(p.RoutineID), Site: deref(p.SiteID), From: dayPtr(p.From), To: dayPtr(p.To)}
	return showList(a, c, "", recordOut, func(ctx context.Context, s tx.Scope) (resource.Page[work.Record], error) {
		return a.workReads.Records(ctx, s, f, paging(p.Limit, p.Cursor, nil))
	})
}

// GetWorkRecord answers one record of work.
func (a *API) GetWorkRecord(c echo.Context, id gen.ID, _ gen.GetWorkRecordParams) error {
	r, err := a.workReads.Record(c.Request().Context(), scopeOf(c), id)
	if err != nil {
		return err
	}
	version := 1
	if r.Voided != nil {
		version = 2
	}
	return one(c, version, recordOut(r))
}

// VoidWorkRecord takes a record out of what counts; it stays in the list.
func (a *API) VoidWorkRecord(c echo.Context, id gen.ID, _ gen.VoidWorkRecordParams) error {
	body, err := decode[gen.VoidWorkRecord](c)
	if err != nil {
		return err
	}
	cl, err := call(a, c, func(r work.Recorded) (tx.Answer, error) {
		out := recordOut(r.Record)
		if r.Next != nil {
			next := dueItemOut(*r.Next)
			out.Next = &next
		}
		b, err := encode(out)
		return tx.Answer{Status: http.StatusOK, ETag: etag(2), Body: b}, err
	})
	if err != nil {
		return err
	}
	out, err := a.work.VoidRecord(c.Request().Context(), cl, id, body.Reason)
	if err != nil {
		return err
	}
	return reply(c, out.Answer, out.Repeated)
}
