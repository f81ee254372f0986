package api

import (
	"context"
	"net/http"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"tankward/api/gen"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
)

// GetOrganisation answers the caller's own organisation.
func (a *API) GetOrganisation(c echo.Context, _ gen.GetOrganisationParams) error {
	o, err := a.fleetReads.Organisation(c.Request().Context(), scopeOf(c))
	if err != nil {
		return err
	}
	return one(c, o.Version, organisationOut(o))
}

// PatchOrganisation changes the caller's own organisation.
func (a *API) PatchOrganisation(c echo.Context, _ gen.PatchOrganisationParams) error {
	match, err := ifMatch(c)
	if err != nil {
		return err
	}
	raw, err := readBody(c)
	if err != nil {
		return err
	}
	cl, err := call(a, c, func(o fleet.Organisation) (tx.Answer, error) {
		b, err := encode(organisationOut(o))
		return tx.Answer{Status: http.StatusOK, ETag: etag(o.Version), Body: b}, err
	})
	if err != nil {
		return err
	}
	out, err := a.fleet.PatchOrganisation(c.Request().Context(), cl, match, mergePatch(a, raw, organisationFace))
	if err != nil {
		return err
	}
	return reply(c, out.Answer, out.Repeated)
}

var organisationFace = face[fleet.OrganisationFields, gen.OrganisationPatch, gen.Organisation]{
	path: "/v1/organisation", body: organisationBody, fields: organisationFields, answer: organisationOut,
}

func organisationOut(o fleet.Organisation) gen.Organisation {
	return gen.Organisation{
		ID: o.ID, Version: o.Version, CreatedAt: o.CreatedAt, UpdatedAt: o.UpdatedAt,
		Name: o.Fields.Name, Kind: gen.OrganisationKind(o.Fields.Kind), TimeZone: o.Fields.TimeZone,
	}
}

func organisationBody(f fleet.OrganisationFields) gen.OrganisationPatch {
	kind := gen.OrganisationKind(f.Kind)
	return gen.OrganisationPatch{Name: &f.Name, Kind: &kind, TimeZone: &f.TimeZone}
}

func organisationFields(b gen.OrganisationPatch) (fleet.OrganisationFields, error) {
	f := fleet.OrganisationFields{Name: deref(b.Name), Kind: string(deref(b.Kind)), TimeZone: deref(b.TimeZone)}
	return f, f.Validate()
}

func (a *API) customers() face[fleet.CustomerFields, gen.CustomerCreate, gen.Customer] {
	return face[fleet.CustomerFields, gen.CustomerCreate, gen.Customer]{
		path: "/v1/customers", commands: a.fleet.Customers,
		id: func(b gen.CustomerCreate) *uuid.UUID { return b.ID },
		fields: func(b gen.CustomerCreate) (fleet.CustomerFields, error) {
			f := fleet.CustomerFields{
				Name: b.Name, ContactName: deref(b.ContactName), Email: deref(b.Email), Phone: deref(b.Phone), Note: deref(b.Note),
			}
			return f, f.Validate()
		},
		body: func(f fleet.CustomerFields) gen.CustomerCreate {
			return gen.CustomerCreate{
				Name: f.Name, ContactName: optional(f.ContactName), Email: optional(f.Email), Phone: optional(f.Phone), Note: optional(f.Note),
			}
		},
		answer: func(r fleet.Customer) gen.Customer {
			f := r.Fields
			return gen.Customer{
				ID: r.ID, Version: r.Version, CreatedAt: r.CreatedAt, UpdatedAt: r.UpdatedAt, ArchivedAt: r.ArchivedAt,
				Name: f.Name, ContactName: optional(f.ContactName), Email: optional(f.Email), Phone: optional(f.Phone), Note: optional(f.Note),
			}
		},
	}
}

// CreateCustomer adds a customer.
func (a *API) CreateCustomer(c echo.Context, _ gen.CreateCustomerParams) error {
	return create(a, c, a.customers())
}

// PatchCustomer changes a customer.
func (a *API) PatchCustomer(c echo.Context, id gen.ID, _ gen.PatchCustomerParams) error {
	return patch(a, c, a.customers(), id)
}

// ArchiveCustomer takes a customer out of use.
func (a *API) ArchiveCustomer(c echo.Context, id gen.ID, _ gen.ArchiveCustomerParams) error {
	return archive(a, c, a.customers(), id)
}

// GetCustomer answers one customer.
func (a *API) GetCustomer(c echo.Context, id gen.ID, _ gen.GetCustomerParams) error {
	return show(c, a.customers(), id, a.fleetReads.Customer)
}

