package rounds_test

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"tankward/service/rounds"
)

func id(n byte) uuid.UUID { return uuid.UUID{15: n} }

func TestServiceMinutes(t *testing.T) {
	t.Parallel()
	// Worked by hand from trips × (distance/40 m + floors × 1.5), common practice.
	for _, c := range []struct {
		name       string
		setup      int
		carry      rounds.Carry
		containers int
		active     []int
		want       rounds.Service
	}{
		{"nothing to carry", 5, rounds.Carry{DistanceM: 400, Floors: 9}, 0, []int{4, 12}, rounds.Service{Setup: 5, Active: 16}},
		{"one container is a trip", 5, rounds.Carry{DistanceM: 80, Floors: 2}, 1, nil, rounds.Service{Setup: 5, Carrying: 5}},
		{"two are the same trip", 5, rounds.Carry{DistanceM: 80, Floors: 2}, 2, nil, rounds.Service{Setup: 5, Carrying: 5}},
		{"five are three trips", 0, rounds.Carry{DistanceM: 80, Floors: 2}, 5, []int{35}, rounds.Service{Carrying: 15, Active: 35}},
		{"part of a minute counts whole", 0, rounds.Carry{DistanceM: 10}, 2, nil, rounds.Service{Carrying: 1}},
		{"ten times 0.1 is one", 0, rounds.Carry{DistanceM: 4}, 20, nil, rounds.Service{Carrying: 1}},
		{"van at the door", 10, rounds.Carry{}, 6, []int{1}, rounds.Service{Setup: 10, Active: 1}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got := rounds.ServiceMinutes(c.setup, c.carry, c.containers, c.active)
			if diff := cmp.Diff(c.want, got); diff != "" {
				t.Error(diff)
			}
			if got.Total() != got.Setup+got.Carrying+got.Active {
				t.Errorf("total %d of %+v", got.Total(), got)
			}
		})
	}
}

func TestContainers(t *testing.T) {
	t.Parallel()
	// 10 % margin, whole containers of 20 L.
	for litres, want := range map[float64]int{0: 0, 0.1: 1, 18: 1, 18.181: 1, 18.182: 2, 20: 2, 36: 2, 36.4: 3, 100: 6, 200: 11} {
		if got := rounds.Containers(litres); got != want {
			t.Errorf("%g L: %d containers, want %d", litres, got, want)
		}
	}
}

// psu gives a salinity target; nil is an open end.
func psu(low, high *float64) [2]*float64 { return [2]*float64{low, high} }

func waterChange(tank byte, name string, netL, percent float64, target [2]*float64) rounds.Work {
	return rounds.Work{TankID: id(tank), Tank: name, NetL: netL, SalinityLow: target[0], SalinityHigh: target[1],
		Materials: []rounds.Material{{Substance: rounds.SaltWater, Quantity: percent, Unit: rounds.PercentOfNet}}}
}

func aDay() []rounds.LoadStop {
	return []rounds.LoadStop{
		{ID: id(1), Hauled: true, Work: []rounds.Work{
			waterChange(11, "Lobby", 300, 10, psu(new(34.5), new(35.5))),
			waterChange(12, "Bar", 200, 10, psu(new(34.96), new(35.0))), // 34.98 rounds to 35.0
			waterChange(13, "Office", 100, 20, psu(new(30.0), new(33.0))),
			{Materials: []rounds.Material{
				{Substance: rounds.FilterSock, Label: "200 µm, 10 cm", Quantity: 2, Unit: "piece"},
				{Substance: rounds.Food, Label: "frozen shrimp", Quantity: 6.5, Unit: "g"},
				{Substance: rounds.FreshWater, Quantity: 2500, Unit: rounds.Millilitres},
			}},
		}},
		{ID: id(2), Hauled: false, Work: []rounds.Work{
			waterChange(21, "Hall", 800, 15, psu(new(35.0), new(35.0))),
			waterChange(22, "Corner", 90, 15, psu(nil, nil)),
			{Materials: []rounds.Material{
				{Substance: rounds.FilterSock, Label: "200 µm, 10 cm", Quantity: 1, Unit: "piece"},
				{Substance: rounds.Food, Label: "frozen shrimp", Quantity: 3, Unit: "g"},
				{Substance: rounds.OtherThing, Label: "test kit, alkalinity", Quantity: 1, Unit: "piece"},
			}},
		}},
		{ID: id(3), Hauled: true, Work: []rounds.Work{
			waterChange(31, "Lobby", 80, 10, psu(new(35.0), new(35.0))),
			waterChange(32, "Nursery", 100, 10, psu(new(33.0), nil)),
		}},
	}
}

