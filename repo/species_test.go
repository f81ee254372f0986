package repo

import (
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"

	"tankward/service/care/caution"
	"tankward/service/fault"
	"tankward/service/mark"
	"tankward/service/resource"
	"tankward/service/stock"
	"tankward/service/tx"
)

func addSpecies(t *testing.T, w *world, s tx.Scope, change ...func(*stock.SpeciesFields)) stock.OwnSpecies {
	t.Helper()
	f := stock.SpeciesFields{ScientificName: "Discosoma sp.", TradeName: "blue mushroom", Group: stock.Soft, Counting: stock.Colony}
	apply(&f, change)
	return added(t, w.db, s, kind("species", (*Tx).Species), f)
}

func TestSpeciesRoundTrip(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for name, change := range map[string]func(*stock.SpeciesFields){
		"least": func(*stock.SpeciesFields) {},
		"all": func(f *stock.SpeciesFields) {
			f.Synonyms = []string{"Actinodiscus sp.", "Rhodactis sp."}
			f.Facts = []stock.Fact{
				{Fact: stock.LightPPFD, Low: new(40.0), High: new(120.0), Text: "out of the flow", Unit: "umol/m2/s", Mark: mark.FromMemory},
				{Fact: stock.MinVolumeL, Value: new(40.0), Unit: "l", Mark: mark.Published, Source: "our own log, page 3"},
			}
			f.Cautions = []caution.Caution{{Code: "slimes", Text: "Slimes when cut.", Mark: mark.CommonPractice, Source: "every keeper"}}
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			want := addSpecies(t, w, w.a.Scope, change)
			got, err := w.db.OwnSpecies(t.Context(), w.a.Scope, want.ID)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("read back (-want +got):\n%s", diff)
			}
		})
	}
}

func TestSpeciesInUseIsNotArchived(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.a.Scope
	sv := stockOn(w.db)
	own := addSpecies(t, w, s)
	animals := addLivestock(t, w, s, func(f *stock.LivestockFields) { f.Species = stock.SpeciesID{Own: own.ID} })
	_, err := sv.Species.Archive(t.Context(), calling[stock.OwnSpecies](s), own.ID, 0)
	wantFault(t, err, fault.Conflict)
	if _, err := addEvent(t, w, s, newID(), stock.NewEvent{LivestockID: animals.ID, Kind: stock.Removal, Delta: -2}); err != nil {
		t.Fatal(err)
	}
	if _, err := sv.Livestock.Archive(t.Context(), calling[stock.Livestock](s), animals.ID, 0); err != nil {
		t.Fatal(err)
	}
	if _, err := sv.Species.Archive(t.Context(), calling[stock.OwnSpecies](s), own.ID, 0); err != nil {
		t.Error(err)
	}
}

// all gives the items of a list that is read page by page.
func all[T any](t *testing.T, limit int, read func(resource.Paging) (resource.Page[T], error)) []T {
	t.Helper()
	var out []T
	for p := (resource.Paging{Limit: limit}); ; {
		page, err := read(p)
		if err != nil {
			t.Fatal(err)
		}
		if len(page.Items) > limit {
			t.Fatalf("a page of %d, limit %d", len(page.Items), limit)
		}
		out = append(out, page.Items...)
		if page.Next == "" {
			return out
		}
		p.After = page.Next
	}
}

