package demo

import (
	"fmt"
	"strings"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/fleet"
)

// site is a place with what decides when somebody comes.
type site struct {
	fleet.Site
	key    string
	plan   string // weekly, fortnightly or shop
	now    string // how the plan stands today
	keeper string
	marks  bool // the keeper keeps record of what was done
	by     *person
	access care.Access
	visits []visit
}

// places makes customers, sites, their notes and closures.
func (b *builder) places() error {
	customers := map[string]uuid.UUID{"": uuid.Nil}
	for i, r := range having(b.tables.sites, "org", b.code) {
		at := b.at(b.begin-50, 9*60+i)
		if _, known := customers[r["customer"]]; !known {
			c := fleet.Customer{Meta: b.meta(at), Fields: fleet.CustomerFields{
				Name: r["customer"], ContactName: r["contact"], Phone: fmt.Sprintf("+44 1632 960%03d", b.between(100, 999)),
			}}
			customers[r["customer"]] = c.ID
			b.org.Customers = append(b.org.Customers, c)
		}
		s, err := b.place(r, customers[r["customer"]])
		if err != nil {
			return fmt.Errorf("%s: %w", r["name"], err)
		}
		s.Meta = b.meta(at)
		b.sites = append(b.sites, s)
		b.org.Sites = append(b.org.Sites, s.Site)
		if note := notes[r["access"]]; note != "" {
			b.org.Notes = append(b.org.Notes, fleet.AccessNotes{SiteID: s.ID, Version: 1, Notes: fmt.Sprintf(note, r["contact"]), UpdatedAt: at})
		}
	}
	b.closures()
	for i := range b.sites {
		b.sites[i].access = b.accessOf(&b.sites[i])
		b.planVisits(&b.sites[i])
	}
	return nil
}

func (b *builder) place(r row, customer uuid.UUID) (site, error) {
	position, err := r.position("at")
	if err != nil {
		return site{}, err
	}
	by, err := b.member(r["by"])
	if err != nil {
		return site{}, err
	}
	floors, err := r.whole("floors")
	if err != nil {
		return site{}, err
	}
	carry, err := r.whole("carry_m")
	if err != nil {
		return site{}, err
	}
	f := fleet.SiteFields{
		Name: r["name"], CustomerID: customer, Position: *position, TimeZone: Zone, WaterMode: fleet.WaterMode(r["water"]),
		Address:           fleet.Address{Street: r["street"], PostalCode: postalCodes[r["town"]], City: r["town"], Region: "Merrow Coast"},
		AccessWindows:     hours[r["access"]],
		ResponsibleMember: by.ID, CarryDistanceM: carry, CarryFloors: floors, SetupMinutes: 5, AccessEnteredOn: b.begin - 50,
	}
	s := site{
		Site: fleet.Site{Fields: f}, key: r["key"], plan: r["plan"], now: r["now"], by: by,
		keeper: strings.Trim(r["keeper"], "()"), marks: !strings.HasPrefix(r["keeper"], "("),
	}
	return s, f.Validate()
}

var postalCodes = map[string]string{"Ostermere": "MC1", "Quillhaven": "MC4", "Low Tarn": "MC7"}

// notes say how to get in; the contact's name is filled in.
var notes = map[string]string{
	"office": "Badge at the front desk; ask for %s. Goods lift behind the bicycle room.",
	"clinic": "Ring at the side door, never through the waiting room with buckets. Contact: %s.",
	"eats":   "Kitchen entrance, before the guests come. %s has the key to the water cupboard.",
	"school": "Sign in at the office, visitor badge. %s meets you at the gate.",
}

// hours are the access windows.
var hours = map[string][]fleet.Window{
	"office": window(8*60, 17*60, 1, 2, 3, 4, 5),
	"clinic": append(window(7*60+30, 18*60, 1, 2, 3, 4, 5), window(8*60, 12*60, 6)...),
	"shop":   window(9*60, 18*60, 1, 2, 3, 4, 5, 6),
	"eats":   window(9*60, 16*60, 2, 3, 4, 5, 6, 7),
	"school": window(7*60, 15*60+30, 1, 2, 3, 4, 5),
}

func window(from, to int, weekdays ...int) []fleet.Window {
	var out []fleet.Window
	for _, w := range weekdays {
		out = append(out, fleet.Window{Weekday: w, From: from, To: to})
	}
	return out
}

// shut are the closures of sites, the empty key for the whole organisation;
// days count from the day of the demo.
var shut = map[string][]struct {
	site              string
	entered, from, to care.Day
	reason            string
}{
	"business": {
		{"", -200, -121, -119, "company days"},
		{"riverschool", -120, -75, -62, "school holidays"},
		{"aldercounsel", -60, -41, -36, "office moves within the house"},
		{"lilybank", -33, -30, -26, "ward is painted"},
		{"ferrysouth", -20, -2, 4, "quay wall is repaired"},
		{"nursery", -15, -4, 20, "new floor, nobody may walk on it"},
		{"softworks", -6, 9, 12, "fire alarm is replaced"},
		{"", -40, 25, 26, "stocktaking"},
	},
	"club": {
		{"townmuseumannex", -100, -52, -49, "museum sets up an exhibition"},
		{"communityhall", -12, 6, 8, "village fair"},
	},
}

func (b *builder) closures() {
	for _, c := range shut[b.code] {
		f := fleet.ClosureFields{From: b.today + c.from, To: b.today + c.to, Reason: c.reason, EnteredOn: b.today + c.entered}
		for i := range b.sites {
			if b.sites[i].key == c.site {
				f.SiteID = b.sites[i].ID
			}
		}
		b.org.Closures = append(b.org.Closures, fleet.Closure{Meta: b.meta(b.at(f.EnteredOn, 11*60)), Fields: f})
	}
}

// accessOf gives what can move the work of a site.
func (b *builder) accessOf(s *site) care.Access {
	a := care.Access{NoAccess: s.Fields.NoAccess(), NoAccessEntered: s.Fields.AccessEnteredOn}
	for _, c := range b.org.Closures {
		if c.Fields.SiteID == uuid.Nil || c.Fields.SiteID == s.ID {
			a.Closures = append(a.Closures, care.Closure{Span: care.Span{From: c.Fields.From, To: c.Fields.To + 1}, Entered: c.Fields.EnteredOn})
		}
	}
	return a
}

// open says whether one gets in on a day.
func (s *site) open(d care.Day) bool {
	if s.access.NoAccess>>d.Weekday()&1 == 1 {
		return false
	}
	for _, c := range s.access.Closures {
		if c.Covers(d) {
			return false
		}
	}
	return true
}
