package fleet

import (
	"time"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/resource"
)

// OrganisationFields is what an organisation says of itself.
type OrganisationFields struct {
	Name     string
	Kind     string // business or club
	TimeZone string
}

// Organisation is the tenant.
type Organisation = resource.Row[OrganisationFields]

// Validate says what is wrong with the fields.
func (f OrganisationFields) Validate() error {
	var c Checks
	c.Text("/name", f.Name, 200, true)
	if f.Kind != "business" && f.Kind != "club" {
		c.Add("/kind", "must be business or club")
	}
	c.Zone("/time_zone", f.TimeZone)
	return c.Err()
}

// CustomerFields is what is known of a customer.
type CustomerFields struct {
	Name        string
	ContactName string
	Email       string
	Phone       string
	Note        string
}

// Customer is who the tanks of a site belong to.
type Customer = resource.Row[CustomerFields]

// Validate says what is wrong with the fields.
func (f CustomerFields) Validate() error {
	var c Checks
	c.Text("/name", f.Name, 200, true)
	c.Text("/contact_name", f.ContactName, 200, false)
	c.Text("/email", f.Email, 320, false)
	c.Text("/phone", f.Phone, 50, false)
	c.Text("/note", f.Note, 4000, false)
	return c.Err()
}

// WaterMode says where the water for a site's changes comes from.
type WaterMode string

// The water modes.
const (
	Hauled      WaterMode = "hauled"
	MixedOnSite WaterMode = "mixed_on_site"
	NoWater     WaterMode = "none"
)

// Address is where the post goes; every part may be empty.
type Address struct{ Street, PostalCode, City, Region, Country string }

// SiteFields is what is known of a site.
type SiteFields struct {
	Name              string
	CustomerID        uuid.UUID // Nil: none
	Address           Address
	Position          Point
	TimeZone          string
	AccessWindows     []Window // none: always open
	WaterMode         WaterMode
	ResponsibleMember uuid.UUID // Nil: none
	CarryDistanceM    int
	CarryFloors       int
	SetupMinutes      int
	// AccessEnteredOn is the site's local day on which the access windows were
	// entered; derived.
	AccessEnteredOn care.Day
}

// Site is a place with tanks.
type Site = resource.Row[SiteFields]

// Validate says what is wrong with the fields.
func (f SiteFields) Validate() error {
	var c Checks
	c.Text("/name", f.Name, 200, true)
	c.Text("/address/street", f.Address.Street, 200, false)
	c.Text("/address/postal_code", f.Address.PostalCode, 20, false)
	c.Text("/address/city", f.Address.City, 100, false)
	c.Text("/address/region", f.Address.Region, 100, false)
	c.Text("/address/country", f.Address.Country, 100, false)
	c.Point("/position", f.Position)
	c.Zone("/time_zone", f.TimeZone)
	c.Windows("/access_windows", f.AccessWindows)
	switch f.WaterMode {
	case Hauled, MixedOnSite, NoWater:
	default:
		c.Add("/water_mode", "must be hauled, mixed_on_site or none")
	}
	for _, n := range []struct {
		pointer  string
		v, limit int
	}{{"/carry_distance_m", f.CarryDistanceM, 5000}, {"/carry_floors", f.CarryFloors, 200}, {"/setup_minutes", f.SetupMinutes, 480}} {
		if n.v < 0 || n.v > n.limit {
			c.Add(n.pointer, "must be between 0 and %d", n.limit)
		}
	}
	return c.Err()
}

// NoAccess gives the weekdays that the access windows leave out, as bits 1
// (Monday) to 7; none when there are no windows.
func (f SiteFields) NoAccess() uint8 {
	if len(f.AccessWindows) == 0 {
		return 0
	}
	closed := uint8(0b1111_1110)
	for _, w := range f.AccessWindows {
		closed &^= 1 << w.Weekday
	}
	return closed
}

// AccessNotes say how to get in: for few eyes.
type AccessNotes struct {
	SiteID    uuid.UUID
	Version   int
	Notes     string
	UpdatedAt time.Time // zero when there are none
}

// ClosureFields says when a site, or with no site the organisation, is shut.
type ClosureFields struct {
	SiteID   uuid.UUID // Nil: the whole organisation
	From, To care.Day  // both included
	Reason   string
	// EnteredOn is the local day on which it was entered; derived.
	EnteredOn care.Day
}

// Closure is days without access.
type Closure = resource.Row[ClosureFields]

const longestClosure = 400

// Validate says what is wrong with the fields.
func (f ClosureFields) Validate() error {
	var c Checks
	c.Text("/reason", f.Reason, 500, false)
	if f.To < f.From {
		c.Add("/to", "must not be before from (%s)", f.From)
	} else if int(f.To-f.From) >= longestClosure {
		c.Add("/to", "a closure lasts at most %d days; pause the routines of a site that is out of service", longestClosure)
	}
	return c.Err()
}

// SiteFilter narrows a list of sites; a Nil field doesn't.
type SiteFilter struct{ Customer, ResponsibleMember uuid.UUID }

// ClosureFilter narrows a list of closures to a site and to those that touch
// the days From to To.
type ClosureFilter struct {
	Site     uuid.UUID
	From, To *care.Day
}
