// Package stock holds what is known of the animals that live in the tanks: the
// built-in catalogue of species and an organisation's own species.
package stock

import (
	"tankward/service/care/caution"
	"tankward/service/mark"
)

// Group is the sort of animal, as the trade sorts them.
type Group string

// The groups.
const (
	Soft              Group = "soft" // leathers, zoanthids, mushrooms and the like
	LargePolypStony   Group = "large_polyp_stony"
	SmallPolypStony   Group = "small_polyp_stony"
	NonPhotosynthetic Group = "non_photosynthetic"
	Gorgonian         Group = "gorgonian"
	Anemone           Group = "anemone"
	Fish              Group = "fish"
	Crustacean        Group = "crustacean"
	Mollusc           Group = "mollusc"
	Echinoderm        Group = "echinoderm"
	Pest              Group = "pest"
	OtherGroup        Group = "other"
)

// Groups gives every group.
func Groups() []Group {
	return []Group{Soft, LargePolypStony, SmallPolypStony, NonPhotosynthetic, Gorgonian, Anemone,
		Fish, Crustacean, Mollusc, Echinoderm, Pest, OtherGroup}
}

// Counting says what one of a species is.
type Counting string

// The ways of counting.
const (
	Individual Counting = "individual"
	Colony     Counting = "colony"
	Fragment   Counting = "fragment"
	Mat        Counting = "mat"
)

// Countings gives every way of counting.
func Countings() []Counting { return []Counting{Individual, Colony, Fragment, Mat} }

// Species is what is known of a species of the built-in catalogue. The slices
// are shared: they are read, never written.
type Species struct {
	Code           string // such as amphiprion-ocellaris; never changes
	ScientificName string
	Synonyms       []string // former and misspelt scientific names
	TradeName      string
	OtherNames     []string  // further trade names
	NameMark       mark.Mark // the standing of the names
	Group          Group
	Counting       Counting
	Facts          []Fact
	Cautions       []caution.Caution
}

// Fact gives the fact of a name.
func (s Species) Fact(name FactName) (Fact, bool) {
	for _, f := range s.Facts {
		if f.Fact == name {
			return f, true
		}
	}
	return Fact{}, false
}

// Fact is one thing known of a species. It holds a Value, or a Low, a High or
// both; or only a Text. A Text beside a number limits it, as in "at 25 °C".
type Fact struct {
	Fact             FactName
	Low, High, Value *float64
	Text             string
	Unit             string // the unit of the fact's name; empty for texts
	Mark             mark.Mark
	Source           string
}

// FactName names a fact. The list is closed, so that rules can rely on it.
type FactName string

// The facts that are figures.
const (
	LightPPFD       FactName = "light_ppfd" // where the animal sits
	FlowCmS         FactName = "flow_cm_s"
	FeedInterval    FactName = "feed_interval_days"
	FeedsPerDay     FactName = "feeds_per_day"
	MinVolumeL      FactName = "min_volume_l" // net litres of the smallest tank
	MinTankLengthCm FactName = "min_tank_length_cm"
	StingReachCm    FactName = "sting_reach_cm"
	SandDepthCm     FactName = "sand_depth_cm"
	MaxTemperatureC FactName = "max_temperature_c"
	AdultCm         FactName = "adult_cm"
	FallowDays      FactName = "fallow_days" // without fish, until a parasite has died out
	CystDays        FactName = "cyst_days"
	InfectiveHours  FactName = "infective_hours"
	SecondLookDays  FactName = "second_look_days" // after a dip, as eggs survive it
)

// The facts that are texts.
const (
	FeedingText     FactName = "feeding"
	MobilityText    FactName = "mobility"
	Placement       FactName = "placement"
	Behaviour       FactName = "behaviour"
	Temperament     FactName = "temperament"
	GroupSize       FactName = "group_size"
	ReefRisk        FactName = "reef_risk"
	ChemicalOffence FactName = "chemical_offence"
	Hosts           FactName = "hosts"
	Keeping         FactName = "keeping"
	Sign            FactName = "sign"           // how a pest shows itself
	CITESAppendix   FactName = "cites_appendix" // I, II or III
)

// form is what a figure's value may be.
type form struct {
	name         FactName
	unit         string
	least, great float64
}

// figures bounds the figures by what is possible at all, far outside what is
// usual (from memory: full sun is about 2,000 µmol m⁻² s⁻¹, no fish reaches 20 m).
var figures = []form{
	{LightPPFD, "umol/m2/s", 0, 3000},
	{FlowCmS, "cm/s", 0, 300},
	{FeedInterval, "d", 0.01, 366},
	{FeedsPerDay, "1/d", 1, 48},
	{MinVolumeL, "l", 1, 10_000_000},
	{MinTankLengthCm, "cm", 1, 10_000},
	{StingReachCm, "cm", 0, 1000},
	{SandDepthCm, "cm", 0, 200},
	{MaxTemperatureC, "degC", -2, 45},
	{AdultCm, "cm", 0.01, 2000},
	{FallowDays, "d", 1, 1000},
	{CystDays, "d", 0, 1000},
	{InfectiveHours, "h", 0, 10_000},
	{SecondLookDays, "d", 1, 366},
}

// texts holds the names of the facts that are texts.
var texts = []FactName{FeedingText, MobilityText, Placement, Behaviour, Temperament, GroupSize, ReefRisk,
	ChemicalOffence, Hosts, Keeping, Sign, CITESAppendix}

// FactNames gives every name a fact may have, figures first.
func FactNames() []FactName {
	names := make([]FactName, 0, len(figures)+len(texts))
	for _, f := range figures {
		names = append(names, f.name)
	}
	return append(names, texts...)
}

// UnitOf gives the unit of a figure; empty for a text and for an unknown name.
func UnitOf(name FactName) string {
	f, _ := figure(name)
	return f.unit
}

// figure gives the form of a figure.
func figure(name FactName) (form, bool) {
	for _, f := range figures {
		if f.name == name {
			return f, true
		}
	}
	return form{}, false
}
