package api

import (
	"context"
	"net/http"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"tankward/api/gen"
	"tankward/service/resource"
	"tankward/service/stock"
	"tankward/service/tx"
)

func (a *API) livestock() face[stock.LivestockFields, gen.LivestockCreate, gen.Livestock] {
	return face[stock.LivestockFields, gen.LivestockCreate, gen.Livestock]{
		path: "/v1/livestock", commands: a.stock.Livestock,
		id:     func(b gen.LivestockCreate) *uuid.UUID { return b.ID },
		fields: livestockFields, body: livestockBody, answer: livestockOut,
	}
}

func livestockFields(b gen.LivestockCreate) (stock.LivestockFields, error) {
	f := stock.LivestockFields{
		TankID: b.TankID, Species: stock.ParseSpeciesID(b.SpeciesID), Form: stock.Counting(deref(b.Form)), Label: deref(b.Label),
		Source: deref(b.Source), Place: deref(b.Place), State: stock.State(derefOr(b.State, gen.LivestockStateSettling)),
		PermitRef: deref(b.PermitRef), Count: b.Count,
	}
	if b.ArrivedOn != nil {
		f.ArrivedOn = day(*b.ArrivedOn)
	}
	return f, f.Validate()
}

// livestockBody names a count because a new entry needs one; a patch leaves the
// count alone.
func livestockBody(f stock.LivestockFields) gen.LivestockCreate {
	form, state := gen.Counting(f.Form), gen.LivestockState(f.State)
	return gen.LivestockCreate{
		TankID: f.TankID, SpeciesID: f.Species.String(), Form: &form, Label: optional(f.Label), Source: optional(f.Source),
		Place: optional(f.Place), State: &state, ArrivedOn: datePtr(&f.ArrivedOn), PermitRef: optional(f.PermitRef), Count: max(1, f.Count),
	}
}

func livestockOut(r stock.Livestock) gen.Livestock {
	f := r.Fields
	return gen.Livestock{
		ID: r.ID, Version: r.Version, CreatedAt: r.CreatedAt, UpdatedAt: r.UpdatedAt, ArchivedAt: r.ArchivedAt,
		TankID: f.TankID, SpeciesID: f.Species.String(), Form: gen.Counting(f.Form), Label: optional(f.Label), Source: optional(f.Source),
		Place: optional(f.Place), State: gen.LivestockState(f.State), ArrivedOn: date(f.ArrivedOn), Count: f.Count, PermitRef: optional(f.PermitRef),
	}
}

// CreateLivestock records animals that arrived in a tank.
func (a *API) CreateLivestock(c echo.Context, _ gen.CreateLivestockParams) error {
	return create(a, c, a.livestock())
}

// PatchLivestock changes what is known of animals.
func (a *API) PatchLivestock(c echo.Context, id gen.ID, _ gen.PatchLivestockParams) error {
	return patch(a, c, a.livestock(), id)
}

// ArchiveLivestock takes an entry out of use whose animals are gone.
func (a *API) ArchiveLivestock(c echo.Context, id gen.ID, _ gen.ArchiveLivestockParams) error {
	return archive(a, c, a.livestock(), id)
}

// GetLivestock answers one entry.
func (a *API) GetLivestock(c echo.Context, id gen.ID, _ gen.GetLivestockParams) error {
	return show(c, a.livestock(), id, a.stockReads.Livestock)
}

// ListLivestock lists livestock.
func (a *API) ListLivestock(c echo.Context, p gen.ListLivestockParams) error {
	f := stock.LivestockFilter{Tank: deref(p.TankID), State: stock.State(deref(p.State))}
	if p.SpeciesID != nil {
		f.Species = stock.ParseSpeciesID(*p.SpeciesID)
	}
	return showList(a, c, "", livestockOut, func(ctx context.Context, s tx.Scope) (resource.Page[stock.Livestock], error) {
		return a.stockReads.LivestockList(ctx, s, f, paging(p.Limit, p.Cursor, p.Archived))
	})
}

func livestockEventOut(e stock.Event) gen.LivestockEvent {
	return gen.LivestockEvent{
		ID: e.ID, LivestockID: e.LivestockID, Kind: gen.LivestockEventKind(e.Kind), Day: date(e.Day), Delta: e.Delta,
		Reason: optional(e.Reason), RecordedAt: e.RecordedAt, RecordedBy: e.Actor,
	}
}

// ListLivestockEvents lists why a count changed.
func (a *API) ListLivestockEvents(c echo.Context, id gen.ID, p gen.ListLivestockEventsParams) error {
	return showList(a, c, "", livestockEventOut, func(ctx context.Context, s tx.Scope) (resource.Page[stock.Event], error) {
		return a.stockReads.LivestockEvents(ctx, s, id, paging(p.Limit, p.Cursor, nil))
	})
}

// CreateLivestockEvent records why a count changed, and changes it.
func (a *API) CreateLivestockEvent(c echo.Context, id gen.ID, _ gen.CreateLivestockEventParams) error {
	body, err := decode[gen.LivestockEventCreate](c)
	if err != nil {
		return err
	}
	n := stock.NewEvent{
		LivestockID: id, Kind: stock.EventKind(body.Kind), Day: dayPtr(body.Day), Delta: body.Delta, Reason: deref(body.Reason),
	}
	event := a.newID()
	if body.ID != nil {
		event = *body.ID
	}
	cl, err := call(a, c, func(r stock.Added) (tx.Answer, error) {
		code := http.StatusCreated
		if !r.New {
			code = http.StatusOK
		}
		b, err := encode(livestockEventOut(r.Event))
		return tx.Answer{Status: code, Body: b}, err
	})
	if err != nil {
		return err
	}
	out, err := a.stock.AddEvent(c.Request().Context(), cl, event, n)
	if err != nil {
		return err
	}
	return reply(c, out.Answer, out.Repeated)
}
