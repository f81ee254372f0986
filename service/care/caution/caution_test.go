package caution_test

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"tankward/service/care"
	"tankward/service/care/caution"
	"tankward/service/mark"
)

var kinds = []care.WorkKind{
	care.Feeding, care.TargetFeeding, care.WaterChange, care.FilterSockChange, care.WaterTest, care.TopOff, care.Dosing,
	care.GlassCleaning, care.LightStep, care.EquipmentService, care.Arrival, care.Inspection, care.OtherWork,
}

func codes(cs []caution.Caution) []string {
	var out []string
	for _, c := range cs {
		out = append(out, c.Code)
	}
	return out
}

func of(t *testing.T, list ...string) []caution.Caution {
	t.Helper()
	var out []caution.Caution
	for _, code := range list {
		c, ok := caution.ByCode(code)
		if !ok {
			t.Fatalf("no caution %q", code)
		}
		out = append(out, c)
	}
	return out
}

func TestTableIsWellFormed(t *testing.T) {
	t.Parallel()
	form := regexp.MustCompile(`^[a-z]+(_[a-z]+)*$`)
	seen := map[string]bool{}
	for _, c := range caution.All() {
		if !form.MatchString(c.Code) || seen[c.Code] {
			t.Errorf("code %q is malformed or used twice", c.Code)
		}
		seen[c.Code] = true
		if !c.Mark.Known() {
			t.Errorf("%s: mark %q", c.Code, c.Mark)
		}
		if c.Mark == mark.Published && c.Source == "" {
			t.Errorf("%s is called published and names no source", c.Code)
		}
		if n := len(c.Text); n < 60 || n > 500 || !strings.HasSuffix(c.Text, ".") {
			t.Errorf("%s: a text of %d bytes that should be one to four sentences", c.Code, n)
		}
	}
	if len(seen) < 20 {
		t.Errorf("only %d cautions", len(seen))
	}
}

func TestElectricityWheneverHandsGoIn(t *testing.T) {
	t.Parallel()
	hands := 0
	for _, kind := range append(slices.Clone(kinds), "unheard_of") {
		got := codes(caution.ForWork(kind, caution.Context{}))
		if len(got) == 0 {
			t.Errorf("%s has no caution", kind)
		}
		if !caution.HandsGoIn(kind) {
			continue
		}
		hands++
		if got[0] != caution.Electricity {
			t.Errorf("%s begins with %q, want electricity first", kind, got[0])
		}
		if !slices.Contains(got, caution.Wounds) {
			t.Errorf("%s says nothing about wounds", kind)
		}
	}
	if hands < 7 {
		t.Errorf("hands go in for %d kinds only", hands)
	}
}

func TestForWork(t *testing.T) {
	t.Parallel()
	own := caution.Caution{Code: "bites", Text: "The trigger bites."}
	tests := map[string]struct {
		kind care.WorkKind
		ctx  caution.Context
		want []string
	}{
		"a reef's water change": {care.WaterChange,
			caution.Context{Lives: of(t, caution.Palytoxin, caution.Permit, caution.Stings, caution.Palytoxin), Materials: []string{"salt_water"}},
			[]string{"electricity", "palytoxin", "stings", "wounds", "devices_left_off", "running_water", "lifting", "lone_work", "waste_water"}},
		"feeding from above": {care.Feeding,
			caution.Context{Lives: of(t, caution.Palytoxin, caution.VenomousSpines, caution.ToxinWhenDead)},
			[]string{"devices_left_off", "toxin_when_dead", "sick_animal"}},
		"an invader arrives": {care.Arrival,
			caution.Context{Lives: of(t, caution.Invasive, caution.VenomousSpines, caution.Permit)},
			[]string{"electricity", "venomous_spines", "wounds", "lifting", "permit", "invasive", "never_release", "waste_water", "sick_animal"}},
		"a treated tank's test": {care.WaterTest, caution.Context{Treated: true},
			[]string{"electricity", "copper_water", "chemicals", "wounds"}},
		"what it is done with": {care.Dosing, caution.Context{Materials: []string{"Copper sulphate", "Citric ACID or vinegar"}},
			[]string{"copper_water", "chemicals", "medicine", "estimate"}},
		"what it is done on": {care.EquipmentService, caution.Context{Equipment: []string{"uv", "co2", "return_pump"}},
			[]string{"electricity", "carbon_dioxide", "ultraviolet_lamp", "wounds", "devices_left_off", "glass_failure", "lone_work"}},
		"a word inside another is none": {care.LightStep, caution.Context{Materials: []string{"placid lamp", "pulverised chalk"}},
			[]string{"electricity"}},
		"own cautions come last, once": {care.Inspection, caution.Context{Lives: []caution.Caution{own, own}},
			[]string{"sick_animal", "bites"}},
		"an unknown kind is treated like other work": {"unheard_of", caution.Context{Lives: of(t, caution.Permit, caution.FoulsWhenDead)},
			[]string{"electricity", "wounds", "devices_left_off", "glass_failure", "lone_work", "fouls_when_dead", "permit", "never_release", "waste_water"}},
	}
	for name, tc := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			if diff := cmp.Diff(tc.want, codes(caution.ForWork(tc.kind, tc.ctx))); diff != "" {
				t.Errorf("cautions (-want +got):\n%s", diff)
			}
		})
	}
}

func TestForWorkLeavesTheTableAlone(t *testing.T) {
	t.Parallel()
	before := codes(caution.ForWork(care.WaterChange, caution.Context{}))
	caution.ForWork(care.WaterChange, caution.Context{Treated: true, Materials: []string{"bleach"}, Equipment: []string{"uv"}})
	if diff := cmp.Diff(before, codes(caution.ForWork(care.WaterChange, caution.Context{}))); diff != "" {
		t.Errorf("a second call gives other cautions (-before +after):\n%s", diff)
	}
}

func TestByCodeRefusesUnknown(t *testing.T) {
	t.Parallel()
	if c, ok := caution.ByCode("nothing"); ok {
		t.Errorf("got %v", c)
	}
}
