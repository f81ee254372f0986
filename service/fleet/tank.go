package fleet

import (
	"math"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/resource"
)

// TankKind says which animals a tank is kept for; it chooses the ready set.
type TankKind string

// The tank kinds.
const (
	SoftMixed   TankKind = "soft_mixed"
	SmallPolyp  TankKind = "small_polyp"
	AnemoneTank TankKind = "anemone"
	FishOnly    TankKind = "fish_only"
	Quarantine  TankKind = "quarantine"
	ClubDisplay TankKind = "club_display"
	Pond        TankKind = "pond"
	OtherTank   TankKind = "other"
)

// TankStatus says how far a tank is in its life.
type TankStatus string

// The tank statuses.
const (
	NewTank     TankStatus = "new"
	Cycling     TankStatus = "cycling"
	Maturing    TankStatus = "maturing"
	Established TankStatus = "established"
	Fallow      TankStatus = "fallow"
	PausedTank  TankStatus = "paused"
	Archived    TankStatus = "archived"
)

// Form is the geometric form of a tank.
type Form string

// The forms.
const (
	Box      Form = "box"
	Cylinder Form = "cylinder"
	Hexagon  Form = "hexagon"
	BowFront Form = "bow_front"
	Stated   Form = "stated"
)

// Shape holds a tank's inner dimensions; only those of its Form are set.
type Shape struct {
	Form       Form
	LengthCM   float64 // box, bow front; hexagon: one side
	WidthCM    float64 // box; bow front: depth at the sides
	HeightCM   float64 // water height
	DiameterCM float64 // cylinder
	BowCM      float64 // bow front: how far the front stands out in the middle
	StatedL    float64 // stated
}

// Target is the band in which a parameter should be; an open end is NaN-free
// and nil.
type Target struct {
	Parameter string
	Low, High *float64
}

// TankFields is what is known of a tank.
type TankFields struct {
	SiteID        uuid.UUID
	Name          string
	Kind          TankKind
	Status        TankStatus
	Shape         Shape
	DisplacementL float64
	SumpL         float64
	Targets       []Target
	StartedOn     *care.Day
	Note          string
	// NetL is the water in the system; derived.
	NetL float64
}

// Tank is a water system at a site.
type Tank = resource.Row[TankFields]

// GrossL gives the litres inside the walls up to the water height. A bow front
// is a box and the segment of a circle through both front corners (plane
// geometry); a hexagon is regular.
func (s Shape) GrossL() float64 {
	switch s.Form {
	case Box:
		return s.LengthCM * s.WidthCM * s.HeightCM / 1000
	case Cylinder:
		return math.Pi / 4 * s.DiameterCM * s.DiameterCM * s.HeightCM / 1000
	case Hexagon:
		return 1.5 * math.Sqrt(3) * s.LengthCM * s.LengthCM * s.HeightCM / 1000
	case BowFront:
		return (s.LengthCM*s.WidthCM + segment(s.LengthCM, s.BowCM)) * s.HeightCM / 1000
	case Stated:
		return s.StatedL
	}
	return 0
}

// segment gives the area between a chord and its arc that stands out by sagitta.
func segment(chord, sagitta float64) float64 {
	if sagitta <= 0 {
		return 0
	}
	r := (chord*chord/4 + sagitta*sagitta) / (2 * sagitta)
	half := 2 * math.Atan2(sagitta, chord/2)
	return r*r*half - chord/2*(r-sagitta)
}

// Net gives the water in the system, to a tenth of a litre.
func (f TankFields) Net() float64 {
	return math.Round((f.Shape.GrossL()-f.DisplacementL+f.SumpL)*10) / 10
}

// dimensions lists the dimensions with the forms that need them.
func (s Shape) dimensions() []struct {
	name  string
	value float64
	forms []Form
} {
	return []struct {
		name  string
		value float64
		forms []Form
	}{
		{"length_cm", s.LengthCM, []Form{Box, Hexagon, BowFront}},
		{"width_cm", s.WidthCM, []Form{Box, BowFront}},
		{"height_cm", s.HeightCM, []Form{Box, Cylinder, Hexagon, BowFront}},
		{"diameter_cm", s.DiameterCM, []Form{Cylinder}},
		{"bow_cm", s.BowCM, []Form{BowFront}},
		{"stated_l", s.StatedL, []Form{Stated}},
	}
}

// greatestDimension is far above any tank a person can look after, in cm or L.
const greatestDimension = 1e7

func (s Shape) check(c *Checks) {
	for _, d := range s.dimensions() {
		needed := false
		for _, f := range d.forms {
			needed = needed || f == s.Form
		}
		switch at := "/shape/" + d.name; {
		case needed && !(d.value > 0 && d.value <= greatestDimension):
			c.Add(at, "is needed for the form %s; give a number above 0", s.Form)
		case !needed && d.value != 0:
			c.Add(at, "does not belong to the form %s; leave it out", s.Form)
		}
	}
	if s.Form == BowFront && s.BowCM > s.LengthCM/2 {
		c.Add("/shape/bow_cm", "may be at most half of length_cm")
	}
}

// Validate says what is wrong with the fields.
func (f TankFields) Validate() error {
	var c Checks
	c.Text("/name", f.Name, 200, true)
	c.Text("/note", f.Note, 4000, false)
	f.Shape.check(&c)
	if !(f.DisplacementL >= 0 && f.DisplacementL <= greatestDimension) {
		c.Add("/displacement_l", "must be 0 or more litres")
	}
	if !(f.SumpL >= 0 && f.SumpL <= greatestDimension) {
		c.Add("/sump_l", "must be 0 or more litres")
	}
	if len(c.Fields) == 0 && f.Net() <= 0 {
		c.Add("/displacement_l", "leaves no water: shape and sump hold %.1f L", f.Shape.GrossL()+f.SumpL)
	}
	if f.Status == Archived {
		c.Add("/status", "is set by archiving the tank (DELETE)")
	}
	seen := map[string]bool{}
	for i, t := range f.Targets {
		if seen[t.Parameter] {
			c.Add(pointerAt("/targets", i, "parameter"), "stands twice; give each parameter once")
		}
		seen[t.Parameter] = true
		if t.Low != nil && t.High != nil && *t.Low > *t.High {
			c.Add(pointerAt("/targets", i, "high"), "must not be below low")
		}
	}
	return c.Err()
}

// Target gives the band of a parameter, if the tank has one.
func (f TankFields) Target(parameter string) (Target, bool) {
	for _, t := range f.Targets {
		if t.Parameter == parameter {
			return t, true
		}
	}
	return Target{}, false
}

// EquipmentFields is what is known of a device or valve.
type EquipmentFields struct {
	TankID      uuid.UUID
	Kind        string
	Label       string
	PowerW      *float64
	InstalledOn *care.Day
	Note        string
}

// Equipment is a device or valve of a tank.
type Equipment = resource.Row[EquipmentFields]

// Validate says what is wrong with the fields.
func (f EquipmentFields) Validate() error {
	var c Checks
	c.Text("/label", f.Label, 200, true)
	c.Text("/note", f.Note, 4000, false)
	if f.PowerW != nil && !(*f.PowerW >= 0 && *f.PowerW <= 1e6) {
		c.Add("/power_w", "must be 0 or more watts")
	}
	return c.Err()
}

// TankFilter narrows a list of tanks; an empty field doesn't.
type TankFilter struct {
	Site   uuid.UUID
	Kind   TankKind
	Status TankStatus
}

// EquipmentFilter narrows a list of equipment; an empty field doesn't.
type EquipmentFilter struct {
	Tank uuid.UUID
	Kind string
}