func TestSpeciesAreListedAsOne(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.a.Scope
	sv := stockOn(w.db)
	addSpecies(t, w, w.b.Scope)
	for _, name := range []string{"amphiprion Ocellaris", "Amphiprion ocellaris", "Zzz last", "Äpfel", "aaa first", "Aaa first", "Discosoma sp."} {
		addSpecies(t, w, s, func(f *stock.SpeciesFields) { f.ScientificName, f.Synonyms = name, []string{"Olim " + name} })
	}
	list := func(f stock.SpeciesFilter, limit int) []string {
		var names []string
		for _, e := range all(t, limit, func(p resource.Paging) (resource.Page[stock.SpeciesEntry], error) {
			return sv.ListSpecies(t.Context(), s, f, p)
		}) {
			if e.Catalogue != nil {
				names = append(names, e.Catalogue.ScientificName)
			} else {
				names = append(names, e.Own.Fields.ScientificName)
			}
		}
		return names
	}
	whole := list(stock.SpeciesFilter{}, 500)
	if want := len(stock.Catalogue()) + 7; len(whole) != want {
		t.Errorf("%d species, want %d", len(whole), want)
	}
	if !slices.IsSortedFunc(whole, func(a, b string) int { return strings.Compare(strings.ToLower(a), strings.ToLower(b)) }) {
		t.Errorf("not by scientific name: %q", whole)
	}
	for _, limit := range []int{1, 7} {
		if diff := cmp.Diff(whole, list(stock.SpeciesFilter{}, limit)); diff != "" {
			t.Errorf("in pages of %d (-whole +pages):\n%s", limit, diff)
		}
	}
	for _, c := range []struct {
		filter stock.SpeciesFilter
		want   []string
	}{
		{stock.SpeciesFilter{Origin: stock.FromOwn, Query: "OLIM ocellaris"}, []string{"Amphiprion ocellaris", "amphiprion Ocellaris"}},
		{stock.SpeciesFilter{Origin: stock.FromOwn, Query: "mushroom zzz"}, []string{"Zzz last"}},
		{stock.SpeciesFilter{Query: "amphiprion ocellaris", Group: stock.Fish}, []string{"Amphiprion ocellaris"}},
		{stock.SpeciesFilter{Origin: stock.FromOwn, Group: stock.Fish}, nil},
		{stock.SpeciesFilter{Origin: stock.FromCatalogue, Query: "zzz"}, nil},
	} {
		got := list(c.filter, 2)
		if c.filter.Query == "OLIM ocellaris" {
			slices.Sort(got) // both have one place in the order, then their ids decide
		}
		if diff := cmp.Diff(c.want, got); diff != "" {
			t.Errorf("%+v (-want +got):\n%s", c.filter, diff)
		}
	}
}

func TestArchivedSpeciesAreListedApart(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	sv := stockOn(w.db)
	own := addSpecies(t, w, w.a.Scope)
	if _, err := sv.Species.Archive(t.Context(), calling[stock.OwnSpecies](w.a.Scope), own.ID, 0); err != nil {
		t.Fatal(err)
	}
	page, err := sv.ListSpecies(t.Context(), w.a.Scope, stock.SpeciesFilter{}, resource.Paging{Limit: 500, Archived: true})
	if err != nil || len(page.Items) != 1 || page.Items[0].ID() != (stock.SpeciesID{Own: own.ID}) {
		t.Errorf("archived: %v, %v", page.Items, err)
	}
	_, err = sv.ListSpecies(t.Context(), w.a.Scope, stock.SpeciesFilter{}, resource.Paging{Limit: 5, After: "?"})
	wantFault(t, err, fault.BadRequest)
}

// Whichever comes first, no animal is left with an archived species.
func TestSpeciesArchivedWhileAnimalsArrive(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.a.Scope
	tank := addTank(t, w, s).ID
	for range 20 {
		own := addSpecies(t, w, s)
		var wg sync.WaitGroup
		var archived, arrived error
		wg.Go(func() {
			_, archived = stockOn(w.db).Species.Archive(t.Context(), calling[stock.OwnSpecies](s), own.ID, 0)
		})
		wg.Go(func() {
			_, arrived = newLivestock(t, w, s, func(f *stock.LivestockFields) { f.TankID, f.Species = tank, stock.SpeciesID{Own: own.ID} })
		})
		wg.Wait()
		if (archived == nil) == (arrived == nil) {
			t.Fatalf("archive: %v, arrival: %v; want exactly one to be refused", archived, arrived)
		}
		for _, err := range []error{archived, arrived} {
			if err != nil {
				wantFault(t, err, fault.Conflict)
			}
		}
	}
}