// ListCustomers lists customers.
func (a *API) ListCustomers(c echo.Context, p gen.ListCustomersParams) error {
	return showList(a, c, "", a.customers().answer, func(ctx context.Context, s tx.Scope) (resource.Page[fleet.Customer], error) {
		return a.fleetReads.Customers(ctx, s, paging(p.Limit, p.Cursor, p.Archived))
	})
}

func (a *API) sites() face[fleet.SiteFields, gen.SiteCreate, gen.Site] {
	return face[fleet.SiteFields, gen.SiteCreate, gen.Site]{
		path: "/v1/sites", commands: a.work.Sites,
		id:     func(b gen.SiteCreate) *uuid.UUID { return b.ID },
		fields: siteFields, body: siteBody, answer: siteOut,
	}
}

func siteFields(b gen.SiteCreate) (fleet.SiteFields, error) {
	windows, err := hours("/access_windows", b.AccessWindows)
	if err != nil {
		return fleet.SiteFields{}, err
	}
	ad := deref(b.Address)
	f := fleet.SiteFields{
		Name: b.Name, CustomerID: deref(b.CustomerID),
		Address: fleet.Address{
			Street: deref(ad.Street), PostalCode: deref(ad.PostalCode), City: deref(ad.City), Region: deref(ad.Region), Country: deref(ad.Country),
		},
		Position: point(b.Position), TimeZone: b.TimeZone, AccessWindows: windows,
		WaterMode: fleet.WaterMode(b.WaterMode), ResponsibleMember: deref(b.ResponsibleMemberID),
		CarryDistanceM: deref(b.CarryDistanceM), CarryFloors: deref(b.CarryFloors), SetupMinutes: derefOr(b.SetupMinutes, 5),
	}
	return f, f.Validate()
}

func addressOut(f fleet.Address) *gen.Address {
	if f == (fleet.Address{}) {
		return nil
	}
	return &gen.Address{
		Street: optional(f.Street), PostalCode: optional(f.PostalCode), City: optional(f.City),
		Region: optional(f.Region), Country: optional(f.Country),
	}
}

func siteBody(f fleet.SiteFields) gen.SiteCreate {
	windows := hoursOut(f.AccessWindows)
	return gen.SiteCreate{
		Name: f.Name, CustomerID: idOrNone(f.CustomerID), Address: addressOut(f.Address), Position: pointOut(f.Position),
		TimeZone: f.TimeZone, AccessWindows: &windows, WaterMode: gen.WaterMode(f.WaterMode),
		ResponsibleMemberID: idOrNone(f.ResponsibleMember),
		CarryDistanceM:      &f.CarryDistanceM, CarryFloors: &f.CarryFloors, SetupMinutes: &f.SetupMinutes,
	}
}

func siteOut(r fleet.Site) gen.Site {
	f := r.Fields
	return gen.Site{
		ID: r.ID, Version: r.Version, CreatedAt: r.CreatedAt, UpdatedAt: r.UpdatedAt, ArchivedAt: r.ArchivedAt,
		Name: f.Name, CustomerID: idOrNone(f.CustomerID), Address: addressOut(f.Address), Position: pointOut(f.Position),
		TimeZone: f.TimeZone, AccessWindows: hoursOut(f.AccessWindows), WaterMode: gen.WaterMode(f.WaterMode),
		ResponsibleMemberID: idOrNone(f.ResponsibleMember),
		CarryDistanceM:      f.CarryDistanceM, CarryFloors: f.CarryFloors, SetupMinutes: f.SetupMinutes,
	}
}

// CreateSite adds a site.
func (a *API) CreateSite(c echo.Context, _ gen.CreateSiteParams) error {
	return create(a, c, a.sites())
}

// PatchSite changes a site.
func (a *API) PatchSite(c echo.Context, id gen.ID, _ gen.PatchSiteParams) error {
	return patch(a, c, a.sites(), id)
}

// ArchiveSite takes a site out of use.
func (a *API) ArchiveSite(c echo.Context, id gen.ID, _ gen.ArchiveSiteParams) error {
	return archive(a, c, a.sites(), id)
}

// GetSite answers one site.
func (a *API) GetSite(c echo.Context, id gen.ID, _ gen.GetSiteParams) error {
	return show(c, a.sites(), id, a.fleetReads.Site)
}

