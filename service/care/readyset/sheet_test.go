package readyset_test

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"tankward/service/care"
	"tankward/service/care/readyset"
	"tankward/service/fleet"
)

// line is what the trade's sheet says of a routine, copied by hand.
type line struct {
	Key         string
	By          care.Performer
	Cadence     string
	Early, Late int
	Minutes     int
	Class       care.Class
}

func lineOf(d readyset.Draft) line {
	return line{d.Key, d.Performer, cadence(d.Cadence), d.DaysEarly, d.DaysLate, d.ActiveMinutes, d.Class}
}

func TestSheet(t *testing.T) {
	t.Parallel()
	const (
		atVisit = "joined to water_change 0 to 120 minute"
		sock    = "joined to water_change 5 to 15 minute"
		last    = "joined to water_change 20 to 120 minute"
		ls, aw  = care.LifeSupport, care.AnimalWelfare
		wq, uk  = care.WaterQuality, care.Upkeep
		tech    = care.Technician
	)
	tests := map[fleet.TankKind][]line{
		fleet.SoftMixed: {
			{"water_change", tech, "every 7 day", 2, 3, 30, wq},
			{"filter_sock", tech, sock, 0, 2, 4, uk},
			{"target_feeding", tech, last, 0, 4, 12, uk},
			{"fish_feeding", care.Keeper, "every 1 day", 0, 1, 3, aw},
			{"reef_test", tech, "every 7 day", 2, 4, 15, wq},
			{"calcium_magnesium", tech, "every 28 day", 7, 14, 12, uk},
			{"glass", care.Keeper, "every 3 day", 2, 3, 10, uk}, // 3 early would reach the last one
			{"trim", tech, "every 28 day", 7, 14, 15, uk},
		},
		fleet.SmallPolyp: {
			{"water_change", tech, "every 7 day", 2, 3, 30, wq},
			{"dosing_look", tech, atVisit, 0, 0, 10, wq},
			{"alkalinity", care.Keeper, "every 2 day", 1, 1, 6, wq}, // between the weekly changes
			{"reef_test", tech, "every 7 day", 2, 3, 20, wq},
			{"filter_sock", tech, "every 3 day", 1, 2, 4, uk},
			{"blow_off", tech, "every 7 day", 2, 3, 15, uk},
			{"pest_check", tech, "every 28 day", 7, 7, 15, aw},
			{"wavemaker_clean", tech, "every 90 day", 14, 21, 20, uk},
			{"ppfd_map", tech, "every 180 day", 14, 21, 20, uk},
		},
		fleet.AnemoneTank: {
			{"water_change", tech, "every 7 day", 2, 3, 25, wq},
			{"anemone_look_new", care.Keeper, "every 1 day", 0, 1, 2, aw},
			{"anemone_look", tech, atVisit, 0, 1, 2, aw},
			{"anemone_feeding", tech, last, 0, 5, 8, uk},
			{"fish_feeding", care.Keeper, "every 1 day", 0, 1, 3, aw},
			{"reef_test", tech, "every 7 day", 2, 2, 12, wq},
			{"guards", tech, "every 14 day", 3, 3, 8, ls},
		},
		fleet.FishOnly: {
			{"water_change", tech, "every 14 day", 3, 5, 35, wq},
			{"body_check", tech, atVisit, 0, 2, 5, aw},
			{"fish_feeding", care.Keeper, "every 1 day", 0, 1, 4, aw},
			{"fish_test", tech, "every 14 day", 3, 7, 12, wq},
			{"filter_sock", care.Keeper, "every 3 day", 2, 2, 5, uk},
			{"gravel", tech, "every 14 day", 3, 7, 20, wq},
			{"skimmer", care.Keeper, "every 3 day", 2, 3, 5, wq},
		},
		fleet.Quarantine: {
			{"water_change", care.Shop, "every 2 day", 0, 1, 20, ls},
			{"ammonia_test_new", care.Keeper, "every 1 day", 0, 0, 8, ls},
			{"ammonia_test", care.Keeper, "every 2 day", 0, 0, 8, ls},
			{"medicine_level", care.Shop, "every 1 day", 0, 0, 8, ls},
			{"feeding_morning", care.Keeper, "every 1 day", 0, 0, 8, aw},
			{"feeding_evening", care.Keeper, "every 1 day", 0, 0, 8, aw},
			{"observe_morning", care.Shop, "every 1 day", 0, 0, 5, aw},
			{"observe_evening", care.Shop, "every 1 day", 0, 0, 5, aw},
		},
		fleet.ClubDisplay: {
			{"water_change", care.Keeper, "every 7 day", 2, 2, 120, wq},
			{"trainee", care.Keeper, atVisit, 0, 0, 0, ls},
			{"feeding_look_over", care.Keeper, "every 1 day", 0, 0, 8, aw},
			{"public_area", care.Keeper, "every 1 day", 0, 0, 3, ls},
			{"pruning", care.Keeper, "every 28 day", 7, 14, 30, uk},
			{"stock_count", care.Keeper, "every 90 day", 7, 14, 30, uk},
		},
		fleet.Pond: {
			{"look_over", care.Keeper, "every 1 day", 0, 1, 3, aw},
			{"top_up", care.Keeper, "every 7 day", 3, 0, 5, wq},
			{"temperature_salinity", tech, "every 7 day", 6, 2, 4, wq},
			{"heater_check", tech, "every 30 day", 7, 7, 5, ls},
			{"rcd_test", tech, "every 30 day", 14, 14, 5, ls},
			{"backup_test", tech, "every 30 day", 7, 7, 12, ls},
			{"pump_strip", tech, "every 90 day", 14, 21, 30, uk},
			{"top_off_sensor", tech, "every 30 day", 7, 7, 6, ls},
			{"plugs_hoses", tech, "every 30 day", 7, 14, 8, uk},
			{"carbon", tech, "every 28 day", 7, 7, 6, uk},
			{"lamps", tech, "every 9 month", 30, 30, 15, uk},
			{"dosing_lines", tech, "every 90 day", 14, 14, 15, wq},
			{"ph_probe", tech, "every 30 day", 7, 7, 10, wq},
			{"water_maker_filters", care.Shop, "every 6 month", 0, 0, 30, wq},
			{"water_maker_membrane", care.Shop, "every 24 month", 0, 0, 30, wq},
		},
	}
	facts := readyset.TankFacts{Uses: []readyset.Part{readyset.Carbon, readyset.AgeingLamps, readyset.WaterMaker, readyset.Medicine}}
	for kind, want := range tests {
		if kind == fleet.ClubDisplay {
			facts.NetL = 800
		} else {
			facts.NetL = 300
		}
		drafts, _ := readyset.For(kind, facts)
		var got []line
		for _, d := range drafts[:min(len(want), len(drafts))] {
			got = append(got, lineOf(d))
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s (-sheet +got):\n%s", kind, diff)
		}
	}
}