func TestLoadOfAStop(t *testing.T) {
	t.Parallel()
	day := aDay()
	want := rounds.StopLoad{ID: id(1), Containers: 6, Lines: []rounds.Line{
		{Substance: rounds.SaltWater, SalinityPSU: new(31.5), Quantity: 20, Unit: "l", Containers: 2},
		{Substance: rounds.SaltWater, SalinityPSU: new(35.0), Quantity: 50, Unit: "l", Containers: 3},
		{Substance: rounds.FreshWater, Quantity: 2.5, Unit: "l", Containers: 1},
		{Substance: rounds.FilterSock, Label: "200 µm, 10 cm", Quantity: 2, Unit: "piece"},
		{Substance: rounds.Food, Label: "frozen shrimp", Quantity: 6.5, Unit: "g"},
	}}
	if diff := cmp.Diff(want, rounds.LoadOf(day[0])); diff != "" {
		t.Error(diff)
	}
	for _, l := range rounds.LoadOf(day[1]).Lines {
		if l.Substance == rounds.SaltWater || l.Containers != 0 {
			t.Errorf("water mixed on site is carried: %+v", l)
		}
	}
	if u := rounds.LoadOf(day[1]).Unclear; len(u) != 0 {
		t.Errorf("water that is not carried needs no salinity: %q", u)
	}
}

func TestUnknownIsSaid(t *testing.T) {
	t.Parallel()
	got := rounds.LoadOf(rounds.LoadStop{ID: id(1), Hauled: true, Work: []rounds.Work{
		waterChange(1, "Nursery", 100, 10, psu(new(33.0), nil)),
		waterChange(2, "Attic", 50, 10, psu(nil, nil)),
		waterChange(3, "Cellar", 0, 10, psu(new(35.0), new(35.0))),
	}})
	want := rounds.StopLoad{ID: id(1), Containers: 2,
		Lines: []rounds.Line{
			{Substance: rounds.SaltWater, TankID: id(2), Tank: "Attic", Quantity: 5, Unit: "l", Containers: 1},
			{Substance: rounds.SaltWater, TankID: id(1), Tank: "Nursery", Quantity: 10, Unit: "l", Containers: 1},
		},
		Unclear: []string{
			"Attic: salt water of unknown salinity; set the tank's salinity target with low and high",
			"Cellar: 10 % of its net litres, which are not known",
			"Nursery: salt water of unknown salinity; set the tank's salinity target with low and high",
		}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

func TestLoadOfADay(t *testing.T) {
	t.Parallel()
	var stops []rounds.StopLoad
	for _, s := range aDay() {
		stops = append(stops, rounds.LoadOf(s))
	}
	got := rounds.LoadList(stops)
	order := []uuid.UUID{got.Stops[0].ID, got.Stops[1].ID, got.Stops[2].ID}
	if diff := cmp.Diff([]uuid.UUID{id(3), id(2), id(1)}, order); diff != "" {
		t.Errorf("loaded in another order than the reverse of unloading: %s", diff)
	}
	want := []rounds.Line{
		{Substance: rounds.SaltWater, SalinityPSU: new(31.5), Quantity: 20, Unit: "l", Containers: 2},
		{Substance: rounds.SaltWater, SalinityPSU: new(35.0), Quantity: 58, Unit: "l", Containers: 4},
		{Substance: rounds.SaltWater, TankID: id(32), Tank: "Nursery", Quantity: 10, Unit: "l", Containers: 1},
		{Substance: rounds.FreshWater, Quantity: 2.5, Unit: "l", Containers: 1},
		{Substance: rounds.FilterSock, Label: "200 µm, 10 cm", Quantity: 3, Unit: "piece"},
		{Substance: rounds.Food, Label: "frozen shrimp", Quantity: 9.5, Unit: "g"},
		{Substance: rounds.OtherThing, Label: "test kit, alkalinity", Quantity: 1, Unit: "piece"},
	}
	if diff := cmp.Diff(want, got.Total); diff != "" {
		t.Error(diff)
	}
	if got.Containers != 8 || len(got.Unclear) != 1 {
		t.Errorf("%d containers, unclear %q", got.Containers, got.Unclear)
	}
}

// Amounts such as 0.1 L must add up the same in any order of work.
func TestLoadIgnoresTheOrderOfWork(t *testing.T) {
	t.Parallel()
	s := aDay()[0]
	for i := range 30 {
		s.Work = append(s.Work, waterChange(byte(100+i), "T", 0.1+float64(i)*7.7, 3.3, psu(new(35.0), new(35.0))))
	}
	want := rounds.LoadOf(s)
	turned := s
	turned.Work = slices.Clone(s.Work)
	slices.Reverse(turned.Work)
	if diff := cmp.Diff(want, rounds.LoadOf(turned)); diff != "" {
		t.Error(diff)
	}
}
