package api

import (
	"context"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"tankward/api/gen"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
)

func (a *API) tanks() face[fleet.TankFields, gen.TankCreate, gen.Tank] {
	return face[fleet.TankFields, gen.TankCreate, gen.Tank]{
		path: "/v1/tanks", commands: a.work.Tanks,
		id:     func(b gen.TankCreate) *uuid.UUID { return b.ID },
		fields: tankFields, body: tankBody, answer: tankOut,
		restart: "shape", kind: "form",
	}
}

func tankFields(b gen.TankCreate) (fleet.TankFields, error) {
	f := fleet.TankFields{
		SiteID: b.SiteID, Name: b.Name, Kind: fleet.TankKind(b.Kind), Status: fleet.TankStatus(derefOr(b.Status, gen.TankStatusNew)),
		Shape: fleet.Shape{
			Form: fleet.Form(b.Shape.Form), LengthCM: deref(b.Shape.LengthCm), WidthCM: deref(b.Shape.WidthCm), HeightCM: deref(b.Shape.HeightCm),
			DiameterCM: deref(b.Shape.DiameterCm), BowCM: deref(b.Shape.BowCm), StatedL: deref(b.Shape.StatedL),
		},
		DisplacementL: deref(b.DisplacementL), SumpL: deref(b.SumpL), StartedOn: dayPtr(b.StartedOn), Note: deref(b.Note),
	}
	for _, t := range deref(b.Targets) {
		f.Targets = append(f.Targets, fleet.Target{Parameter: t.Parameter, Low: t.Low, High: t.High})
	}
	return f, f.Validate()
}

func shapeOut(s fleet.Shape) gen.Shape {
	return gen.Shape{
		Form: gen.TankForm(s.Form), LengthCm: optional(s.LengthCM), WidthCm: optional(s.WidthCM), HeightCm: optional(s.HeightCM),
		DiameterCm: optional(s.DiameterCM), BowCm: optional(s.BowCM), StatedL: optional(s.StatedL),
	}
}

func targetsOut(in []fleet.Target) []gen.Target {
	out := make([]gen.Target, len(in))
	for i, t := range in {
		out[i] = gen.Target{Parameter: t.Parameter, Low: t.Low, High: t.High}
	}
	return out
}

func tankBody(f fleet.TankFields) gen.TankCreate {
	status, targets := gen.TankStatus(f.Status), targetsOut(f.Targets)
	return gen.TankCreate{
		SiteID: f.SiteID, Name: f.Name, Kind: gen.TankKind(f.Kind), Status: &status, Shape: shapeOut(f.Shape),
		DisplacementL: &f.DisplacementL, SumpL: &f.SumpL, Targets: &targets, StartedOn: datePtr(f.StartedOn), Note: optional(f.Note),
	}
}

func tankOut(r fleet.Tank) gen.Tank {
	f := r.Fields
	return gen.Tank{
		ID: r.ID, Version: r.Version, CreatedAt: r.CreatedAt, UpdatedAt: r.UpdatedAt, ArchivedAt: r.ArchivedAt,
		SiteID: f.SiteID, Name: f.Name, Kind: gen.TankKind(f.Kind), Status: gen.TankStatus(f.Status), Shape: shapeOut(f.Shape),
		DisplacementL: f.DisplacementL, SumpL: f.SumpL, NetL: f.NetL, Targets: targetsOut(f.Targets),
		StartedOn: datePtr(f.StartedOn), Note: optional(f.Note),
	}
}

// CreateTank adds a tank.
func (a *API) CreateTank(c echo.Context, _ gen.CreateTankParams) error {
	return create(a, c, a.tanks())
}

// PatchTank changes a tank.
func (a *API) PatchTank(c echo.Context, id gen.ID, _ gen.PatchTankParams) error {
	return patch(a, c, a.tanks(), id)
}