func TestWaterOfTheChange(t *testing.T) {
	t.Parallel()
	for kind, percent := range map[fleet.TankKind]float64{fleet.SoftMixed: 10, fleet.SmallPolyp: 10, fleet.AnemoneTank: 10,
		fleet.FishOnly: 15, fleet.Quarantine: 25, fleet.ClubDisplay: 10} {
		drafts, _ := readyset.For(kind, readyset.TankFacts{NetL: 300})
		want := readyset.Material{Material: "salt_water", Quantity: percent, Unit: "percent_of_net"}
		if got := drafts[0].Materials; len(got) == 0 || got[0] != want {
			t.Errorf("%s: %v, want %v", kind, got, want)
		}
	}
}

func TestReservoir(t *testing.T) {
	t.Parallel()
	tests := map[string]struct {
		facts   readyset.TankFacts
		cadence string
		early   int
		litres  float64
	}{
		"nothing known":         {readyset.TankFacts{}, "every 7 day", 3, 0},
		"litres alone":          {readyset.TankFacts{Reservoir: &readyset.Reservoir{UsableL: 30}}, "every 7 day", 3, 0},
		"30 L at 2.5 L a day":   {readyset.TankFacts{Reservoir: &readyset.Reservoir{UsableL: 30, EvaporationLPerDay: 2.5}}, "every 10 day", 3, 25},
		"just under a day more": {readyset.TankFacts{Reservoir: &readyset.Reservoir{UsableL: 29.9, EvaporationLPerDay: 2.5}}, "every 9 day", 3, 22.5},
		"days early cut":        {readyset.TankFacts{Reservoir: &readyset.Reservoir{UsableL: 10, EvaporationLPerDay: 2}}, "every 3 day", 2, 6},
		"dry within two days":   {readyset.TankFacts{Reservoir: &readyset.Reservoir{UsableL: 5, EvaporationLPerDay: 4}}, "every 1 day", 0, 4},
		"hardly any loss":       {readyset.TankFacts{Reservoir: &readyset.Reservoir{UsableL: 500, EvaporationLPerDay: 0.001}}, "every 364 day", 3, 0.4},
		"no reservoir":          {readyset.TankFacts{Reservoir: &readyset.Reservoir{EvaporationLPerDay: 1.5}}, "every 1 day", 0, 1.5},
		"no top-off":            {readyset.TankFacts{Lacks: []readyset.Part{readyset.TopOff}}, "every 1 day", 0, 0},
	}
	for name, tc := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			drafts, _ := readyset.For(fleet.OtherTank, tc.facts)
			d := drafts[slices.IndexFunc(drafts, func(d readyset.Draft) bool { return d.Key == "top_up" })]
			var litres float64
			for _, m := range d.Materials {
				litres += m.Quantity
			}
			if cadence(d.Cadence) != tc.cadence || d.DaysEarly != tc.early || litres != tc.litres {
				t.Errorf("%s, %d early, %g L; want %s, %d, %g", cadence(d.Cadence), d.DaysEarly, litres, tc.cadence, tc.early, tc.litres)
			}
		})
	}
}

