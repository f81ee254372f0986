package resource

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

type sample struct {
	Name          string
	PayloadKG     *float64
	CarryM        int
	AccessWindows []int
}

func TestDiffNamesTheFields(t *testing.T) {
	t.Parallel()
	one, two := 1.0, 1.0
	for name, c := range map[string]struct {
		a, b sample
		want []string
	}{
		"equal":         {sample{Name: "a", PayloadKG: &one}, sample{Name: "a", PayloadKG: &two}, nil},
		"names":         {sample{}, sample{Name: "a", PayloadKG: &one, CarryM: 1, AccessWindows: []int{1}}, []string{"name", "payload_kg", "carry_m", "access_windows"}},
		"none and none": {sample{AccessWindows: nil}, sample{AccessWindows: []int{}}, nil},
		"none and one":  {sample{AccessWindows: nil}, sample{AccessWindows: []int{0}}, []string{"access_windows"}},
		"other order":   {sample{AccessWindows: []int{1, 2}}, sample{AccessWindows: []int{2, 1}}, []string{"access_windows"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			if diff := cmp.Diff(c.want, Diff(c.a, c.b)); diff != "" {
				t.Errorf("fields (-want +got):\n%s", diff)
			}
			if diff := cmp.Diff(c.want, Diff(c.b, c.a)); diff != "" {
				t.Errorf("the other way (-want +got):\n%s", diff)
			}
		})
	}
}

func TestHashTellsContentApart(t *testing.T) {
	t.Parallel()
	a, errA := Hash(sample{Name: "a"})
	again, errAgain := Hash(sample{Name: "a"})
	b, errB := Hash(sample{Name: "b"})
	if errA != nil || errAgain != nil || errB != nil || a != again || a == b {
		t.Errorf("hashes %x, %x, %x; errors %v, %v, %v", a, again, b, errA, errAgain, errB)
	}
	if _, err := Hash(make(chan int)); err == nil {
		t.Error("what cannot be written down has a hash")
	}
}
