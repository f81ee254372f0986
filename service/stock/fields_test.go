package stock_test

import (
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"tankward/service/care/caution"
	"tankward/service/mark"
	"tankward/service/stock"
)

// ownSpecies is right in every field.
func ownSpecies() stock.SpeciesFields {
	return stock.SpeciesFields{
		ScientificName: "Acanthemblemaria macrospilus",
		TradeName:      "barnacle blenny",
		Group:          stock.Fish,
		Counting:       stock.Individual,
		Facts: []stock.Fact{
			{Fact: stock.MinVolumeL, Value: new(40.0), Unit: "l", Mark: mark.FromMemory},
			{Fact: stock.FlowCmS, Low: new(5.0), High: new(15.0), Unit: "cm/s", Mark: mark.Published, Source: "our own flow log"},
			{Fact: stock.Placement, Text: "a hole in the rock", Mark: mark.CommonPractice},
			{Fact: stock.CITESAppendix, Text: "II", Mark: mark.FromMemory},
		},
		Cautions: []caution.Caution{{Code: "bites", Text: "It bites."}},
	}
}

func TestValidateAcceptsGoodSpecies(t *testing.T) {
	t.Parallel()
	if got := ownSpecies().Validate(); len(got) != 0 {
		t.Errorf("refused: %v", got)
	}
}

func TestValidateNamesTheField(t *testing.T) {
	t.Parallel()
	tests := map[string]struct {
		change func(*stock.SpeciesFields)
		want   []string
	}{
		"no names":             {func(f *stock.SpeciesFields) { f.ScientificName, f.TradeName = "", " \t" }, []string{"/scientific_name", "/trade_name"}},
		"NUL":                  {func(f *stock.SpeciesFields) { f.TradeName = "a\x00b" }, []string{"/trade_name"}},
		"not UTF-8":            {func(f *stock.SpeciesFields) { f.TradeName = "a\xffb" }, []string{"/trade_name"}},
		"a long name":          {func(f *stock.SpeciesFields) { f.TradeName = strings.Repeat("ä", 121) }, []string{"/trade_name"}},
		"the longest name":     {func(f *stock.SpeciesFields) { f.TradeName = strings.Repeat("ä", 120) }, nil},
		"an empty synonym":     {func(f *stock.SpeciesFields) { f.Synonyms = []string{"A b", ""} }, []string{"/synonyms/1"}},
		"an unknown group":     {func(f *stock.SpeciesFields) { f.Group = "bird" }, []string{"/group"}},
		"an unknown counting":  {func(f *stock.SpeciesFields) { f.Counting = "" }, []string{"/counting"}},
		"a fact twice":         {func(f *stock.SpeciesFields) { f.Facts = append(f.Facts, f.Facts[0]) }, []string{"/facts/4/fact"}},
		"an unknown fact":      {func(f *stock.SpeciesFields) { f.Facts[0].Fact = "colour" }, []string{"/facts/0/fact"}},
		"another unit":         {func(f *stock.SpeciesFields) { f.Facts[0].Unit = "gal" }, []string{"/facts/0/unit"}},
		"an unknown mark":      {func(f *stock.SpeciesFields) { f.Facts[0].Mark = "sure" }, []string{"/facts/0/mark"}},
		"published, no source": {func(f *stock.SpeciesFields) { f.Facts[1].Source = "" }, []string{"/facts/1/source"}},
		"no number":            {func(f *stock.SpeciesFields) { f.Facts[0].Value = nil }, []string{"/facts/0"}},
		"value and band":       {func(f *stock.SpeciesFields) { f.Facts[1].Value = new(9.0) }, []string{"/facts/1"}},
		"a band upside down":   {func(f *stock.SpeciesFields) { f.Facts[1].Low = new(16.0) }, []string{"/facts/1/low"}},
		"one end only":         {func(f *stock.SpeciesFields) { f.Facts[1].Low = nil }, nil},
		"negative":             {func(f *stock.SpeciesFields) { f.Facts[0].Value = new(-1.0) }, []string{"/facts/0/value"}},
		"infinite":             {func(f *stock.SpeciesFields) { f.Facts[1].High = new(math.Inf(1)) }, []string{"/facts/1/high"}},
		"not a number":         {func(f *stock.SpeciesFields) { f.Facts[1].High = new(math.NaN()) }, []string{"/facts/1/high"}},
		"a text fact, empty":   {func(f *stock.SpeciesFields) { f.Facts[2].Text = "" }, []string{"/facts/2/text"}},
		"a text with numbers":  {func(f *stock.SpeciesFields) { f.Facts[2].Value, f.Facts[2].Unit = new(1.0), "cm" }, []string{"/facts/2", "/facts/2/unit"}},
		"no such appendix":     {func(f *stock.SpeciesFields) { f.Facts[3].Text = "IV" }, []string{"/facts/3/text"}},
		"a caution's code":     {func(f *stock.SpeciesFields) { f.Cautions[0].Code = "It bites" }, []string{"/cautions/0/code"}},
		"a caution twice":      {func(f *stock.SpeciesFields) { f.Cautions = append(f.Cautions, f.Cautions[0]) }, []string{"/cautions/1/code"}},
		"a caution, no text":   {func(f *stock.SpeciesFields) { f.Cautions[0].Text = "" }, []string{"/cautions/0/text"}},
	}
	for name, tc := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f := ownSpecies()
			tc.change(&f)
			var got []string
			for _, field := range f.Validate() {
				got = append(got, field.Pointer)
				if field.Message == "" {
					t.Errorf("%s: no message", field.Pointer)
				}
			}
			if diff := cmp.Diff(tc.want, got); diff != "" {
				t.Errorf("fields (-want +got):\n%s", diff)
			}
		})
	}
}

func TestValidateBoundsTheLists(t *testing.T) {
	t.Parallel()
	f := ownSpecies()
	f.Synonyms = make([]string, 21)
	f.Facts = make([]stock.Fact, 61)
	f.Cautions = make([]caution.Caution, 21)
	found := map[string]bool{}
	for _, field := range f.Validate() {
		found[field.Pointer] = true
	}
	for _, at := range []string{"/synonyms", "/facts", "/cautions"} {
		if !found[at] {
			t.Errorf("%s may be as long as it likes", at)
		}
	}
}

func TestUnits(t *testing.T) {
	t.Parallel()
	if got := stock.UnitOf(stock.LightPPFD); got != "umol/m2/s" {
		t.Errorf("light in %q", got)
	}
	if got := stock.UnitOf(stock.Placement) + stock.UnitOf("colour"); got != "" {
		t.Errorf("a text in %q", got)
	}
	if len(stock.FactNames()) < 20 {
		t.Errorf("only %d facts", len(stock.FactNames()))
	}
}
