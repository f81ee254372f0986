package api

import (
	"context"
	"net/http"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"tankward/api/gen"
	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
	"tankward/service/work"
)

var classes = map[gen.ConsequenceClass]care.Class{
	gen.ConsequenceClassLifeSupport: care.LifeSupport, gen.ConsequenceClassAnimalWelfare: care.AnimalWelfare,
	gen.ConsequenceClassWaterQuality: care.WaterQuality, gen.ConsequenceClassUpkeep: care.Upkeep,
}

func classOut(c care.Class) gen.ConsequenceClass {
	for name, class := range classes {
		if class == c {
			return name
		}
	}
	return ""
}

// greatestRise is the default rise of a step in percentage points: common practice.
const greatestRise = 12.5

// cadence reads a cadence: only the fields of its kind may be set.
func cadence(in gen.Cadence) (care.Cadence, uuid.UUID, error) {
	out := care.Cadence{Kind: care.CadenceKind(in.Kind)}
	light := uuid.Nil
	var c fleet.Checks
	for _, f := range []struct {
		name   string
		given  bool
		kind   gen.CadenceKind
		needed bool
	}{
		{"every", in.Every != nil, gen.CadenceKindInterval, true},
		{"unit", in.Unit != nil, gen.CadenceKindInterval, true},
		{"rule", in.Rule != nil, gen.CadenceKindCalendar, true},
		{"on", in.On != nil, gen.CadenceKindOnce, true},
		{"parent_id", in.ParentID != nil, gen.CadenceKindJoined, true},
		{"gap", in.Gap != nil, gen.CadenceKindJoined, true},
		{"ramp", in.Ramp != nil, gen.CadenceKindRamp, true},
	} {
		if f.given && f.kind != in.Kind {
			c.Add("/cadence/"+f.name, "does not belong to the kind %s; leave it out", in.Kind)
		}
		if !f.given && f.kind == in.Kind && f.needed {
			c.Add("/cadence/"+f.name, "is needed for the kind %s", in.Kind)
		}
	}
	if err := c.Err(); err != nil {
		return out, light, err
	}
	switch in.Kind {
	case gen.CadenceKindInterval:
		out.Every, out.Unit = *in.Every, care.Unit(*in.Unit)
	case gen.CadenceKindCalendar:
		rule, err := care.ParseRule(*in.Rule)
		if err != nil {
			return out, light, fault.InvalidField("/cadence/rule", "%s", err)
		}
		out.Rule = rule
	case gen.CadenceKindOnce:
		out.On = day(*in.On)
	case gen.CadenceKindJoined:
		out.Parent = *in.ParentID
		out.Gap = care.Gap{Unit: care.Unit(in.Gap.Unit), Least: in.Gap.Least, Greatest: in.Gap.Greatest}
	case gen.CadenceKindRamp:
		r := in.Ramp
		out.Ramp = &care.RampPlan{
			From: r.FromPercent, To: r.ToPercent, Days: r.Days, StepDays: r.StepDays,
			Curve: care.Curve(derefOr(r.Curve, gen.CurveLinear)), GreatestRise: derefOr(r.GreatestRisePoints, greatestRise),
		}
		light = deref(r.LightID)
	}
	return out, light, nil
}

func cadenceOut(c care.Cadence, light uuid.UUID) gen.Cadence {
	out := gen.Cadence{Kind: gen.CadenceKind(c.Kind)}
	switch c.Kind {
	case care.Interval:
		unit := gen.CadenceUnit(c.Unit)
		out.Every, out.Unit = &c.Every, &unit
	case care.Calendar:
		text := c.Rule.String()
		out.Rule = &text
	case care.Once:
		out.On = datePtr(&c.On)
	case care.Joined:
		out.ParentID = &c.Parent
		out.Gap = &gen.Gap{Unit: gen.GapUnit(c.Gap.Unit), Least: c.Gap.Least, Greatest: c.Gap.Greatest}
	case care.OnRamp:
		curve := gen.Curve(c.Ramp.Curve)
		out.Ramp = &gen.RampPlan{
			LightID: idOrNone(light), FromPercent: c.Ramp.From, ToPercent: c.Ramp.To, Days: c.Ramp.Days, StepDays: c.Ramp.StepDays,
			Curve: &curve, GreatestRisePoints: &c.Ramp.GreatestRise,
		}
	}
	return out
}

func months(in *[]int) care.MonthSet {
	var out care.MonthSet
	for _, m := range deref(in) {
		out |= 1 << m
	}
	return out
}

func monthsOut(s care.MonthSet) []int {
	out := []int{}
	for m := 1; m <= 12; m++ {
		if s>>m&1 == 1 {
			out = append(out, m)
		}
	}
	return out
}