// ListSites lists sites.
func (a *API) ListSites(c echo.Context, p gen.ListSitesParams) error {
	f := fleet.SiteFilter{Customer: deref(p.CustomerID), ResponsibleMember: deref(p.ResponsibleMemberID)}
	return showList(a, c, "", siteOut, func(ctx context.Context, s tx.Scope) (resource.Page[fleet.Site], error) {
		return a.fleetReads.Sites(ctx, s, f, paging(p.Limit, p.Cursor, p.Archived))
	})
}

func accessNotesOut(n fleet.AccessNotes) gen.AccessNotes {
	return gen.AccessNotes{SiteID: n.SiteID, Version: n.Version, Text: n.Notes, UpdatedAt: optional(n.UpdatedAt)}
}

// GetAccessNotes answers how to get into a site.
func (a *API) GetAccessNotes(c echo.Context, id gen.ID, _ gen.GetAccessNotesParams) error {
	n, err := a.fleetReads.AccessNotes(c.Request().Context(), scopeOf(c), id)
	if err != nil {
		return err
	}
	return one(c, n.Version, accessNotesOut(n))
}

// PutAccessNotes replaces how to get into a site.
func (a *API) PutAccessNotes(c echo.Context, id gen.ID, _ gen.PutAccessNotesParams) error {
	match, err := ifMatch(c)
	if err != nil {
		return err
	}
	body, err := decode[gen.AccessNotesPut](c)
	if err != nil {
		return err
	}
	var checks fleet.Checks
	checks.Text("/text", body.Text, 10000, false)
	if err := checks.Err(); err != nil {
		return err
	}
	cl, err := call(a, c, func(n fleet.AccessNotes) (tx.Answer, error) {
		b, err := encode(accessNotesOut(n))
		return tx.Answer{Status: http.StatusOK, ETag: etag(n.Version), Body: b}, err
	})
	if err != nil {
		return err
	}
	out, err := a.fleet.PutAccessNotes(c.Request().Context(), cl, id, match, body.Text)
	if err != nil {
		return err
	}
	return reply(c, out.Answer, out.Repeated)
}

func (a *API) closures() face[fleet.ClosureFields, gen.ClosureCreate, gen.Closure] {
	return face[fleet.ClosureFields, gen.ClosureCreate, gen.Closure]{
		path: "/v1/closures", commands: a.work.Closures,
		id: func(b gen.ClosureCreate) *uuid.UUID { return b.ID },
		fields: func(b gen.ClosureCreate) (fleet.ClosureFields, error) {
			f := fleet.ClosureFields{SiteID: deref(b.SiteID), From: day(b.From), To: day(b.To), Reason: deref(b.Reason)}
			return f, f.Validate()
		},
		body: func(f fleet.ClosureFields) gen.ClosureCreate {
			return gen.ClosureCreate{SiteID: idOrNone(f.SiteID), From: date(f.From), To: date(f.To), Reason: optional(f.Reason)}
		},
		answer: func(r fleet.Closure) gen.Closure {
			f := r.Fields
			return gen.Closure{
				ID: r.ID, Version: r.Version, CreatedAt: r.CreatedAt, UpdatedAt: r.UpdatedAt, ArchivedAt: r.ArchivedAt,
				SiteID: idOrNone(f.SiteID), From: date(f.From), To: date(f.To), Reason: optional(f.Reason), EnteredOn: date(f.EnteredOn),
			}
		},
	}
}

// CreateClosure adds a closure.
func (a *API) CreateClosure(c echo.Context, _ gen.CreateClosureParams) error {
	return create(a, c, a.closures())
}

// PatchClosure changes a closure.
func (a *API) PatchClosure(c echo.Context, id gen.ID, _ gen.PatchClosureParams) error {
	return patch(a, c, a.closures(), id)
}

// ArchiveClosure takes a closure back.
func (a *API) ArchiveClosure(c echo.Context, id gen.ID, _ gen.ArchiveClosureParams) error {
	return archive(a, c, a.closures(), id)
}

// GetClosure answers one closure.
func (a *API) GetClosure(c echo.Context, id gen.ID, _ gen.GetClosureParams) error {
	return show(c, a.closures(), id, a.fleetReads.Closure)
}

// ListClosures lists closures.
func (a *API) ListClosures(c echo.Context, p gen.ListClosuresParams) error {
	f := fleet.ClosureFilter{Site: deref(p.SiteID), From: dayPtr(p.From), To: dayPtr(p.To)}
	return showList(a, c, "", a.closures().answer, func(ctx context.Context, s tx.Scope) (resource.Page[fleet.Closure], error) {
		return a.fleetReads.Closures(ctx, s, f, paging(p.Limit, p.Cursor, p.Archived))
	})
}
