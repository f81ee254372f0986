package api

import (
	"context"
	"net/http"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"tankward/api/gen"
	"tankward/service/care"
	"tankward/service/care/readyset"
	"tankward/service/tx"
	"tankward/service/work"
)

func parts(in *[]gen.TankPart) []readyset.Part {
	if in == nil {
		return nil
	}
	out := make([]readyset.Part, len(*in))
	for i, p := range *in {
		out[i] = readyset.Part(p)
	}
	return out
}

// reservoir needs the litres; how much evaporates says nothing without them.
func reservoir(usable, evaporation *float64) *readyset.Reservoir {
	if usable == nil {
		return nil
	}
	return &readyset.Reservoir{UsableL: *usable, EvaporationLPerDay: deref(evaporation)}
}

func leftOut(in []readyset.LeftOut) []gen.LeftOut {
	out := make([]gen.LeftOut, len(in))
	for i, l := range in {
		out[i] = gen.LeftOut{Name: l.Name, Reason: l.Reason}
	}
	return out
}

// draftOut shows a draft. A joined one has no parent's id yet; joined_to names
// the parent within the set.
func draftOut(d readyset.Draft) gen.ReadyRoutine {
	out := gen.ReadyRoutine{
		Code: d.Key, Name: d.Name, WorkKind: gen.WorkKind(d.Kind), ConsequenceClass: classOut(d.Class), PartOfDay: gen.PartOfDay(d.PartOfDay),
		ActiveMinutes: d.ActiveMinutes, Waits: make([]gen.Wait, len(d.Waits)), Materials: make([]gen.Material, len(d.Materials)),
		Skill: optional(d.Skill), PerformedBy: gen.Performer(d.Performer), DaysEarly: d.DaysEarly, DaysLate: d.DaysLate,
		StartsAfterDays: d.StartsAfterDays, EndsAfterDays: optional(d.EndsAfterDays), Note: optional(d.Note), Mark: gen.Mark(d.Mark),
		JoinedTo: optional(d.Cadence.Parent),
		Cadence: cadenceOut(care.Cadence{
			Kind: d.Cadence.Kind, Every: d.Cadence.Every, Unit: d.Cadence.Unit, Gap: d.Cadence.Gap,
		}, uuid.Nil),
	}
	out.Cadence.ParentID = nil
	for i, w := range d.Waits {
		out.Waits[i] = gen.Wait{MinMinutes: w.MinMinutes, MaxMinutes: w.MaxMinutes, Presence: gen.Presence(w.Presence)}
	}
	for i, m := range d.Materials {
		out.Materials[i] = gen.Material{
			Material: gen.MaterialKind(m.Material), Label: optional(m.Label), Quantity: m.Quantity, Unit: gen.MaterialUnit(m.Unit),
		}
	}
	return out
}

func readySetOut(set work.ReadySet) gen.ReadySet {
	out := gen.ReadySet{
		TankID: set.Tank.ID, Kind: gen.TankKind(set.Tank.Fields.Kind), Routines: make([]gen.ReadyRoutine, len(set.Drafts)),
		LeftOut: leftOut(set.LeftOut),
	}
	for i, d := range set.Drafts {
		out.Routines[i] = draftOut(d)
	}
	return out
}

// PreviewReadySet answers which routines are usual for a tank of its kind.
func (a *API) PreviewReadySet(c echo.Context, id gen.ID, p gen.PreviewReadySetParams) error {
	r := work.ReadyRequest{Reservoir: reservoir(p.ReservoirL, p.EvaporationLPerDay), Uses: parts(p.Uses), Lacks: parts(p.Lacks)}
	return showOne(a, c, "", func(ctx context.Context, s tx.Scope) (gen.ReadySet, error) {
		set, err := a.work.PreviewReadySet(ctx, s, id, r)
		return readySetOut(set), err
	})
}

// ApplyReadySet makes the routines that are usual for a tank of its kind.
func (a *API) ApplyReadySet(c echo.Context, id gen.ID, _ gen.ApplyReadySetParams) error {
	var body gen.ReadySetApply
	if raw, err := readBody(c); err != nil {
		return err
	} else if len(raw) > 0 {
		if err := decodeInto(raw, &body); err != nil {
			return err
		}
	}
	r := work.ReadyRequest{
		FirstDay: dayPtr(body.FirstDay), Reservoir: reservoir(body.ReservoirL, body.EvaporationLPerDay),
		Uses: parts(body.Uses), Lacks: parts(body.Lacks),
	}
	cl, err := call(a, c, appliedOut)
	if err != nil {
		return err
	}
	out, err := a.work.ApplyReadySet(c.Request().Context(), cl, id, r)
	if err != nil {
		return err
	}
	return reply(c, out.Answer, out.Repeated)
}

// appliedOut answers 201, or 200 when nothing was left to make.
func appliedOut(set work.AppliedReadySet) (tx.Answer, error) {
	out := gen.AppliedReadySet{
		TankID: set.Tank.ID, Kind: gen.TankKind(set.Tank.Fields.Kind), Routines: make([]gen.Routine, len(set.Routines)),
		LeftOut: leftOut(set.LeftOut),
	}
	for i, r := range set.Routines {
		out.Routines[i] = routineOut(r)
	}
	code := http.StatusCreated
	if len(out.Routines) == 0 {
		code = http.StatusOK
	}
	b, err := encode(out)
	return tx.Answer{Status: code, Body: b}, err
}
