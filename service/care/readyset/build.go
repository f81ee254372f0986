package readyset

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"tankward/service/care"
	"tankward/service/fleet"
	"tankward/service/mark"
)

// set is one table of the sheet.
type set struct {
	rows   []row
	left   []LeftOut
	covers string // key of an every-tank row that a row of this set includes
}

// row is one row of the sheet.
type row struct {
	key, name   string
	kind        care.WorkKind
	by          string // as in the sheet: T technician, K keeper, S shop; the first does it
	cadence     Cadence
	early, late int
	minutes     float64 // hands-on, at sheetL litres
	class       care.Class
	part        string
	waits       []Wait
	materials   []Material
	skill, note string
	from, until int
	sheetL      float64 // 0 stands for 300
	onlyIf      Part    // left out unless the tank is known to use it
	unless      []Part  // left out when the tank is known to lack all of them
}

// The litres for which the sheet gives its minutes.
const (
	sheetTankL = 300
	sheetClubL = 800
)

// The greatest length of a wait of which only the least is known, and of a gap
// within one visit: the longest gap of the trade's chains.
const visitMinutes = 120

// greatestInterval bounds a computed interval, in days.
const greatestInterval = 366

// waterChange is the key of the routine that "each visit" is joined to.
const waterChange = "water_change"

// days makes an interval of days.
func days(n int) Cadence { return Cadence{Kind: care.Interval, Every: n, Unit: care.Days} }

// months makes an interval of months.
func months(n int) Cadence { return Cadence{Kind: care.Interval, Every: n, Unit: care.Months} }

// eachVisit makes what is done at each visit: joined to the water change.
func eachVisit() Cadence { return afterChange(0, visitMinutes) }

// afterChange makes what is done so many minutes after the water change.
func afterChange(least, greatest int) Cadence {
	return Cadence{Kind: care.Joined, Parent: waterChange, Gap: care.Gap{Unit: care.Minutes, Least: least, Greatest: greatest}}
}

// atLeast makes a wait of which only the least is known.
func atLeast(minutes int, p Presence) []Wait { return []Wait{{minutes, visitMinutes, p}} }

// exactly makes a wait of a fixed length.
func exactly(minutes int, p Presence) []Wait { return []Wait{{minutes, minutes, p}} }

// between makes a wait with both ends.
func between(least, greatest int, p Presence) []Wait { return []Wait{{least, greatest, p}} }

// salt makes a share of the tank's water.
func salt(percent float64) Material {
	return Material{Material: "salt_water", Quantity: percent, Unit: "percent_of_net"}
}

// sock makes one clean filter sock.
func sock(label string) Material {
	return Material{Material: "filter_sock", Label: label, Quantity: 1, Unit: "piece"}
}

// food makes one portion.
func food(label string) Material {
	return Material{Material: "food", Label: label, Quantity: 1, Unit: "piece"}
}

// piece makes one piece of something else.
func piece(label string) Material {
	return Material{Material: "other", Label: label, Quantity: 1, Unit: "piece"}
}

// builder makes drafts of rows.
type builder struct {
	facts  TankFacts
	change *row // the set's water change, or nil
	drafts []Draft
	left   []LeftOut
}

// changeOf finds the water change.
func changeOf(rows []row) *row {
	if i := slices.IndexFunc(rows, func(r row) bool { return r.key == waterChange }); i >= 0 {
		return &rows[i]
	}
	return nil
}

// leave notes what is left out.
func (b *builder) leave(name, reason string) { b.left = append(b.left, LeftOut{name, reason}) }

// add makes a row's draft, or says why it is left out.
func (b *builder) add(r row) {
	if r.onlyIf != "" && !slices.Contains(b.facts.Uses, r.onlyIf) {
		b.leave(r.name, ifUsed[r.onlyIf])
		return
	}
	if r.key == topUp {
		b.refill(&r)
	} else if b.lacksAll(r.unless) {
		b.leave(r.name, "The tank has none of: "+words(r.unless)+".")
		return
	}
	part := r.part
	if part == "" {
		part = "any"
	}
	b.drafts = append(b.drafts, Draft{
		Key: r.key, Name: r.name, Kind: r.kind, Performer: b.performer(r), Cadence: r.cadence,
		DaysEarly: early(r), DaysLate: r.late, Class: r.class, PartOfDay: part,
		ActiveMinutes: minutes(r, b.facts.NetL), Waits: slices.Clone(r.waits), Materials: slices.Clone(r.materials),
		Skill: r.skill, StartsAfterDays: r.from, EndsAfterDays: r.until, Note: r.note, Mark: mark.CommonPractice,
	})
}

