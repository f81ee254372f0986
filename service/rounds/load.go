package rounds

import (
	"bytes"
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/google/uuid"
)

// Substance is what a piece of work uses up.
type Substance string

// The substances.
const (
	SaltWater  Substance = "salt_water"
	FreshWater Substance = "fresh_water" // purified, without salt
	FilterSock Substance = "filter_sock"
	Food       Substance = "food"
	OtherThing Substance = "other"
)

// The units that mean something here; others are carried as they are.
const (
	Litres       = "l"
	PercentOfNet = "percent_of_net" // of the tank's net litres
	Millilitres  = "ml"
)

// Material is an amount of a substance.
type Material struct {
	Substance Substance
	Label     string
	Quantity  float64
	Unit      string
}

// Work is a piece of work to load for.
type Work struct {
	TankID uuid.UUID
	Tank   string // the tank's name, for what has to be said of it
	NetL   float64
	// SalinityLow and SalinityHigh are the tank's target in PSU; nil where it has none.
	SalinityLow, SalinityHigh *float64
	Materials                 []Material
}

// LoadStop is a stop to load for.
type LoadStop struct {
	ID     uuid.UUID
	Hauled bool // the water comes with the van
	Work   []Work
}

// Line is one thing to carry.
type Line struct {
	Substance Substance
	Label     string
	// SalinityPSU, to one decimal, belongs to salt water; nil when the tank has no
	// target, then TankID and Tank name it: such water can't be pooled.
	SalinityPSU *float64
	TankID      uuid.UUID
	Tank        string
	Quantity    float64
	Unit        string
	// Containers holds the quantity and the margin; water only.
	Containers int
}

// StopLoad is what one stop needs.
type StopLoad struct {
	ID         uuid.UUID
	Lines      []Line
	Containers int // of water
	// Unclear says in words what could not be worked out.
	Unclear []string
}

// Load is what the van carries.
type Load struct {
	// Stops stand in the order of loading: what is unloaded last goes in first.
	Stops []StopLoad
	// Total adds the stops up. Containers are added, not filled up across stops:
	// one that was opened at a site does not go on to another site's tanks.
	Total      []Line
	Containers int
	Unclear    []string
}

// marginPercent is carried on top of the water needed: common practice.
const marginPercent = 10

// Containers gives the whole containers for so many litres and the margin.
func Containers(litres float64) int { return containersFor(thousandths(litres)) }

func containersFor(ml int64) int {
	const per = ContainerL * 1000 * 100
	return int((ml*(100+marginPercent) + per - 1) / per)
}

// thousandths makes sums exact, so that they do not depend on their order.
func thousandths(q float64) int64 { return int64(math.Round(q * 1000)) }

// lineKey says which amounts are added up.
type lineKey struct {
	substance   Substance
	unknown     bool
	psu         int // tenths
	label, tank string
	tankID      uuid.UUID
	unit        string
}

func (k lineKey) compare(l lineKey) int {
	rank := func(s Substance) int {
		return slices.Index([]Substance{SaltWater, FreshWater, FilterSock, Food, OtherThing}, s)
	}
	known := func(unknown bool) int {
		if unknown {
			return 1
		}
		return 0
	}
	return cmp.Or(cmp.Compare(rank(k.substance), rank(l.substance)), cmp.Compare(known(k.unknown), known(l.unknown)), cmp.Compare(k.psu, l.psu),
		cmp.Compare(k.label, l.label), cmp.Compare(k.tank, l.tank), bytes.Compare(k.tankID[:], l.tankID[:]), cmp.Compare(k.unit, l.unit))
}

func (k lineKey) water() bool { return k.substance == SaltWater || k.substance == FreshWater }

// LoadOf gives what one stop needs. Water is carried only where it is hauled.
func LoadOf(s LoadStop) StopLoad {
	out := StopLoad{ID: s.ID}
	sums := map[lineKey]int64{}
	for _, w := range s.Work {
		for _, m := range w.Materials {
			key, amount, unclear := w.need(m)
			if key.water() && !s.Hauled {
				continue
			}
			if unclear != "" && !slices.Contains(out.Unclear, unclear) {
				out.Unclear = append(out.Unclear, unclear)
			}
			if amount > 0 {
				sums[key] += amount
			}
		}
	}
	slices.Sort(out.Unclear)
	counts := map[lineKey]int{}
	for key, ml := range sums {
		if key.water() && key.unit == Litres {
			counts[key] = containersFor(ml)
			out.Containers += counts[key]
		}
	}
	out.Lines = lines(sums, counts)
	return out
}

// need gives one material as a line and its thousandths, and what is unclear of it.
func (w Work) need(m Material) (lineKey, int64, string) {
	key := lineKey{substance: m.Substance, label: m.Label, unit: m.Unit}
	quantity, unclear := m.Quantity, ""
	switch {
	case m.Unit == PercentOfNet && !(w.NetL > 0):
		return key, 0, fmt.Sprintf("%s: %g %% of its net litres, which are not known", w.Tank, m.Quantity)
	case m.Unit == PercentOfNet:
		key.unit, quantity = Litres, m.Quantity*w.NetL/100
	case m.Unit == Millilitres && key.water():
		key.unit, quantity = Litres, m.Quantity/1000
	}
	if key.water() {
		key.label = "" // one fluid, whatever it is called at the tank
	}
	if m.Substance == SaltWater {
		low, high := w.SalinityLow, w.SalinityHigh
		if low == nil || high == nil {
			key.unknown, key.tank, key.tankID = true, w.Tank, w.TankID
			unclear = fmt.Sprintf("%s: salt water of unknown salinity; set the tank's salinity target with low and high", w.Tank)
		} else {
			key.psu = int(math.Round((*low + *high) * 5))
		}
	}
	return key, thousandths(quantity), unclear
}

func lines(sums map[lineKey]int64, containers map[lineKey]int) []Line {
	keys := make([]lineKey, 0, len(sums))
	for k := range sums {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, lineKey.compare)
	out := make([]Line, 0, len(keys))
	for _, k := range keys {
		l := Line{Substance: k.substance, Label: k.label, TankID: k.tankID, Tank: k.tank, Quantity: float64(sums[k]) / 1000, Unit: k.unit, Containers: containers[k]}
		if k.substance == SaltWater && !k.unknown {
			psu := float64(k.psu) / 10
			l.SalinityPSU = &psu
		}
		out = append(out, l)
	}
	return out
}

func (l Line) key() lineKey {
	k := lineKey{substance: l.Substance, label: l.Label, tank: l.Tank, tankID: l.TankID, unit: l.Unit}
	if l.SalinityPSU != nil {
		k.psu = int(math.Round(*l.SalinityPSU * 10))
	}
	k.unknown = l.Substance == SaltWater && l.SalinityPSU == nil
	return k
}

// LoadList gives what the van carries for stops in driving order.
func LoadList(stops []StopLoad) Load {
	out := Load{Stops: slices.Clone(stops)}
	slices.Reverse(out.Stops)
	sums, containers := map[lineKey]int64{}, map[lineKey]int{}
	for _, s := range stops {
		for _, l := range s.Lines {
			sums[l.key()] += thousandths(l.Quantity)
			containers[l.key()] += l.Containers
		}
		out.Containers += s.Containers
		out.Unclear = append(out.Unclear, s.Unclear...)
	}
	slices.Sort(out.Unclear)
	out.Total = lines(sums, containers)
	return out
}
