package stock

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"tankward/service/care/caution"
	"tankward/service/fault"
	"tankward/service/mark"
)

// SpeciesFields is what an organisation says of a species of its own.
type SpeciesFields struct {
	ScientificName string
	Synonyms       []string
	TradeName      string
	Group          Group
	Counting       Counting
	Facts          []Fact
	Cautions       []caution.Caution
}

// The bounds of what an organisation may say.
const (
	greatestName     = 120
	greatestText     = 500
	greatestSource   = 300
	greatestFacts    = 60
	greatestCautions = 20
	greatestSynonyms = 20
)

var cautionCode = regexp.MustCompile(`^[a-z][a-z0-9]*(_[a-z0-9]+)*$`)

// Validate gives what is wrong with the fields and what would be right.
func (f SpeciesFields) Validate() []fault.Field {
	var w wrong
	w.name("/scientific_name", f.ScientificName)
	w.name("/trade_name", f.TradeName)
	if len(f.Synonyms) > greatestSynonyms {
		w.add("/synonyms", "give at most %d synonyms, not %d", greatestSynonyms, len(f.Synonyms))
	}
	for i, s := range f.Synonyms {
		w.name(fmt.Sprintf("/synonyms/%d", i), s)
	}
	if !slices.Contains(Groups(), f.Group) {
		w.add("/group", "%q is no group; use one of %s", f.Group, list(Groups()))
	}
	if !slices.Contains(Countings(), f.Counting) {
		w.add("/counting", "%q is no way of counting; use one of %s", f.Counting, list(Countings()))
	}
	if len(f.Facts) > greatestFacts {
		w.add("/facts", "give at most %d facts, not %d", greatestFacts, len(f.Facts))
	}
	seen := map[FactName]bool{}
	for i, fact := range f.Facts {
		at := fmt.Sprintf("/facts/%d", i)
		if seen[fact.Fact] {
			w.add(at+"/fact", "%q is given twice; give each fact once", fact.Fact)
		}
		seen[fact.Fact] = true
		w.fact(at, fact)
	}
	w.cautions(f.Cautions)
	return w
}

// wrong collects what is wrong.
type wrong []fault.Field

func (w *wrong) add(pointer, format string, args ...any) {
	*w = append(*w, fault.Field{Pointer: pointer, Message: fmt.Sprintf(format, args...)})
}

// name checks a name.
func (w *wrong) name(at, s string) {
	if strings.TrimSpace(s) == "" {
		w.add(at, "give a name; it must not be empty")
		return
	}
	w.text(at, s, greatestName)
}

// text checks a text that may be empty.
func (w *wrong) text(at, s string, greatest int) {
	switch {
	case !utf8.ValidString(s):
		w.add(at, "use UTF-8")
	case strings.ContainsFunc(s, unicode.IsControl):
		w.add(at, "use one line without control characters")
	case utf8.RuneCountInString(s) > greatest:
		w.add(at, "use at most %d characters, not %d", greatest, utf8.RuneCountInString(s))
	}
}

// fact checks one fact.
func (w *wrong) fact(at string, f Fact) {
	w.text(at+"/text", f.Text, greatestText)
	w.text(at+"/source", f.Source, greatestSource)
	if !f.Mark.Known() {
		w.add(at+"/mark", "%q is no mark; use published, common_practice or from_memory", f.Mark)
	}
	if f.Mark == mark.Published && strings.TrimSpace(f.Source) == "" {
		w.add(at+"/source", "name the source of a published value, or mark it common_practice or from_memory")
	}
	form, isFigure := figure(f.Fact)
	switch {
	case isFigure:
		w.figure(at, f, form)
	case slices.Contains(texts, f.Fact):
		w.textFact(at, f)
	default:
		w.add(at+"/fact", "%q is no fact; use one of %s", f.Fact, list(FactNames()))
	}
}

// textFact checks a fact that is a text.
func (w *wrong) textFact(at string, f Fact) {
	if strings.TrimSpace(f.Text) == "" {
		w.add(at+"/text", "say %s in words", f.Fact)
	}
	if f.Value != nil || f.Low != nil || f.High != nil {
		w.add(at, "%s is said in words: leave value, low and high out", f.Fact)
	}
	if f.Unit != "" {
		w.add(at+"/unit", "%s has no unit: leave it out", f.Fact)
	}
	if f.Fact == CITESAppendix && !slices.Contains([]string{"I", "II", "III"}, f.Text) {
		w.add(at+"/text", "%q is no appendix; use I, II or III", f.Text)
	}
}

// figure checks a fact that is a figure.
func (w *wrong) figure(at string, f Fact, form form) {
	if f.Unit != form.unit {
		w.add(at+"/unit", "%s is given in %q, not in %q", f.Fact, form.unit, f.Unit)
	}
	band := f.Low != nil || f.High != nil
	if band == (f.Value != nil) {
		w.add(at, "give either value, or low, high or both")
	}
	for _, part := range []struct {
		name  string
		value *float64
	}{{"low", f.Low}, {"high", f.High}, {"value", f.Value}} {
		if v := part.value; v != nil && (math.IsNaN(*v) || *v < form.least || *v > form.great) {
			w.add(at+"/"+part.name, "%g is impossible; %s lies between %g and %g %s", *v, f.Fact, form.least, form.great, form.unit)
		}
	}
	if f.Low != nil && f.High != nil && *f.Low > *f.High {
		w.add(at+"/low", "%g is more than high, %g; give the lower end first", *f.Low, *f.High)
	}
}

// cautions checks the cautions.
func (w *wrong) cautions(cautions []caution.Caution) {
	if len(cautions) > greatestCautions {
		w.add("/cautions", "give at most %d cautions, not %d", greatestCautions, len(cautions))
	}
	seen := map[string]bool{}
	for i, c := range cautions {
		at := fmt.Sprintf("/cautions/%d", i)
		switch {
		case !cautionCode.MatchString(c.Code) || len(c.Code) > 60:
			w.add(at+"/code", "%q is no code; use lower-case words joined by underscores, such as venomous_spines", c.Code)
		case seen[c.Code]:
			w.add(at+"/code", "%q is given twice; give each caution once", c.Code)
		}
		seen[c.Code] = true
		if strings.TrimSpace(c.Text) == "" {
			w.add(at+"/text", "say what to look out for")
		}
		w.text(at+"/text", c.Text, greatestText)
	}
}

// list joins words for a message.
func list[T ~string](words []T) string {
	parts := make([]string, len(words))
	for i, p := range words {
		parts[i] = string(p)
	}
	return strings.Join(parts, ", ")
}
