package stock_test

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"tankward/service/care/caution"
	"tankward/service/mark"
	"tankward/service/stock"
)

var (
	binomial = regexp.MustCompile(`^[A-Z][a-z]+ ([a-z]+|sp\.)$`)
	taxon    = regexp.MustCompile(`^[A-Z][a-z]+$`)
	codeForm = regexp.MustCompile(`^[a-z]+(-[a-z]+)*$`)
)

func TestCatalogueIsComplete(t *testing.T) {
	t.Parallel()
	all := stock.Catalogue()
	if len(all) < 100 {
		t.Errorf("%d species, want at least 100", len(all))
	}
	codes, names, groups := map[string]bool{}, map[string]string{}, map[stock.Group]int{}
	for _, s := range all {
		if codes[s.Code] || !codeForm.MatchString(s.Code) {
			t.Errorf("code %q is malformed or used twice", s.Code)
		}
		codes[s.Code] = true
		groups[s.Group]++
		checkNames(t, s, names)
		checkFacts(t, s)
	}
	for _, g := range stock.Groups() {
		if g != stock.OtherGroup && groups[g] == 0 {
			t.Errorf("no species of group %s", g)
		}
	}
	if !slices.IsSortedFunc(all, func(a, b stock.Species) int { return strings.Compare(a.Code, b.Code) }) {
		t.Error("the catalogue is not sorted by code")
	}
}

func checkNames(t *testing.T, s stock.Species, names map[string]string) {
	t.Helper()
	// A pest may be known by the name of a family or a class.
	if !binomial.MatchString(s.ScientificName) && (s.Group != stock.Pest || !taxon.MatchString(s.ScientificName)) {
		t.Errorf("%s: %q is no scientific name", s.Code, s.ScientificName)
	}
	want := strings.ReplaceAll(strings.ToLower(strings.TrimSuffix(s.ScientificName, ".")), " ", "-")
	if s.Code != want {
		t.Errorf("%s: the code of %q should be %q", s.Code, s.ScientificName, want)
	}
	for _, syn := range s.Synonyms {
		if !binomial.MatchString(syn) {
			t.Errorf("%s: synonym %q is no scientific name", s.Code, syn)
		}
	}
	for _, n := range slices.Concat([]string{s.ScientificName, s.TradeName}, s.Synonyms) {
		if other, ok := names[strings.ToLower(n)]; ok {
			t.Errorf("%s and %s are both called %q", s.Code, other, n)
		}
		names[strings.ToLower(n)] = s.Code
	}
	if !s.NameMark.Known() {
		t.Errorf("%s: names without a mark", s.Code)
	}
}

func checkFacts(t *testing.T, s stock.Species) {
	t.Helper()
	has := map[stock.FactName]bool{}
	for _, f := range s.Facts {
		has[f.Fact] = true
		if !f.Mark.Known() {
			t.Errorf("%s: %s has no mark", s.Code, f.Fact)
		}
		if f.Mark == mark.Published && f.Source == "" {
			t.Errorf("%s: %s is published without a source", s.Code, f.Fact)
		}
		if f.Unit == "" && (f.Value != nil || f.Low != nil || f.High != nil) {
			t.Errorf("%s: %s has a number and no unit", s.Code, f.Fact)
		}
	}
	if s.Group == stock.Pest {
		if !has[stock.Sign] {
			t.Errorf("%s: how does one recognise it?", s.Code)
		}
		return
	}
	if !has[stock.FeedInterval] && !has[stock.FeedingText] {
		t.Errorf("%s: nothing about feeding", s.Code)
	}
	if !has[stock.FlowCmS] {
		t.Errorf("%s: nothing about flow", s.Code)
	}
	// The carnation coral is refused by default, so it has no smallest tank.
	if !has[stock.MinVolumeL] && s.Code != "dendronephthya-sp" {
		t.Errorf("%s: no smallest tank", s.Code)
	}
	switch s.Group {
	case stock.Soft, stock.LargePolypStony, stock.SmallPolypStony, stock.NonPhotosynthetic, stock.Gorgonian, stock.Anemone:
		if !has[stock.LightPPFD] {
			t.Errorf("%s: nothing about light", s.Code)
		}
	}
}

