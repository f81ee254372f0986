package stock

import (
	"encoding/csv"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"tankward/service/care/caution"
	"tankward/service/fault"
	"tankward/service/mark"
)

// columns are those of the embedded table.
var columns = []string{"code", "scientific_name", "synonyms", "trade_names", "group", "counting", "light_ppfd", "flow",
	"feeding", "feeds_per_day", "min_volume_l", "sting_reach_cm", "facts", "cautions"}

// readSpecies reads the table of species, sorted by code.
func readSpecies(text string) ([]Species, error) {
	r := csv.NewReader(strings.NewReader(text))
	r.Comma, r.Comment, r.FieldsPerRecord = '\t', '#', len(columns)
	rows, err := r.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("reading the table: %w", err)
	}
	if len(rows) == 0 || !slices.Equal(rows[0], columns) {
		return nil, fmt.Errorf("the first row must name the columns %v", columns)
	}
	list := make([]Species, 0, len(rows)-1)
	for _, row := range rows[1:] {
		sp, err := readRow(row)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", row[0], err)
		}
		list = append(list, sp)
	}
	slices.SortFunc(list, func(a, b Species) int { return strings.Compare(a.Code, b.Code) })
	for i := 1; i < len(list); i++ {
		if list[i].Code == list[i-1].Code {
			return nil, fmt.Errorf("%s: two rows have this code", list[i].Code)
		}
	}
	return list, nil
}

// readRow reads one species.
func readRow(row []string) (Species, error) {
	names := split(row[3], ";")
	if len(names) == 0 {
		return Species{}, errors.New("no trade name")
	}
	sp := Species{
		Code: row[0], ScientificName: row[1], Synonyms: split(row[2], ";"), TradeName: names[0], OtherNames: names[1:],
		NameMark: mark.FromMemory, Group: Group(row[4]), Counting: Counting(row[5]),
	}
	facts, err := readFacts(row)
	if err != nil {
		return Species{}, err
	}
	sp.Facts = facts
	for _, code := range split(row[13], ";") {
		c, ok := caution.ByCode(code)
		if !ok {
			return Species{}, fmt.Errorf("no caution %q", code)
		}
		sp.Cautions = append(sp.Cautions, c)
	}
	if wrong := sp.fields().Validate(); len(wrong) > 0 {
		return Species{}, fault.Check(wrong)
	}
	return sp, nil
}

// fields gives what an own species would say.
func (s Species) fields() SpeciesFields {
	return SpeciesFields{ScientificName: s.ScientificName, Synonyms: s.Synonyms, TradeName: s.TradeName, Group: s.Group,
		Counting: s.Counting, Facts: s.Facts, Cautions: s.Cautions}
}

// readFacts reads the columns that hold facts.
func readFacts(row []string) ([]Fact, error) {
	var facts []Fact
	add := func(name FactName, value string) error {
		f, err := readFact(name, value)
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		facts = append(facts, f)
		return nil
	}
	feeding := FeedInterval
	if text, ok := feedingTexts[row[8]]; ok {
		feeding, row[8] = FeedingText, text
	}
	if row[7] != "" {
		flow, ok := flows[row[7]]
		if !ok {
			return nil, fmt.Errorf("no flow band %q", row[7])
		}
		row[7] = flow
	}
	plain := []struct {
		name FactName
		text string
	}{{LightPPFD, row[6]}, {FlowCmS, row[7]}, {feeding, row[8]}, {FeedsPerDay, row[9]}, {MinVolumeL, row[10]}, {StingReachCm, row[11]}}
	for _, p := range plain {
		if p.text == "" {
			continue
		}
		if err := add(p.name, p.text); err != nil {
			return nil, err
		}
	}
	for _, f := range split(row[12], "|") {
		name, value, ok := strings.Cut(f, ": ")
		if !ok {
			return nil, fmt.Errorf("%q is not of the form name: value", f)
		}
		if err := add(FactName(name), value); err != nil {
			return nil, err
		}
	}
	return facts, nil
}

// feedingTexts says what the words of the feeding column mean.
var feedingTexts = map[string]string{
	"light":     "lives on light and on what the fish leave; needs no feeding of its own",
	"grazes":    "grazes what grows in the tank",
	"leftovers": "eats leftovers",
	"detritus":  "eats detritus",
}

// flows says what the letters of the flow column mean: low under 5 cm/s, medium
// 5 to 15, high over 15.
var flows = map[string]string{
	"L":   "<=5 low",
	"M":   "5-15 medium",
	"H":   ">=15 high",
	"L-M": "<=15 low to medium",
	"M-H": ">=5 medium to high",
	"any": ">=0 any",
}

// readFact reads a value such as "80-200", "76 at 25 °C" or
// "II {published; CITES AC22 Inf. 8}".
func readFact(name FactName, value string) (Fact, error) {
	f := Fact{Fact: name, Mark: mark.CommonPractice, Unit: UnitOf(name)}
	if head, tail, ok := strings.Cut(value, " {"); ok {
		standing, source, _ := strings.Cut(strings.TrimSuffix(tail, "}"), "; ")
		value, f.Mark, f.Source = head, mark.Mark(standing), source
	}
	if f.Unit == "" {
		f.Text = value
		return f, nil
	}
	number, text, _ := strings.Cut(value, " ")
	f.Text = text
	return f, readNumber(&f, number)
}

// readNumber reads 7, 3-7, >=20 or <=24 into the fact.
func readNumber(f *Fact, s string) error {
	if rest, ok := strings.CutPrefix(s, ">="); ok {
		return readInto(&f.Low, rest)
	}
	if rest, ok := strings.CutPrefix(s, "<="); ok {
		return readInto(&f.High, rest)
	}
	low, high, ok := strings.Cut(s, "-")
	if !ok {
		return readInto(&f.Value, s)
	}
	return errors.Join(readInto(&f.Low, low), readInto(&f.High, high))
}

// readInto reads one number.
func readInto(to **float64, s string) error {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return fmt.Errorf("%q is not a number", s)
	}
	*to = &v
	return nil
}

// split cuts a list; an empty text is an empty list.
func split(s, by string) []string {
	if s == "" {
		return nil
	}
	parts := strings.Split(s, by)
	for i := range parts {
		parts[i] = strings.TrimSpace(parts[i])
	}
	return parts
}
