package fleet_test

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"tankward/service/care"
	"tankward/service/fleet"
)

// Plane geometry, no outside source: each form's area is also summed up strip by
// strip across the front.
func TestGrossLitres(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		cm := rapid.Float64Range(5, 400)
		s := fleet.Shape{
			Form:     rapid.SampledFrom([]fleet.Form{fleet.Box, fleet.Cylinder, fleet.Hexagon, fleet.BowFront}).Draw(t, "form"),
			LengthCM: cm.Draw(t, "length"), WidthCM: cm.Draw(t, "width"), HeightCM: cm.Draw(t, "height"), DiameterCM: cm.Draw(t, "diameter"),
		}
		s.BowCM = rapid.Float64Range(0.1, 0.5).Draw(t, "bow") * s.LengthCM
		want := strips(s) * s.HeightCM / 1000
		if got := s.GrossL(); math.Abs(got-want) > 1e-3*want {
			t.Fatalf("%+v: %.3f L, strips give %.3f L", s, got, want)
		}
	})
	if got := (fleet.Shape{Form: fleet.Stated, StatedL: 72}).GrossL(); got != 72 {
		t.Errorf("stated: %v", got)
	}
}

// strips sums the depth of a form over its front.
func strips(s fleet.Shape) float64 {
	const n = 20000
	front := map[fleet.Form]float64{
		fleet.Box: s.LengthCM, fleet.BowFront: s.LengthCM, fleet.Cylinder: s.DiameterCM, fleet.Hexagon: 2 * s.LengthCM,
	}[s.Form]
	sum := 0.0
	for i := range n {
		sum += depth(s, (float64(i)+0.5)/n*front-front/2) * front / n
	}
	return sum
}

// depth gives how deep a form is at x from the middle of its front.
func depth(s fleet.Shape, x float64) float64 {
	switch s.Form {
	case fleet.Cylinder:
		return 2 * math.Sqrt(s.DiameterCM*s.DiameterCM/4-x*x)
	case fleet.Hexagon: // corner to corner along the front
		return 2 * math.Sqrt(3) * min(s.LengthCM/2, s.LengthCM-math.Abs(x))
	case fleet.BowFront:
		r := (s.LengthCM*s.LengthCM/4 + s.BowCM*s.BowCM) / (2 * s.BowCM)
		return s.WidthCM + math.Sqrt(r*r-x*x) - (r - s.BowCM)
	default:
		return s.WidthCM
	}
}

func TestNetLitres(t *testing.T) {
	t.Parallel()
	f := fleet.TankFields{
		Shape: fleet.Shape{Form: fleet.Box, LengthCM: 100, WidthCM: 50, HeightCM: 50}, DisplacementL: 30, SumpL: 40.04,
	}
	if got := f.Net(); got != 260 {
		t.Errorf("net %v L, want 250 - 30 + 40.04 = 260.0", got)
	}
}

// Weekdays without access are those that no window names.
func TestNoAccess(t *testing.T) {
	t.Parallel()
	if got := (fleet.SiteFields{}).NoAccess(); got != 0 {
		t.Errorf("a site without windows is always open, got %08b", got)
	}
	f := fleet.SiteFields{AccessWindows: []fleet.Window{{Weekday: 1, From: 480, To: 720}, {Weekday: 1, From: 780, To: 900}, {Weekday: 7, From: 0, To: 1440}}}
	for day := 1; day <= 7; day++ {
		if closed, want := f.NoAccess()>>day&1 == 1, day != 1 && day != 7; closed != want {
			t.Errorf("weekday %d closed: %v", day, closed)
		}
	}
}

// The local date follows the zone, also over a change of the clocks.
func TestToday(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, time.March, 29, 0, 30, 0, 0, time.UTC) // the night of the change in Europe
	for zone, want := range map[string]care.Day{
		"UTC":                 care.Date(2026, time.March, 29),
		"Europe/Lisbon":       care.Date(2026, time.March, 29),
		"America/Los_Angeles": care.Date(2026, time.March, 28),
		"Pacific/Kiritimati":  care.Date(2026, time.March, 29),
		"Nowhere/Unknown":     care.Date(2026, time.March, 29),
	} {
		if got := fleet.Today(zone, at); got != want {
			t.Errorf("%s: %s, want %s", zone, got, want)
		}
	}
}