func materials(in *[]gen.Material) []work.Material {
	var out []work.Material
	for _, m := range deref(in) {
		out = append(out, work.Material{Material: string(m.Material), Label: deref(m.Label), Quantity: m.Quantity, Unit: string(m.Unit)})
	}
	return out
}

func materialsOut(in []work.Material) []gen.Material {
	out := make([]gen.Material, len(in))
	for i, m := range in {
		out[i] = gen.Material{Material: gen.MaterialKind(m.Material), Label: optional(m.Label), Quantity: m.Quantity, Unit: gen.MaterialUnit(m.Unit)}
	}
	return out
}

func waitsOut(in []work.Wait) []gen.Wait {
	out := make([]gen.Wait, len(in))
	for i, w := range in {
		out[i] = gen.Wait{MinMinutes: w.MinMinutes, MaxMinutes: w.MaxMinutes, Presence: gen.Presence(w.Presence)}
	}
	return out
}

func (a *API) routines() face[work.RoutineFields, gen.RoutineCreate, gen.Routine] {
	return face[work.RoutineFields, gen.RoutineCreate, gen.Routine]{
		path: "/v1/routines", commands: a.work.Routines,
		id:     func(b gen.RoutineCreate) *uuid.UUID { return b.ID },
		fields: routineFields, body: routineBody, answer: routineOut,
		restart: "cadence", kind: "kind",
	}
}

func routineFields(b gen.RoutineCreate) (work.RoutineFields, error) {
	cad, light, err := cadence(b.Cadence)
	if err != nil {
		return work.RoutineFields{}, err
	}
	f := work.RoutineFields{
		TankID: b.TankID, EquipmentID: deref(b.EquipmentID), LivestockID: deref(b.LivestockID), Name: b.Name,
		WorkKind: care.WorkKind(b.WorkKind), Class: classes[b.ConsequenceClass], PartOfDay: string(derefOr(b.PartOfDay, gen.PartOfDayAny)),
		ActiveMinutes: b.ActiveMinutes, Materials: materials(b.Materials), Skill: deref(b.Skill),
		LastDay: dayPtr(b.LastDay), CatchUp: care.CatchUp(derefOr(b.CatchUp, gen.CatchUpMerge)),
		PerformedBy: care.Performer(b.PerformedBy), Cadence: cad, RampLight: light,
		DaysEarly: deref(b.DaysEarly), DaysLate: deref(b.DaysLate), ActiveMonths: months(b.ActiveMonths),
	}
	if b.FirstDay != nil {
		f.FirstDay = day(*b.FirstDay)
	}
	for _, w := range deref(b.Waits) {
		f.Waits = append(f.Waits, work.Wait{MinMinutes: w.MinMinutes, MaxMinutes: w.MaxMinutes, Presence: work.Presence(w.Presence)})
	}
	return f, f.Validate()
}

func routineBody(f work.RoutineFields) gen.RoutineCreate {
	part, catchUp, ms := gen.PartOfDay(f.PartOfDay), gen.CatchUp(f.CatchUp), monthsOut(f.ActiveMonths)
	mats, waits := materialsOut(f.Materials), waitsOut(f.Waits)
	return gen.RoutineCreate{
		TankID: f.TankID, EquipmentID: idOrNone(f.EquipmentID), LivestockID: idOrNone(f.LivestockID), Name: f.Name,
		WorkKind: gen.WorkKind(f.WorkKind), ConsequenceClass: classOut(f.Class), PartOfDay: &part, ActiveMinutes: f.ActiveMinutes,
		Waits: &waits, Materials: &mats, Skill: optional(f.Skill), FirstDay: datePtr(&f.FirstDay), LastDay: datePtr(f.LastDay),
		CatchUp: &catchUp, PerformedBy: gen.Performer(f.PerformedBy), Cadence: cadenceOut(f.Cadence, f.RampLight),
		DaysEarly: &f.DaysEarly, DaysLate: &f.DaysLate, ActiveMonths: &ms,
	}
}

