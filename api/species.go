package api

import (
	"context"
	"net/http"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"tankward/api/gen"
	"tankward/service/care/caution"
	"tankward/service/fault"
	"tankward/service/mark"
	"tankward/service/resource"
	"tankward/service/stock"
	"tankward/service/tx"
)

// species is the face of an organisation's own species.
func (a *API) species() face[stock.SpeciesFields, gen.SpeciesCreate, gen.Species] {
	return face[stock.SpeciesFields, gen.SpeciesCreate, gen.Species]{
		path: "/v1/species", commands: a.stock.Species,
		id:     func(b gen.SpeciesCreate) *uuid.UUID { return b.ID },
		fields: speciesFields, body: speciesBody, answer: ownSpeciesOut,
	}
}

// speciesFields makes no difference between an empty list and none.
func speciesFields(b gen.SpeciesCreate) (stock.SpeciesFields, error) {
	f := stock.SpeciesFields{
		ScientificName: b.ScientificName, TradeName: b.TradeName, Group: stock.Group(b.Group), Counting: stock.Counting(b.Counting),
	}
	f.Synonyms = append(f.Synonyms, deref(b.Synonyms)...)
	for _, k := range deref(b.Facts) {
		f.Facts = append(f.Facts, stock.Fact{
			Fact: stock.FactName(k.Fact), Low: k.Low, High: k.High, Value: k.Value, Text: deref(k.Text), Unit: deref(k.Unit),
			Mark: mark.Mark(k.Mark), Source: deref(k.Source),
		})
	}
	for _, c := range deref(b.Cautions) {
		f.Cautions = append(f.Cautions, caution.Caution{Code: c.Code, Text: c.Text, Mark: mark.Mark(deref(c.Mark)), Source: deref(c.Source)})
	}
	return f, fault.Check(f.Validate())
}

func speciesFactsOut(in []stock.Fact) []gen.SpeciesFact {
	out := make([]gen.SpeciesFact, len(in))
	for i, k := range in {
		out[i] = gen.SpeciesFact{
			Fact: gen.SpeciesFactName(k.Fact), Low: k.Low, High: k.High, Value: k.Value, Text: optional(k.Text), Unit: optional(k.Unit),
			Mark: gen.Mark(k.Mark), Source: optional(k.Source),
		}
	}
	return out
}

func cautionsOut(in []caution.Caution) []gen.Caution {
	out := make([]gen.Caution, len(in))
	for i, c := range in {
		out[i] = gen.Caution{Code: c.Code, Text: c.Text, Mark: optional(gen.Mark(c.Mark)), Source: optional(c.Source)}
	}
	return out
}

// listed gives a list that is never null.
func listed(in []string) []string { return append([]string{}, in...) }

func speciesBody(f stock.SpeciesFields) gen.SpeciesCreate {
	synonyms, facts, cautions := listed(f.Synonyms), speciesFactsOut(f.Facts), cautionsOut(f.Cautions)
	return gen.SpeciesCreate{
		ScientificName: f.ScientificName, Synonyms: &synonyms, TradeName: f.TradeName, Group: gen.SpeciesGroup(f.Group),
		Counting: gen.Counting(f.Counting), Facts: &facts, Cautions: &cautions,
	}
}

func ownSpeciesOut(r stock.OwnSpecies) gen.Species {
	f := r.Fields
	return gen.Species{
		ID: r.ID.String(), Version: r.Version, Origin: gen.SpeciesOriginOwn, ScientificName: f.ScientificName, Synonyms: listed(f.Synonyms),
		TradeName: optional(f.TradeName), OtherNames: []string{}, Group: gen.SpeciesGroup(f.Group), Counting: gen.Counting(f.Counting),
		Facts: speciesFactsOut(f.Facts), Cautions: cautionsOut(f.Cautions),
		CreatedAt: &r.CreatedAt, UpdatedAt: &r.UpdatedAt, ArchivedAt: r.ArchivedAt,
	}
}

func catalogueSpeciesOut(sp stock.Species) gen.Species {
	return gen.Species{
		ID: sp.Code, Version: 1, Origin: gen.SpeciesOriginCatalogue, ScientificName: sp.ScientificName, Synonyms: listed(sp.Synonyms),
		TradeName: optional(sp.TradeName), OtherNames: listed(sp.OtherNames), NameMark: optional(gen.Mark(sp.NameMark)),
		Group: gen.SpeciesGroup(sp.Group), Counting: gen.Counting(sp.Counting),
		Facts: speciesFactsOut(sp.Facts), Cautions: cautionsOut(sp.Cautions),
	}
}

func speciesOut(e stock.SpeciesEntry) gen.Species {
	if e.Catalogue != nil {
		return catalogueSpeciesOut(*e.Catalogue)
	}
	return ownSpeciesOut(*e.Own)
}

// CreateSpecies adds a species of the organisation's own.
func (a *API) CreateSpecies(c echo.Context, _ gen.CreateSpeciesParams) error {
	return create(a, c, a.species())
}

// PatchSpecies changes a species of the organisation's own.
func (a *API) PatchSpecies(c echo.Context, id gen.SpeciesID, _ gen.PatchSpeciesParams) error {
	own, err := stock.ChangeableSpecies(id)
	if err != nil {
		return err
	}
	return patch(a, c, a.species(), own)
}

// ArchiveSpecies takes a species of the organisation's own out of use.
func (a *API) ArchiveSpecies(c echo.Context, id gen.SpeciesID, _ gen.ArchiveSpeciesParams) error {
	own, err := stock.ChangeableSpecies(id)
	if err != nil {
		return err
	}
	return archive(a, c, a.species(), own)
}

// GetSpecies answers one species of the catalogue or of the organisation's own.
func (a *API) GetSpecies(c echo.Context, id gen.SpeciesID, _ gen.GetSpeciesParams) error {
	e, err := a.stock.ReadSpecies(c.Request().Context(), scopeOf(c), stock.ParseSpeciesID(id))
	if err != nil {
		return err
	}
	if e.Own != nil {
		return one(c, e.Own.Version, ownSpeciesOut(*e.Own))
	}
	// A new release may bring another content under the same version.
	if unchanged(c, `"catalogue-`+stock.Edition()+`"`) {
		return c.NoContent(http.StatusNotModified)
	}
	return send(c, http.StatusOK, catalogueSpeciesOut(*e.Catalogue))
}

// ListSpecies lists the catalogue and the organisation's own species.
func (a *API) ListSpecies(c echo.Context, p gen.ListSpeciesParams) error {
	f := stock.SpeciesFilter{Query: deref(p.Q), Group: stock.Group(deref(p.Group)), Origin: stock.Origin(deref(p.Origin))}
	return showList(a, c, stock.Edition(), speciesOut, func(ctx context.Context, s tx.Scope) (resource.Page[stock.SpeciesEntry], error) {
		return a.stock.ListSpecies(ctx, s, f, paging(p.Limit, p.Cursor, p.Archived))
	})
}
