package rounds_test

import (
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"tankward/service/care"
	"tankward/service/rounds"
)

func TestGreatCircle(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		a, b   rounds.Point
		wantKM float64
	}{
		// One degree of a meridian is πR/180, half a turn πR: plane geometry.
		{"a degree north", rounds.Point{Lat: 10, Lon: 7}, rounds.Point{Lat: 11, Lon: 7}, math.Pi * rounds.EarthRadiusKM / 180},
		{"to the antipode", rounds.Point{Lat: 0, Lon: 0}, rounds.Point{Lat: 0, Lon: 180}, math.Pi * rounds.EarthRadiusKM},
		{"across the date line", rounds.Point{Lat: 0, Lon: 179.5}, rounds.Point{Lat: 0, Lon: -179.5}, math.Pi * rounds.EarthRadiusKM / 180},
		{"nowhere", rounds.Point{Lat: 50, Lon: 50}, rounds.Point{Lat: 50, Lon: 50}, 0},
		// Rosetta Code, "Haversine formula", BNA to LAX: 2886.44444283798 km on a
		// sphere of 6371.0 km.
		{"Nashville to Los Angeles", rounds.Point{Lat: 36.12, Lon: -86.67}, rounds.Point{Lat: 33.94, Lon: -118.40}, 2886.44444283798 / 6371.0 * rounds.EarthRadiusKM},
		// Documentation of the Rust crate geo, Haversine, with the same radius.
		{"Sofia to Plovdiv", rounds.Point{Lat: 42.698334, Lon: 23.319941}, rounds.Point{Lat: 42.136097, Lon: 24.742168}, 132.43309929460194},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			for _, got := range []float64{rounds.GreatCircleKM(c.a, c.b), rounds.GreatCircleKM(c.b, c.a)} {
				if math.Abs(got-c.wantKM) > 1e-6 {
					t.Errorf("%.9f km, want %.9f", got, c.wantKM)
				}
			}
		})
	}
}

func TestTravelLeg(t *testing.T) {
	t.Parallel()
	// 0.1 degrees of a meridian are 11.1195 km; × 1.3 = 14.4553 km; at 40 km/h
	// 21.68 minutes, rounded up.
	got := rounds.CommonTravel().Leg(rounds.Point{Lat: 50}, rounds.Point{Lat: 50.1})
	if diff := cmp.Diff(rounds.Leg{Minutes: 22, Metres: 14455}, got); diff != "" {
		t.Error(diff)
	}
	if got := rounds.CommonTravel().Leg(rounds.Point{Lat: 50}, rounds.Point{Lat: 50}); got != (rounds.Leg{}) {
		t.Errorf("staying in place takes %+v", got)
	}
}

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

func TestClock(t *testing.T) {
	t.Parallel()
	lisbon, madrid := zone(t, "Europe/Lisbon"), zone(t, "Europe/Madrid")
	for _, c := range []struct {
		name   string
		day    care.Day
		local  *time.Location
		minute int
		want   int
	}{
		{"same zone", care.Date(2026, 3, 9), lisbon, 540, 540},
		{"an hour east", care.Date(2026, 3, 9), madrid, 540, 480},
		// European summer time begins on the last Sunday of March at 01:00 UTC and
		// ends on the last Sunday of October (Directive 2000/84/EC).
		{"after the clocks went forward", care.Date(2026, 3, 29), lisbon, 540, 480},
		{"after the clocks went back", care.Date(2026, 10, 25), lisbon, 540, 600},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			clock := rounds.ClockOf(c.day, lisbon)
			if got := clock.Minute(c.day, c.minute, c.local); got != c.want {
				t.Errorf("minute %d, want %d", got, c.want)
			}
			back := clock.Instant(c.want).In(c.local)
			if got := back.Hour()*60 + back.Minute(); got != c.minute || care.DayOf(back) != c.day {
				t.Errorf("the way back gives %v", back)
			}
		})
	}
}

func TestClockText(t *testing.T) {
	t.Parallel()
	spring := rounds.ClockOf(care.Date(2026, 3, 29), zone(t, "Europe/Lisbon"))
	for _, c := range []struct {
		clock  rounds.Clock
		minute int
		want   string
	}{
		{rounds.Clock{}, 485, "08:05"}, {rounds.Clock{}, 1445, "00:05 the next day"},
		{rounds.Clock{}, -1, "23:59 the day before"}, {rounds.Clock{}, 2881, "00:01, +2 days"},
		{spring, 480, "09:00"}, {spring, 23 * 60, "00:00 the next day"},
	} {
		if got := c.clock.Text(c.minute); got != c.want {
			t.Errorf("%d: %q, want %q", c.minute, got, c.want)
		}
	}
	if got := spring.Of(spring.Midnight.Add(-time.Second)); got != -1 {
		t.Errorf("a second before midnight is minute %d", got)
	}
}

func TestWindows(t *testing.T) {
	t.Parallel()
	monday := care.Date(2026, 3, 9)
	week := []rounds.WeekWindow{{1, 780, 1020}, {1, 480, 720}, {1, 720, 730}, {2, 0, 600}, {3, 480, 720}}
	lisbon, madrid, tokyo := zone(t, "Europe/Lisbon"), zone(t, "Europe/Madrid"), zone(t, "Asia/Tokyo")
	clock := rounds.ClockOf(monday, lisbon)
	for _, c := range []struct {
		name   string
		week   []rounds.WeekWindow
		site   *time.Location
		closed func(care.Day) bool
		want   []rounds.Window
		shut   bool
	}{
		{"joined where they touch", week, lisbon, nil, []rounds.Window{{480, 730}, {780, 1020}, {1440, 2040}}, false},
		{"an hour east", week[1:2], madrid, nil, []rounds.Window{{420, 660}}, false},
		// Tokyo is 9 hours ahead, so that its Tuesday begins on Lisbon's Monday at 15:00.
		{"the next day begins already", week[3:4], tokyo, nil, []rounds.Window{{900, 1500}}, false},
		{"always open", nil, lisbon, nil, nil, false},
		{"always open, closed on the day", nil, lisbon, func(d care.Day) bool { return d == monday }, []rounds.Window{{-1440, 0}, {1440, 2880}}, false},
		{"closed all along", week, lisbon, func(care.Day) bool { return true }, nil, true},
		{"no window near", []rounds.WeekWindow{{5, 0, 1440}}, lisbon, nil, nil, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got, shut := clock.Windows(monday, c.week, c.site, c.closed)
			if diff := cmp.Diff(c.want, got); diff != "" || shut != c.shut {
				t.Errorf("closed %v, want %v; %s", shut, c.shut, diff)
			}
		})
	}
}
