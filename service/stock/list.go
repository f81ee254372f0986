package stock

import (
	"context"
	"slices"
	"strings"

	"tankward/service/fault"
	"tankward/service/resource"
	"tankward/service/tx"
)

// Origin says where a species is known from.
type Origin string

// The origins.
const (
	FromCatalogue Origin = "catalogue"
	FromOwn       Origin = "own"
)

// SpeciesFilter narrows a list of species; an empty field doesn't.
type SpeciesFilter struct {
	Query    string // every word of it occurs in the names, whatever the case
	Group    Group
	Origin   Origin
	Archived bool // archived own species instead of those in use
}

// Words gives the words of the query in lower case.
func (f SpeciesFilter) Words() []string { return strings.Fields(strings.ToLower(f.Query)) }

// SpeciesEntry is one species of either origin. Exactly one is set.
type SpeciesEntry struct {
	Catalogue *Species
	Own       *OwnSpecies
}

// ID names the species.
func (e SpeciesEntry) ID() SpeciesID {
	if e.Catalogue != nil {
		return SpeciesID{Code: e.Catalogue.Code}
	}
	return SpeciesID{Own: e.Own.ID}
}

func (e SpeciesEntry) scientificName() string {
	if e.Catalogue != nil {
		return e.Catalogue.ScientificName
	}
	return e.Own.Fields.ScientificName
}

func (e SpeciesEntry) key() SpeciesKey {
	return SpeciesKey{Name: lowerASCII(e.scientificName()), ID: e.ID().String()}
}

// SpeciesKey is a place in the order of species. Names are compared byte by
// byte with the letters A to Z made small, so that every store orders alike.
type SpeciesKey struct{ Name, ID string }

func (k SpeciesKey) compare(o SpeciesKey) int {
	if c := strings.Compare(k.Name, o.Name); c != 0 {
		return c
	}
	return strings.Compare(k.ID, o.ID)
}

func lowerASCII(s string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'A' && r <= 'Z' {
			return r + 'a' - 'A'
		}
		return r
	}, s)
}

// ReadSpecies gives one species of the catalogue or of the organisation's own;
// NotFound for any other id.
func (s *Service) ReadSpecies(ctx context.Context, sc tx.Scope, id SpeciesID) (SpeciesEntry, error) {
	if id.Code != "" {
		sp, ok := ByCode(id.Code)
		if !ok {
			return SpeciesEntry{}, fault.NoSuch("species", id)
		}
		return SpeciesEntry{Catalogue: &sp}, nil
	}
	own, err := s.reads.OwnSpecies(ctx, sc, id.Own)
	return SpeciesEntry{Own: &own}, err
}

// ListSpecies lists the catalogue and the organisation's own species as one, by
// scientific name.
func (s *Service) ListSpecies(ctx context.Context, sc tx.Scope, f SpeciesFilter, p resource.Paging) (resource.Page[SpeciesEntry], error) {
	var page resource.Page[SpeciesEntry]
	after, err := resource.DecodeCursor[SpeciesKey](p.After)
	if err != nil {
		return page, err
	}
	f.Archived = p.Archived
	own, head, err := s.ownAfter(ctx, sc, f, after, p.Limit+1)
	if err != nil {
		return page, err
	}
	page.Head = head
	for i := range own {
		page.Items = append(page.Items, SpeciesEntry{Own: &own[i]})
	}
	page.Items = append(page.Items, catalogueAfter(f, after)...)
	slices.SortFunc(page.Items, func(a, b SpeciesEntry) int { return a.key().compare(b.key()) })
	if len(page.Items) > p.Limit {
		page.Items = page.Items[:p.Limit]
		page.Next = resource.EncodeCursor(page.Items[p.Limit-1].key())
	}
	return page, nil
}

func (s *Service) ownAfter(ctx context.Context, sc tx.Scope, f SpeciesFilter, after SpeciesKey, limit int) ([]OwnSpecies, int64, error) {
	if f.Origin == FromCatalogue {
		head, err := s.reads.Head(ctx, sc)
		return nil, head, err
	}
	return s.reads.OwnSpeciesAfter(ctx, sc, f, after, limit)
}

// catalogueAfter gives all species of the catalogue that fit and come after a
// place; nothing of it is ever archived.
func catalogueAfter(f SpeciesFilter, after SpeciesKey) []SpeciesEntry {
	if f.Origin == FromOwn || f.Archived {
		return nil
	}
	var out []SpeciesEntry
	for _, sp := range Search(f.Query) {
		e := SpeciesEntry{Catalogue: &sp}
		if (f.Group == "" || sp.Group == f.Group) && e.key().compare(after) > 0 {
			out = append(out, e)
		}
	}
	return out
}
