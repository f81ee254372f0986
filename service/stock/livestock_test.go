package stock_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"

	"tankward/service/fault"
	"tankward/service/stock"
)

// pointers gives the fields that a fault names.
func pointers(err error) []string {
	f := fault.As(err)
	if f == nil {
		return nil
	}
	var out []string
	for _, field := range f.Fields {
		out = append(out, field.Pointer)
	}
	return out
}

func TestSpeciesIDIsReadAsItIsShown(t *testing.T) {
	t.Parallel()
	own := uuid.MustParse("0195f1c0-0009-7000-8000-000000000009")
	for text, want := range map[string]stock.SpeciesID{
		"amphiprion-ocellaris":                   {Code: "amphiprion-ocellaris"},
		"0195f1c0-0009-7000-8000-000000000009":   {Own: own},
		"0195F1C0-0009-7000-8000-000000000009":   {Own: own},
		"0195f1c0000970008000000000000009":       {Code: "0195f1c0000970008000000000000009"},
		"{0195f1c0-0009-7000-8000-000000000009}": {Code: "{0195f1c0-0009-7000-8000-000000000009}"},
	} {
		got := stock.ParseSpeciesID(text)
		if got != want {
			t.Errorf("%q is read as %+v, want %+v", text, got, want)
		}
		if back := stock.ParseSpeciesID(got.String()); back != want {
			t.Errorf("%q is shown as %q and read as %+v", text, got, back)
		}
	}
	for _, sp := range stock.Catalogue() {
		if got := stock.ParseSpeciesID(sp.Code); got.Code != sp.Code {
			t.Errorf("the code %s is read as %+v", sp.Code, got)
		}
	}
}

func TestOnlyOwnSpeciesAreChangeable(t *testing.T) {
	t.Parallel()
	for id, class := range map[string]fault.Class{"amphiprion-ocellaris": fault.Conflict, "felis-catus": fault.NotFound} {
		if _, err := stock.ChangeableSpecies(id); !fault.Is(err, class) {
			t.Errorf("%s: got %v, want a fault of class %d", id, err, class)
		}
	}
	id := uuid.MustParse("0195f1c0-0009-7000-8000-000000000009")
	if got, err := stock.ChangeableSpecies(id.String()); got != id || err != nil {
		t.Errorf("got %s, %v", got, err)
	}
}

func TestLivestockFieldsNameWhatIsWrong(t *testing.T) {
	t.Parallel()
	long := strings.Repeat("ä", 201)
	for name, c := range map[string]struct {
		change func(*stock.LivestockFields)
		want   []string
	}{
		"all is well":       {func(*stock.LivestockFields) {}, nil},
		"a form":            {func(f *stock.LivestockFields) { f.Form = stock.Mat }, nil},
		"an unknown form":   {func(f *stock.LivestockFields) { f.Form = "shoal" }, []string{"/form"}},
		"an unknown state":  {func(f *stock.LivestockFields) { f.State = "" }, []string{"/state"}},
		"texts too long":    {func(f *stock.LivestockFields) { f.Label, f.PermitRef = long, long }, []string{"/label", "/permit_ref"}},
		"the longest texts": {func(f *stock.LivestockFields) { f.Source, f.Place = long[2:], long[2:] }, nil},
		"NUL":               {func(f *stock.LivestockFields) { f.Source, f.Place = "a\x00", "\x00" }, []string{"/source", "/place"}},
		"below none":        {func(f *stock.LivestockFields) { f.Count = -1 }, []string{"/count"}},
		"a flood":           {func(f *stock.LivestockFields) { f.Count = 1_000_001 }, []string{"/count"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f := stock.LivestockFields{State: stock.Settled, Count: 1}
			c.change(&f)
			if got := pointers(f.Validate()); !slices.Equal(got, c.want) {
				t.Errorf("got %v, want %v", got, c.want)
			}
		})
	}
}

func TestEventsMoveTheCountTheirWay(t *testing.T) {
	t.Parallel()
	for kind, right := range map[stock.EventKind][2]bool{ // above 0, below 0
		stock.Arrival: {true, false}, stock.Birth: {true, false}, stock.Split: {true, false},
		stock.Death: {false, true}, stock.Removal: {false, true}, stock.Correction: {true, true},
	} {
		for i, delta := range []int{1, -1} {
			err := stock.NewEvent{Kind: kind, Delta: delta}.Validate()
			if (err == nil) != right[i] {
				t.Errorf("%s of %+d: %v", kind, delta, err)
			}
		}
		if got := pointers(stock.NewEvent{Kind: kind}.Validate()); !slices.Equal(got, []string{"/delta"}) {
			t.Errorf("%s of nothing names %v", kind, got)
		}
	}
}

func TestEditionStays(t *testing.T) {
	t.Parallel()
	if a, b := stock.Edition(), stock.Edition(); a != b || len(a) != 16 {
		t.Errorf("editions %q and %q", a, b)
	}
}