// The rows below were copied by hand from the trade's own sheet.
func TestCatalogueFigures(t *testing.T) {
	t.Parallel()
	type band struct{ Low, High, Value float64 }
	tests := []struct {
		code string
		fact stock.FactName
		want band
		text string
	}{
		{"fimbriaphyllia-divisa", stock.LightPPFD, band{Low: 80, High: 180}, ""},
		{"fimbriaphyllia-divisa", stock.StingReachCm, band{Low: 10, High: 15}, ""},
		{"fimbriaphyllia-divisa", stock.FlowCmS, band{Low: 5, High: 15}, "medium"},
		{"galaxea-fascicularis", stock.StingReachCm, band{Low: 20}, ""},
		{"goniopora-sp", stock.FeedInterval, band{Low: 3, High: 7}, ""},
		{"tubastraea-coccinea", stock.LightPPFD, band{High: 100}, ""},
		{"tubastraea-coccinea", stock.FlowCmS, band{Low: 5}, "medium to high"},
		{"acropora-tenuis", stock.MinVolumeL, band{Value: 300}, ""},
		{"acropora-tenuis", stock.FlowCmS, band{Low: 15}, "high"},
		{"discosoma-sp", stock.FlowCmS, band{High: 5}, "low"},
		{"amphiprion-clarkii", stock.MinVolumeL, band{Low: 200, High: 300}, ""},
		{"hippocampus-erectus", stock.FeedsPerDay, band{Low: 2, High: 3}, ""},
		{"hippocampus-erectus", stock.MaxTemperatureC, band{High: 24}, ""},
		{"paracanthurus-hepatus", stock.MinVolumeL, band{Value: 700}, ""},
		{"acanthurus-leucosternon", stock.MinVolumeL, band{Value: 800}, ""},
		{"pterois-volitans", stock.FeedInterval, band{Value: 3}, ""},
		{"tridacna-derasa", stock.LightPPFD, band{Low: 200, High: 450}, ""},
		{"cryptocaryon-irritans", stock.FallowDays, band{Value: 76}, "at 25 °C"},
	}
	for _, tc := range tests {
		t.Run(tc.code+" "+string(tc.fact), func(t *testing.T) {
			t.Parallel()
			s, ok := stock.ByCode(tc.code)
			if !ok {
				t.Fatal("no such species")
			}
			f, ok := s.Fact(tc.fact)
			if !ok {
				t.Fatal("no such fact")
			}
			var got band
			for _, p := range []struct{ from, to *float64 }{{f.Low, &got.Low}, {f.High, &got.High}, {f.Value, &got.Value}} {
				if p.from != nil {
					*p.to = *p.from
				}
			}
			if diff := cmp.Diff(tc.want, got); diff != "" || f.Text != tc.text {
				t.Errorf("text %q, want %q; figures (-want +got):\n%s", f.Text, tc.text, diff)
			}
		})
	}
}

func TestCatalogueCautions(t *testing.T) {
	t.Parallel()
	tests := map[string][]string{
		"zoanthus-sp":         {caution.Palytoxin},
		"palythoa-sp":         {caution.Palytoxin},
		"pterois-volitans":    {caution.VenomousSpines, caution.Invasive},
		"siganus-vulpinus":    {caution.VenomousSpines},
		"diadema-setosum":     {caution.VenomousSpines, caution.FoulsWhenDead},
		"holothuria-sp":       {caution.ToxinWhenDead, caution.FoulsWhenDead},
		"tubastraea-coccinea": {caution.Permit, caution.Invasive},
		"hippocampus-erectus": {caution.Permit},
		"tridacna-crocea":     {caution.Permit},
		"chromis-viridis":     nil,
	}
	for code, want := range tests {
		s, _ := stock.ByCode(code)
		var got []string
		for _, c := range s.Cautions {
			got = append(got, c.Code)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", code, diff)
		}
	}
	for _, s := range stock.Catalogue() {
		f, listed := s.Fact(stock.CITESAppendix)
		permit := slices.ContainsFunc(s.Cautions, func(c caution.Caution) bool { return c.Code == caution.Permit })
		if listed != permit {
			t.Errorf("%s: appendix %q, permit caution %t", s.Code, f.Text, permit)
		}
		if (s.Group == stock.LargePolypStony || s.Group == stock.SmallPolypStony) && !listed {
			t.Errorf("%s: stony corals are listed", s.Code)
		}
	}
}

func TestByCode(t *testing.T) {
	t.Parallel()
	s, ok := stock.ByCode("amphiprion-ocellaris")
	if !ok || s.ScientificName != "Amphiprion ocellaris" || s.Group != stock.Fish || s.Counting != stock.Individual {
		t.Errorf("got %+v, %t", s, ok)
	}
	for _, code := range []string{"", "Amphiprion-ocellaris", "amphiprion"} {
		if s, ok := stock.ByCode(code); ok {
			t.Errorf("%q gives %s", code, s.Code)
		}
	}
}

func TestSearch(t *testing.T) {
	t.Parallel()
	tests := map[string][]string{
		"clown OCELL":           {"amphiprion-ocellaris"},
		"heteractis":            {"radianthus-crispa", "radianthus-magnifica"},
		"False percula":         {"amphiprion-ocellaris"},
		"trumpet":               {"caulastraea-furcata"},
		"  torch\tcoral ":       {"euphyllia-glabrescens"},
		"anemone torch":         nil,
		"unheard":               nil,
		"coral\x00":             nil,
		"jewelled":              {"salarias-fasciatus"},
		"aiptasia pallida glas": {"exaiptasia-diaphana"},
	}
	for text, want := range tests {
		var got []string
		for _, s := range stock.Search(text) {
			got = append(got, s.Code)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("Search(%q) (-want +got):\n%s", text, diff)
		}
	}
	if got := len(stock.Search(" ")); got != len(stock.Catalogue()) {
		t.Errorf("an empty search finds %d", got)
	}
}

func TestCatalogueIsACopy(t *testing.T) {
	t.Parallel()
	stock.Catalogue()[0].Code = "changed"
	if _, ok := stock.ByCode("changed"); ok || stock.Catalogue()[0].Code == "changed" {
		t.Error("a caller changed the catalogue")
	}
}