func routineOut(r work.Routine) gen.Routine {
	f := r.Fields
	return gen.Routine{
		ID: r.ID, Version: r.Version, CreatedAt: r.CreatedAt, UpdatedAt: r.UpdatedAt, ArchivedAt: r.ArchivedAt,
		TankID: f.TankID, SiteID: f.SiteID, EquipmentID: idOrNone(f.EquipmentID), LivestockID: idOrNone(f.LivestockID), Name: f.Name,
		WorkKind: gen.WorkKind(f.WorkKind), ConsequenceClass: classOut(f.Class), PartOfDay: gen.PartOfDay(f.PartOfDay),
		ActiveMinutes: f.ActiveMinutes, Waits: waitsOut(f.Waits), Materials: materialsOut(f.Materials), Skill: optional(f.Skill),
		FirstDay: date(f.FirstDay), LastDay: datePtr(f.LastDay), CatchUp: gen.CatchUp(f.CatchUp),
		PerformedBy: gen.Performer(f.PerformedBy), Cadence: cadenceOut(f.Cadence, f.RampLight),
		DaysEarly: f.DaysEarly, DaysLate: f.DaysLate, ActiveMonths: monthsOut(f.ActiveMonths), FromDay: date(f.FromDay),
	}
}

// CreateRoutine adds a routine.
func (a *API) CreateRoutine(c echo.Context, _ gen.CreateRoutineParams) error {
	return create(a, c, a.routines())
}

// PatchRoutine changes a routine; an edit of its revision part counts from today.
func (a *API) PatchRoutine(c echo.Context, id gen.ID, _ gen.PatchRoutineParams) error {
	return patch(a, c, a.routines(), id)
}

// ArchiveRoutine ends a routine.
func (a *API) ArchiveRoutine(c echo.Context, id gen.ID, _ gen.ArchiveRoutineParams) error {
	return archive(a, c, a.routines(), id)
}

// GetRoutine answers one routine.
func (a *API) GetRoutine(c echo.Context, id gen.ID, _ gen.GetRoutineParams) error {
	return show(c, a.routines(), id, a.workReads.Routine)
}

// ListRoutines lists routines.
func (a *API) ListRoutines(c echo.Context, p gen.ListRoutinesParams) error {
	f := work.RoutineFilter{
		Tank: deref(p.TankID), Site: deref(p.SiteID), WorkKind: care.WorkKind(deref(p.WorkKind)), PerformedBy: care.Performer(deref(p.PerformedBy)),
	}
	return showList(a, c, "", routineOut, func(ctx context.Context, s tx.Scope) (resource.Page[work.Routine], error) {
		return a.workReads.Routines(ctx, s, f, paging(p.Limit, p.Cursor, p.Archived))
	})
}

// ListRoutineRevisions lists what a routine said, the oldest first.
func (a *API) ListRoutineRevisions(c echo.Context, id gen.ID, p gen.ListRoutineRevisionsParams) error {
	answer := func(v work.RevisionView) gen.RoutineRevision {
		return gen.RoutineRevision{
			FromDay: date(v.From), PerformedBy: gen.Performer(v.Performer), Cadence: cadenceOut(v.Cadence, v.RampLight),
			DaysEarly: v.DaysEarly, DaysLate: v.DaysLate, ActiveMonths: monthsOut(v.Months), EnteredBy: v.Actor,
		}
	}
	return showList(a, c, "", answer, func(ctx context.Context, s tx.Scope) (resource.Page[work.RevisionView], error) {
		all, head, err := a.workReads.Revisions(ctx, s, id)
		if err != nil {
			return resource.Page[work.RevisionView]{}, err
		}
		page, err := cut(all, paging(p.Limit, p.Cursor, nil))
		page.Head = head
		return page, err
	})
}

func (a *API) pauses() face[work.PauseFields, gen.PauseCreate, gen.Pause] {
	return face[work.PauseFields, gen.PauseCreate, gen.Pause]{
		path: "/v1/pauses", commands: a.work.Pauses,
		id: func(b gen.PauseCreate) *uuid.UUID { return b.ID },
		fields: func(b gen.PauseCreate) (work.PauseFields, error) {
			f := work.PauseFields{TankID: deref(b.TankID), RoutineID: deref(b.RoutineID), From: day(b.From), To: dayPtr(b.To), Reason: deref(b.Reason)}
			if f.TankID == uuid.Nil && f.RoutineID == uuid.Nil {
				return f, fault.InvalidField("/tank_id", "give either tank_id (the whole tank rests) or routine_id (only this routine rests)")
			}
			return f, f.Validate()
		},
		body: func(f work.PauseFields) gen.PauseCreate {
			return gen.PauseCreate{TankID: idOrNone(f.TankID), RoutineID: idOrNone(f.RoutineID), From: date(f.From), To: datePtr(f.To), Reason: optional(f.Reason)}
		},
		answer: func(r work.Pause) gen.Pause {
			f := r.Fields
			return gen.Pause{
				ID: r.ID, Version: r.Version, CreatedAt: r.CreatedAt, UpdatedAt: r.UpdatedAt, ArchivedAt: r.ArchivedAt,
				TankID: f.TankID, RoutineID: idOrNone(f.RoutineID), From: date(f.From), To: datePtr(f.To), Reason: optional(f.Reason),
			}
		},
	}
}