// ArchiveTank takes a tank out of use.
func (a *API) ArchiveTank(c echo.Context, id gen.ID, _ gen.ArchiveTankParams) error {
	return archive(a, c, a.tanks(), id)
}

// GetTank answers one tank.
func (a *API) GetTank(c echo.Context, id gen.ID, _ gen.GetTankParams) error {
	return show(c, a.tanks(), id, a.fleetReads.Tank)
}

// ListTanks lists tanks.
func (a *API) ListTanks(c echo.Context, p gen.ListTanksParams) error {
	f := fleet.TankFilter{Site: deref(p.SiteID), Kind: fleet.TankKind(deref(p.Kind)), Status: fleet.TankStatus(deref(p.Status))}
	return showList(a, c, "", tankOut, func(ctx context.Context, s tx.Scope) (resource.Page[fleet.Tank], error) {
		return a.fleetReads.Tanks(ctx, s, f, paging(p.Limit, p.Cursor, p.Archived))
	})
}

func (a *API) equipment() face[fleet.EquipmentFields, gen.EquipmentCreate, gen.Equipment] {
	return face[fleet.EquipmentFields, gen.EquipmentCreate, gen.Equipment]{
		path: "/v1/equipment", commands: a.fleet.Equipment,
		id: func(b gen.EquipmentCreate) *uuid.UUID { return b.ID },
		fields: func(b gen.EquipmentCreate) (fleet.EquipmentFields, error) {
			f := fleet.EquipmentFields{
				TankID: b.TankID, Kind: string(b.Kind), Label: b.Label, PowerW: b.PowerW, InstalledOn: dayPtr(b.InstalledOn), Note: deref(b.Note),
			}
			return f, f.Validate()
		},
		body: func(f fleet.EquipmentFields) gen.EquipmentCreate {
			return gen.EquipmentCreate{
				TankID: f.TankID, Kind: gen.EquipmentKind(f.Kind), Label: f.Label, PowerW: f.PowerW,
				InstalledOn: datePtr(f.InstalledOn), Note: optional(f.Note),
			}
		},
		answer: func(r fleet.Equipment) gen.Equipment {
			f := r.Fields
			return gen.Equipment{
				ID: r.ID, Version: r.Version, CreatedAt: r.CreatedAt, UpdatedAt: r.UpdatedAt, ArchivedAt: r.ArchivedAt,
				TankID: f.TankID, Kind: gen.EquipmentKind(f.Kind), Label: f.Label, PowerW: f.PowerW,
				InstalledOn: datePtr(f.InstalledOn), Note: optional(f.Note),
			}
		},
	}
}

// CreateEquipment adds a device or valve.
func (a *API) CreateEquipment(c echo.Context, _ gen.CreateEquipmentParams) error {
	return create(a, c, a.equipment())
}

// PatchEquipment changes a device or valve.
func (a *API) PatchEquipment(c echo.Context, id gen.ID, _ gen.PatchEquipmentParams) error {
	return patch(a, c, a.equipment(), id)
}

// ArchiveEquipment takes a device or valve out of use.
func (a *API) ArchiveEquipment(c echo.Context, id gen.ID, _ gen.ArchiveEquipmentParams) error {
	return archive(a, c, a.equipment(), id)
}

// GetEquipment answers one device or valve.
func (a *API) GetEquipment(c echo.Context, id gen.ID, _ gen.GetEquipmentParams) error {
	return show(c, a.equipment(), id, a.fleetReads.Equipment)
}

// ListEquipment lists devices and valves.
func (a *API) ListEquipment(c echo.Context, p gen.ListEquipmentParams) error {
	f := fleet.EquipmentFilter{Tank: deref(p.TankID), Kind: string(deref(p.Kind))}
	return showList(a, c, "", a.equipment().answer, func(ctx context.Context, s tx.Scope) (resource.Page[fleet.Equipment], error) {
		return a.fleetReads.EquipmentList(ctx, s, f, paging(p.Limit, p.Cursor, p.Archived))
	})
}