// ifUsed says why a row is left out unless its part is known to be used.
var ifUsed = map[Part]string{
	Carbon:      "Only where carbon is used.",
	AgeingLamps: "Only where the lamps age: fluorescent or halide.",
	WaterMaker:  "It belongs to the shop's or the site's water maker; only where that serves this tank alone.",
	Medicine:    "Only during a course of medicine, before and after each dose and then daily.",
}

// lacksAll says whether all parts are known to be lacking.
func (b *builder) lacksAll(parts []Part) bool {
	for _, p := range parts {
		if !slices.Contains(b.facts.Lacks, p) || slices.Contains(b.facts.Uses, p) {
			return false
		}
	}
	return len(parts) > 0
}

// words lists parts for a sentence.
func words(parts []Part) string {
	list := make([]string, len(parts))
	for i, p := range parts {
		list[i] = strings.ReplaceAll(string(p), "_", " ")
	}
	return strings.Join(list, ", ")
}

// performers says who the letters of the sheet are.
var performers = map[byte]care.Performer{'T': care.Technician, 'K': care.Keeper, 'S': care.Shop}

// performer gives who does a row.
func (b *builder) performer(r row) care.Performer {
	first := performers[r.by[0]]
	if b.change == nil {
		return first
	}
	switch {
	case r.cadence.Kind == care.Joined:
		if strings.Contains(r.by, b.change.by[:1]) {
			return performers[b.change.by[0]]
		}
	case first == care.Technician && strings.Contains(r.by, "K") && stepDays(r.cadence) < stepDays(b.change.cadence):
		return care.Keeper
	}
	return first
}

// stepDays gives the shortest length of an interval in days.
func stepDays(c Cadence) int {
	if c.Unit == care.Months {
		return 28 * c.Every
	}
	return c.Every
}

// early keeps the days early below the step.
func early(r row) int {
	if r.cadence.Kind != care.Interval {
		return 0
	}
	return min(r.early, stepDays(r.cadence)-1)
}

// minutes gives a row's minutes in a tank of so many litres.
func minutes(r row, netL float64) int {
	if r.minutes == 0 || !(netL > 0) {
		return int(r.minutes)
	}
	sheetL := r.sheetL
	if sheetL == 0 {
		sheetL = sheetTankL
	}
	return max(1, int(math.Round(r.minutes*Scale(netL)/Scale(sheetL))))
}

// scale holds the factors of the sheet: work in a larger tank takes longer.
var scale = []struct{ litres, factor float64 }{{100, 0.6}, {300, 1}, {800, 1.6}, {1500, 2.2}}

// Scale gives the factor by which the minutes of a 300 L tank are multiplied in
// a tank of so many litres: linear between the sheet's figures, level beyond
// them.
func Scale(netL float64) float64 {
	if !(netL > scale[0].litres) {
		return scale[0].factor
	}
	for i := 1; i < len(scale); i++ {
		a, b := scale[i-1], scale[i]
		if netL <= b.litres {
			return a.factor + (b.factor-a.factor)*(netL-a.litres)/(b.litres-a.litres)
		}
	}
	return scale[len(scale)-1].factor
}

// refill fits the top-up to the tank's reservoir: refilled two days before it
// runs dry; without a reservoir fresh water is given by hand every day.
func (b *builder) refill(r *row) {
	lost := 0.0
	res := b.facts.Reservoir
	if res != nil {
		lost = res.EvaporationLPerDay
	}
	switch {
	case b.lacksAll([]Part{TopOff}), res != nil && !(res.UsableL > 0):
		r.name, r.cadence = "Fresh water topped up by hand", days(1)
	case res != nil && lost > 0:
		last := min(math.Floor(res.UsableL/lost), greatestInterval)
		r.cadence = days(max(1, int(last)-2))
		r.note = fmt.Sprintf("%g L last %g days. %s", res.UsableL, last, r.note)
	default:
		lost = 0 // litres or evaporation alone say nothing of when it is empty
	}
	if lost > 0 {
		litres := math.Ceil(lost*float64(r.cadence.Every)*10) / 10
		r.materials = []Material{{Material: "fresh_water", Label: "RO/DI water", Quantity: litres, Unit: "l"}}
	}
}

// byKind holds the sets of the sheet.
var byKind = map[fleet.TankKind]set{
	fleet.SoftMixed:   softMixed,
	fleet.SmallPolyp:  smallPolyp,
	fleet.AnemoneTank: anemoneTank,
	fleet.FishOnly:    fishOnly,
	fleet.Quarantine:  quarantine,
	fleet.ClubDisplay: clubDisplay,
}
