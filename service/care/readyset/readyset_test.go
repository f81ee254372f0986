package readyset_test

import (
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"tankward/service/care"
	"tankward/service/care/readyset"
	"tankward/service/fleet"
	"tankward/service/mark"
)

var update = flag.Bool("update", false, "write the golden files anew")

var kinds = []fleet.TankKind{fleet.SoftMixed, fleet.SmallPolyp, fleet.AnemoneTank, fleet.FishOnly, fleet.Quarantine,
	fleet.ClubDisplay, fleet.Pond, fleet.OtherTank}

// TestGolden shows every set whole, so that a change of the content is seen.
// What the sheet says is tested row by row in sheet_test.go.
func TestGolden(t *testing.T) {
	t.Parallel()
	for _, kind := range kinds {
		t.Run(string(kind), func(t *testing.T) {
			t.Parallel()
			got := render(readyset.For(kind, readyset.TankFacts{NetL: 450}))
			file := filepath.Join("testdata", string(kind)+".golden")
			if *update {
				if err := os.WriteFile(file, []byte(got), 0o600); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(string(want), got); diff != "" {
				t.Errorf("set (-want +got), -update writes it anew:\n%s", diff)
			}
		})
	}
}

func render(drafts []readyset.Draft, left []readyset.LeftOut) string {
	var b strings.Builder
	for _, d := range drafts {
		fmt.Fprintf(&b, "%s | %s | %s by %s | %s, %d early, %d late | class %d | %s | %d min", d.Key, d.Name, d.Kind, d.Performer,
			cadence(d.Cadence), d.DaysEarly, d.DaysLate, d.Class, d.PartOfDay, d.ActiveMinutes)
		if d.StartsAfterDays+d.EndsAfterDays > 0 {
			fmt.Fprintf(&b, " | days %d to %d", d.StartsAfterDays, d.EndsAfterDays)
		}
		for _, w := range d.Waits {
			fmt.Fprintf(&b, " | wait %d to %d %s", w.MinMinutes, w.MaxMinutes, w.Presence)
		}
		for _, m := range d.Materials {
			fmt.Fprintf(&b, " | %s %q %g %s", m.Material, m.Label, m.Quantity, m.Unit)
		}
		if d.Skill != "" {
			fmt.Fprintf(&b, " | skill %s", d.Skill)
		}
		fmt.Fprintf(&b, " | %s | %s\n", d.Mark, d.Note)
	}
	for _, l := range left {
		fmt.Fprintf(&b, "left out: %s | %s\n", l.Name, l.Reason)
	}
	return b.String()
}

func cadence(c readyset.Cadence) string {
	if c.Kind == care.Joined {
		return fmt.Sprintf("joined to %s %d to %d %s", c.Parent, c.Gap.Least, c.Gap.Greatest, c.Gap.Unit)
	}
	return fmt.Sprintf("every %d %s", c.Every, c.Unit)
}

// TestSane checks what holds for every routine of every set, whatever is known
// of the tank.
func TestSane(t *testing.T) {
	t.Parallel()
	parts := []readyset.Part{readyset.ReturnPump, readyset.Wavemaker, readyset.Heater, readyset.Skimmer, readyset.TopOff, readyset.Doser,
		readyset.CO2, readyset.Carbon, readyset.AgeingLamps, readyset.PHProbe, readyset.BackupPump, readyset.WaterMaker, readyset.Medicine}
	rapid.Check(t, func(t *rapid.T) {
		facts := readyset.TankFacts{
			NetL:  rapid.Float64Range(0, 5000).Draw(t, "net"),
			Uses:  rapid.SliceOf(rapid.SampledFrom(parts)).Draw(t, "uses"),
			Lacks: rapid.SliceOf(rapid.SampledFrom(parts)).Draw(t, "lacks"),
		}
		if rapid.Bool().Draw(t, "reservoir") {
			facts.Reservoir = &readyset.Reservoir{
				UsableL:            rapid.Float64Range(0, 500).Draw(t, "usable"),
				EvaporationLPerDay: rapid.Float64Range(0, 60).Draw(t, "evaporation"),
			}
		}
		kind := rapid.SampledFrom(kinds).Draw(t, "kind")
		drafts, left := readyset.For(kind, facts)
		for i, d := range drafts {
			if wrong := problem(d, drafts[:i]); wrong != "" {
				t.Fatalf("%s: %s: %s", kind, d.Key, wrong)
			}
		}
		for _, l := range left {
			if l.Name == "" || !strings.HasSuffix(l.Reason, ".") {
				t.Fatalf("%s: left out without a reason: %+v", kind, l)
			}
		}
	})
}

// problem says what is wrong with a draft that follows others.
func problem(d readyset.Draft, before []readyset.Draft) string {
	has := func(key string) bool {
		return slices.ContainsFunc(before, func(o readyset.Draft) bool { return o.Key == key })
	}
	switch {
	case d.Key == "" || d.Name == "" || has(d.Key):
		return "no key, no name, or a key twice"
	case d.Class < care.LifeSupport || d.Class > care.Upkeep:
		return "no class"
	case !d.Mark.Known() || d.Mark == mark.Published:
		return "marked as more than it is"
	case d.DaysEarly < 0 || d.DaysLate < 0 || d.ActiveMinutes < 0 || d.ActiveMinutes > 300:
		return "tolerance or minutes out of bounds"
	case !slices.Contains([]string{"any", "morning", "evening"}, d.PartOfDay):
		return "part of day " + d.PartOfDay
	case d.EndsAfterDays != 0 && d.EndsAfterDays < d.StartsAfterDays:
		return "ends before it starts"
	}
	for _, w := range d.Waits {
		if w.MinMinutes < 1 || w.MaxMinutes < w.MinMinutes {
			return fmt.Sprintf("wait %+v", w)
		}
	}
	for _, m := range d.Materials {
		if !(m.Quantity > 0) || !slices.Contains([]string{"l", "percent_of_net", "piece"}, m.Unit) {
			return fmt.Sprintf("material %+v", m)
		}
	}
	switch c := d.Cadence; c.Kind {
	case care.Interval:
		step := c.Every
		if c.Unit == care.Months {
			step *= 28
		}
		if c.Every < 1 || d.DaysEarly >= step {
			return fmt.Sprintf("%d days early in steps of %d", d.DaysEarly, step)
		}
	case care.Joined:
		if !has(c.Parent) || c.Gap.Least < 0 || c.Gap.Greatest < c.Gap.Least {
			return fmt.Sprintf("joined to %q by %+v", c.Parent, c.Gap)
		}
	default:
		return "cadence " + string(c.Kind)
	}
	return ""
}

func TestEveryTankRowsAreInEverySet(t *testing.T) {
	t.Parallel()
	facts := readyset.TankFacts{Uses: []readyset.Part{readyset.Carbon, readyset.AgeingLamps, readyset.WaterMaker}}
	common, leftOfCommon := readyset.For(fleet.OtherTank, facts)
	if len(common) != 15 || len(leftOfCommon) != 6 {
		t.Errorf("%d routines and %d left out for any tank, want 15 and 6", len(common), len(leftOfCommon))
	}
	for _, kind := range kinds {
		drafts, left := readyset.For(kind, facts)
		for _, c := range common {
			there := slices.ContainsFunc(drafts, func(d readyset.Draft) bool { return d.Key == c.Key })
			listed := slices.ContainsFunc(left, func(l readyset.LeftOut) bool { return l.Name == c.Name })
			if covered := kind == fleet.ClubDisplay && c.Key == "look_over"; there == covered || listed != covered {
				t.Errorf("%s: %s in the set %t, listed as left out %t", kind, c.Key, there, listed)
			}
		}
	}
	if diff := cmp.Diff(render(common, leftOfCommon), render(readyset.For("unheard_of", facts))); diff != "" {
		t.Errorf("an unknown kind (-other +got):\n%s", diff)
	}
}

func TestScale(t *testing.T) {
	t.Parallel()
	// The sheet's figures, points half-way between them, and beyond the ends.
	for litres, want := range map[float64]float64{100: 0.6, 300: 1, 800: 1.6, 1500: 2.2, 200: 0.8, 550: 1.3, 1150: 1.9, 20: 0.6, 0: 0.6, 4000: 2.2} {
		if got := readyset.Scale(litres); math.Abs(got-want) > 1e-9 {
			t.Errorf("Scale(%g) = %g, want %g", litres, got, want)
		}
	}
}

func TestMinutesFollowTheLitres(t *testing.T) {
	t.Parallel()
	tests := []struct {
		kind fleet.TankKind
		key  string
		netL float64
		want int
	}{
		{fleet.SoftMixed, "water_change", 0, 30},   // unknown litres: the sheet's figure
		{fleet.SoftMixed, "water_change", 100, 18}, // 30 x 0.6
		{fleet.SoftMixed, "water_change", 800, 48}, // 30 x 1.6
		{fleet.SoftMixed, "water_change", 1500, 66},
		{fleet.ClubDisplay, "water_change", 800, 120}, // given for 800 L
		{fleet.ClubDisplay, "water_change", 300, 75},  // 120 / 1.6
		{fleet.ClubDisplay, "heater_check", 800, 8},   // given for 300 L: 5 x 1.6
		{fleet.ClubDisplay, "trainee", 800, 0},
		{fleet.AnemoneTank, "anemone_look", 100, 1},
	}
	for _, tc := range tests {
		drafts, _ := readyset.For(tc.kind, readyset.TankFacts{NetL: tc.netL})
		i := slices.IndexFunc(drafts, func(d readyset.Draft) bool { return d.Key == tc.key })
		if i < 0 {
			t.Errorf("%s has no %s", tc.kind, tc.key)
		} else if drafts[i].ActiveMinutes != tc.want {
			t.Errorf("%s of %g L: %s takes %d minutes, want %d", tc.kind, tc.netL, tc.key, drafts[i].ActiveMinutes, tc.want)
		}
	}
}