func TestParts(t *testing.T) {
	t.Parallel()
	keys := func(facts readyset.TankFacts) []string {
		var out []string
		drafts, _ := readyset.For(fleet.SmallPolyp, facts)
		for _, d := range drafts {
			out = append(out, d.Key)
		}
		return out
	}
	whole := keys(readyset.TankFacts{})
	tests := map[string]struct {
		facts readyset.TankFacts
		gone  []string
		added []string
	}{
		"no doser, but a reactor": {readyset.TankFacts{Lacks: []readyset.Part{readyset.Doser}}, []string{"dosing_lines"}, nil},
		"neither":                 {readyset.TankFacts{Lacks: []readyset.Part{readyset.Doser, readyset.CO2}}, []string{"dosing_look", "dosing_lines"}, nil},
		"carbon":                  {readyset.TankFacts{Uses: []readyset.Part{readyset.Carbon}}, nil, []string{"carbon"}},
		"one pump is a pump":      {readyset.TankFacts{Lacks: []readyset.Part{readyset.ReturnPump}}, nil, nil},
		"known to be there":       {readyset.TankFacts{Lacks: []readyset.Part{readyset.Heater}, Uses: []readyset.Part{readyset.Heater}}, nil, nil},
	}
	for name, tc := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got := keys(tc.facts)
			var gone, added []string
			for _, k := range whole {
				if !slices.Contains(got, k) {
					gone = append(gone, k)
				}
			}
			for _, k := range got {
				if !slices.Contains(whole, k) {
					added = append(added, k)
				}
			}
			if diff := cmp.Diff([][]string{tc.gone, tc.added}, [][]string{gone, added}); diff != "" {
				t.Errorf("gone and added (-want +got):\n%s", diff)
			}
		})
	}
}

func TestLacking(t *testing.T) {
	t.Parallel()
	if got := readyset.Lacking(nil); got != nil {
		t.Errorf("nothing recorded: %v", got)
	}
	want := []readyset.Part{readyset.Wavemaker, readyset.Skimmer, readyset.TopOff, readyset.Doser, readyset.CO2}
	if diff := cmp.Diff(want, readyset.Lacking([]string{"light", "return_pump", "heater"})); diff != "" {
		t.Errorf("lacking (-want +got):\n%s", diff)
	}
}

func TestStagesMeet(t *testing.T) {
	t.Parallel()
	for kind, pair := range map[fleet.TankKind][2]string{
		fleet.AnemoneTank: {"anemone_look_new", "anemone_look"}, // daily for 28 days
		fleet.Quarantine:  {"ammonia_test_new", "ammonia_test"}, // daily for 14 days
	} {
		drafts, _ := readyset.For(kind, readyset.TankFacts{})
		var first, then readyset.Draft
		for _, d := range drafts {
			switch d.Key {
			case pair[0]:
				first = d
			case pair[1]:
				then = d
			}
		}
		if first.EndsAfterDays == 0 || then.StartsAfterDays != first.EndsAfterDays+1 || then.EndsAfterDays != 0 {
			t.Errorf("%s: days %d to %d, then from %d", kind, first.StartsAfterDays, first.EndsAfterDays, then.StartsAfterDays)
		}
	}
}
