// Package caution holds the safety texts that are shown where the work is
// shown: for people first, then for the animals and for nature. The texts are
// short and our own; they defer to the local law, to licensed electricians,
// to doctors and to aquatic veterinarians.
package caution

import (
	"slices"
	"strings"

	"tankward/service/care"
	"tankward/service/mark"
)

// Caution is one safety text.
type Caution struct {
	Code   string
	Text   string
	Mark   mark.Mark
	Source string // where it can be looked up; empty for plain common practice
}

// All gives every built-in caution in the order in which they are shown.
func All() []Caution {
	all := make([]Caution, len(table))
	for i, e := range table {
		all[i] = e.Caution
	}
	return all
}

// ByCode gives the built-in caution of a code.
func ByCode(code string) (Caution, bool) {
	if i := rank(code); i < len(table) {
		return table[i].Caution, true
	}
	return Caution{}, false
}

// Context is what the cautions of a piece of work depend on besides its kind.
type Context struct {
	// Lives holds the cautions of the species that live in the tank, repeats
	// allowed.
	Lives []Caution
	// Materials holds the labels of what the work uses.
	Materials []string
	// Equipment holds the kinds of the equipment that the work is done on.
	Equipment []string
	// Treated is true while the tank's water holds, or once held, copper or
	// another medicine that invertebrates do not survive.
	Treated bool
}

// ForWork gives the cautions to show with a piece of work, each once, the
// gravest first; an organisation's own cautions come last.
func ForWork(kind care.WorkKind, ctx Context) []Caution {
	codes := slices.Clone(byKind[kind])
	if codes == nil {
		codes = slices.Clone(byKind[care.OtherWork])
	}
	if HandsGoIn(kind) {
		codes = append(codes, Electricity, Wounds)
	}
	if ctx.Treated {
		codes = append(codes, CopperWater)
	}
	codes = append(codes, ofWords(ctx.Materials)...)
	codes = append(codes, ofWords(ctx.Equipment)...)
	var own []Caution
	for _, c := range ctx.Lives {
		i := rank(c.Code)
		switch {
		case i == len(table):
			own = append(own, c)
		case shown(table[i].scope, kind):
			codes = append(codes, c.Code)
		}
	}
	return collect(codes, own)
}

// HandsGoIn says whether hands or arms go into the water, or may have to, in
// work of this kind. Work of an unknown kind is taken to be such.
func HandsGoIn(kind care.WorkKind) bool {
	switch kind {
	case care.Feeding, care.TopOff, care.Dosing, care.LightStep, care.Inspection:
		return false
	default:
		return true
	}
}

// byKind holds what belongs to a kind of work whatever lives in the tank.
var byKind = map[care.WorkKind][]string{
	care.Feeding:          {DevicesLeftOff, SickAnimal},
	care.TargetFeeding:    {DevicesLeftOff},
	care.WaterChange:      {DevicesLeftOff, RunningWater, Lifting, LoneWork, WasteWater},
	care.FilterSockChange: {DevicesLeftOff},
	care.WaterTest:        {Chemicals},
	care.TopOff:           {Electricity, RunningWater, Lifting},
	care.Dosing:           {Chemicals, Estimate},
	care.GlassCleaning:    {GlassFailure},
	care.LightStep:        {Electricity},
	care.EquipmentService: {DevicesLeftOff, GlassFailure, LoneWork},
	care.Arrival:          {Lifting, NeverRelease, WasteWater, SickAnimal},
	care.Inspection:       {SickAnimal},
	care.OtherWork:        {DevicesLeftOff, GlassFailure, LoneWork, NeverRelease, WasteWater},
}

// shown says whether work of a kind shows an animal's caution of a scope.
func shown(s scope, kind care.WorkKind) bool {
	switch s {
	case handsIn:
		return HandsGoIn(kind)
	case handled:
		return kind == care.Arrival || kind == care.OtherWork || byKind[kind] == nil
	case looked:
		return kind == care.Feeding || kind == care.Inspection || kind == care.Arrival || kind == care.OtherWork || byKind[kind] == nil
	default:
		return true
	}
}

// words holds words that a material or a piece of equipment is known by, in
// lower case. A word counts when it begins a word of the label.
var words = []struct {
	word  string
	codes []string
}{
	{"acid", []string{Chemicals}},
	{"vinegar", []string{Chemicals}},
	{"bleach", []string{Chemicals}},
	{"chlor", []string{Chemicals}},
	{"peroxide", []string{Chemicals}},
	{"lime", []string{Chemicals}},
	{"kalkwasser", []string{Chemicals}},
	{"hydroxide", []string{Chemicals}},
	{"calcium", []string{Chemicals}},
	{"carbonate", []string{Chemicals}},
	{"solvent", []string{Chemicals}},
	{"reagent", []string{Chemicals}},
	{"formalin", []string{Chemicals, Medicine}},
	{"copper", []string{CopperWater, Medicine}},
	{"medicine", []string{Medicine}},
	{"medicated", []string{Medicine}},
	{"praziquantel", []string{Medicine}},
	{"antibiotic", []string{Medicine}},
	{"co2", []string{CarbonDioxide}},
	{"uv", []string{UltravioletLamp}},
	{"ozone", []string{Ozone}},
	{"doser", []string{Chemicals}},
}

// ofWords gives the codes that labels call for.
func ofWords(labels []string) []string {
	var codes []string
	for _, label := range labels {
		for _, part := range strings.FieldsFunc(strings.ToLower(label), notWord) {
			for _, w := range words {
				if strings.HasPrefix(part, w.word) {
					codes = append(codes, w.codes...)
				}
			}
		}
	}
	return codes
}

// notWord separates the words of a label.
func notWord(r rune) bool { return (r < 'a' || r > 'z') && (r < '0' || r > '9') }

// rank gives the place of a code in the table, or the table's length.
func rank(code string) int {
	for i := range table {
		if table[i].Code == code {
			return i
		}
	}
	return len(table)
}

// collect gives the cautions of the codes in the table's order, each once, then
// an organisation's own, each once.
func collect(codes []string, own []Caution) []Caution {
	var out []Caution
	for _, e := range table {
		if slices.Contains(codes, e.Code) {
			out = append(out, e.Caution)
		}
	}
	for _, c := range own {
		if !slices.ContainsFunc(out, func(o Caution) bool { return o.Code == c.Code }) {
			out = append(out, c)
		}
	}
	return out
}