// CreatePause lets a tank or a routine rest.
func (a *API) CreatePause(c echo.Context, _ gen.CreatePauseParams) error {
	return create(a, c, a.pauses())
}

// PatchPause changes a pause.
func (a *API) PatchPause(c echo.Context, id gen.ID, _ gen.PatchPauseParams) error {
	return patch(a, c, a.pauses(), id)
}

// ArchivePause takes a pause back.
func (a *API) ArchivePause(c echo.Context, id gen.ID, _ gen.ArchivePauseParams) error {
	return archive(a, c, a.pauses(), id)
}

// GetPause answers one pause.
func (a *API) GetPause(c echo.Context, id gen.ID, _ gen.GetPauseParams) error {
	return show(c, a.pauses(), id, a.workReads.Pause)
}

// ListPauses lists pauses.
func (a *API) ListPauses(c echo.Context, p gen.ListPausesParams) error {
	return showList(a, c, "", a.pauses().answer, func(ctx context.Context, s tx.Scope) (resource.Page[work.Pause], error) {
		return a.workReads.ListPauses(ctx, s, deref(p.TankID), deref(p.RoutineID), paging(p.Limit, p.Cursor, p.Archived))
	})
}

func rampOut(v work.RampView) gen.Ramp {
	plan := v.Routine.Fields.Cadence.Ramp
	out := gen.Ramp{
		RoutineID: v.Routine.ID, LightID: idOrNone(v.Routine.Fields.RampLight), FromPercent: plan.From, ToPercent: plan.To,
		Curve: gen.Curve(plan.Curve), GreatestRisePoints: plan.GreatestRise, StepDays: plan.StepDays,
		Rises: len(v.Levels) - 1, PlannedDays: (len(v.Levels) - 1) * plan.StepDays, Lengthened: (len(v.Levels)-1)*plan.StepDays >= plan.Days+plan.StepDays,
		Held: v.Course.Held, SteppingBack: v.Course.SteppingBack, Finished: v.Next == nil, Cautions: cautionsFor(care.LightStep, nil),
	}
	for i, level := range v.Levels {
		l := gen.RampLevel{Step: i, LevelPercent: level}
		if i > 0 {
			rise := level - v.Levels[i-1]
			l.RisePoints = &rise
			if v.Levels[i-1] > 0 {
				relative := 100 * rise / v.Levels[i-1]
				l.RelativeRisePercent = &relative
			}
		}
		out.Levels = append(out.Levels, l)
	}
	if v.Course.SetOn != 0 {
		out.StandingPercent, out.StandingSince = &v.Course.Level, datePtr(&v.Course.SetOn)
	}
	if v.Next != nil {
		next := dueItemOut(*v.Next)
		out.Next = &next
	}
	return out
}

// GetRamp answers where a light ramp stands.
func (a *API) GetRamp(c echo.Context, id gen.ID, _ gen.GetRampParams) error {
	now := a.now()
	return showOne(a, c, localDates(now), func(ctx context.Context, s tx.Scope) (gen.Ramp, error) {
		v, err := a.work.Ramp(ctx, s, id, now)
		if err != nil {
			return gen.Ramp{}, err
		}
		return rampOut(v), nil
	})
}

// HoldRamp keeps a ramp at its level.
func (a *API) HoldRamp(c echo.Context, id gen.ID, _ gen.HoldRampParams) error {
	return a.moveRamp(c, id, care.Hold)
}

// ResumeRamp ends a hold.
func (a *API) ResumeRamp(c echo.Context, id gen.ID, _ gen.ResumeRampParams) error {
	return a.moveRamp(c, id, care.Resume)
}

// StepBackRamp makes the previous level due today.
func (a *API) StepBackRamp(c echo.Context, id gen.ID, _ gen.StepBackRampParams) error {
	return a.moveRamp(c, id, care.StepBack)
}

func (a *API) moveRamp(c echo.Context, id uuid.UUID, kind care.RampEventKind) error {
	body, err := decode[gen.RampAction](c)
	if err != nil {
		return err
	}
	cl, err := call(a, c, func(v work.RampView) (tx.Answer, error) {
		b, err := encode(rampOut(v))
		return tx.Answer{Status: http.StatusOK, Body: b}, err
	})
	if err != nil {
		return err
	}
	out, err := a.work.MoveRamp(c.Request().Context(), cl, id, kind, body.Reason)
	if err != nil {
		return err
	}
	return reply(c, out.Answer, out.Repeated)
}
