package rounds

import "math"

// Leg is a way between two points.
type Leg struct{ Minutes, Metres int }

// KM gives the way in kilometres.
func (l Leg) KM() float64 { return float64(l.Metres) / 1000 }

func (l Leg) plus(m Leg) Leg { return Leg{l.Minutes + m.Minutes, l.Metres + m.Metres} }

// EarthRadiusKM is the mean radius R1 of the earth: 6371008.7714 m in H. Moritz,
// "Geodetic Reference System 1980", Journal of Geodesy 74 (2000), page 131.
const EarthRadiusKM = 6371.0087714

// Travel estimates ways from positions alone, where no measured ways are known.
type Travel struct {
	Detour   float64 // road kilometres for each kilometre in a straight line
	SpeedKMH float64
}

// CommonTravel is common practice in towns: 1.3 times the straight line at 40 km/h.
func CommonTravel() Travel { return Travel{Detour: 1.3, SpeedKMH: 40} }

// Leg estimates the way between two points: metres to the nearest, minutes
// rounded up, so that a plan errs on the late side and a detour never looks
// shorter in minutes than the direct way.
func (t Travel) Leg(from, to Point) Leg {
	km := GreatCircleKM(from, to) * t.Detour
	if km == 0 {
		return Leg{}
	}
	return Leg{Minutes: int(math.Ceil(km / t.SpeedKMH * 60)), Metres: int(math.Round(km * 1000))}
}

// GreatCircleKM gives the distance on a sphere by the haversine formula
// (R. W. Sinnott, "Virtues of the Haversine", Sky and Telescope 68 (1984) 159).
func GreatCircleKM(a, b Point) float64 {
	const rad = math.Pi / 180
	lat, lon := math.Sin((b.Lat-a.Lat)*rad/2), math.Sin((b.Lon-a.Lon)*rad/2)
	// The conversions keep the compiler from fusing the operations, which would
	// give another last digit on other processors.
	h := float64(lat*lat) + float64(math.Cos(a.Lat*rad)*math.Cos(b.Lat*rad)*float64(lon*lon))
	return 2 * EarthRadiusKM * math.Asin(math.Sqrt(min(1, h)))
}
