package demo

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"tankward/service/access"
	"tankward/service/care"
	"tankward/service/fleet"
	"tankward/service/tx"
)

// builder makes one organisation.
type builder struct {
	code  string // of the organisation in the tables
	seed  uint64
	today care.Day
	begin care.Day // the first day of the history
	loc   *time.Location
	tables
	dice
	org   Org
	crew  []person // members, in the order of the table
	sites []site
	tanks []*tank
}

func newBuilder(code string, seed uint64, today care.Day, t tables) *builder {
	return &builder{
		code: code, seed: seed, today: today, begin: today - historyDays, loc: fleet.Location(Zone),
		tables: t, dice: newDice(seed, code),
	}
}

// organisations says who they are.
var organisations = map[string]fleet.OrganisationFields{
	"business": {Name: "Lanternwick Tank Care", Kind: "business", TimeZone: Zone},
	"club":     {Name: "Saltmarsh Lane Reef Circle", Kind: "club", TimeZone: Zone},
}

func (b *builder) build() (Org, error) {
	founded := b.at(b.begin-60, 9*60)
	b.org.Organisation = fleet.Organisation{Meta: b.meta(founded), Fields: organisations[b.code]}
	for _, step := range []func() error{b.people, b.places, b.water, b.history} {
		if err := step(); err != nil {
			return Org{}, fmt.Errorf("%s: %w", b.code, err)
		}
	}
	return b.org, nil
}

// at gives the instant at which clocks show so many minutes after midnight.
func (b *builder) at(d care.Day, minutes int) time.Time {
	y, m, day := d.Time().Date()
	return time.Date(y, m, day, 0, minutes, 0, 0, b.loc).UTC()
}

// person is a member with the weekdays on which they work.
type person struct {
	access.Member
	weekdays map[int]bool // ISO
}

func (p *person) works(d care.Day) bool { return p.weekdays[d.Weekday()] }

// people makes the members. The rota turns with the day of the demo, so that
// there is work to look at on whatever weekday that is.
func (b *builder) people() error {
	for i, r := range having(b.tables.people, "org", b.code) {
		p, err := b.person(r, b.at(b.begin-60, 10*60+i))
		if err != nil {
			return fmt.Errorf("%s: %w", r["name"], err)
		}
		b.crew = append(b.crew, p)
		b.org.Members = append(b.org.Members, p.Member)
	}
	return nil
}

func (b *builder) person(r row, at time.Time) (person, error) {
	p := person{Member: access.Member{Meta: b.meta(at)}, weekdays: map[int]bool{}}
	f := access.MemberFields{Name: r["name"], Role: tx.Role(r["role"]), TimeZone: Zone}
	if f.Role != tx.Integration {
		f.Email = strings.ToLower(strings.ReplaceAll(f.Name, " ", ".")) + "@example.org"
		f.Phone = fmt.Sprintf("+44 1632 960%03d", b.between(100, 999))
	}
	if r["skills"] != "" {
		f.Skills = strings.Split(r["skills"], ",")
	}
	var err error
	if f.StartPosition, err = r.position("at"); err != nil {
		return p, err
	}
	f.EndPosition = f.StartPosition
	if f.Vehicle, err = r.vehicle(); err != nil {
		return p, err
	}
	if r["days"] != "" {
		if f.Shifts, err = b.shifts(r, p.weekdays); err != nil {
			return p, err
		}
	}
	p.Fields = f
	return p, f.Validate()
}

func (b *builder) shifts(r row, weekdays map[int]bool) ([]fleet.Window, error) {
	days, err := numbers(r["days"], ",")
	if err != nil {
		return nil, err
	}
	from, err := r.minutes("from")
	if err != nil {
		return nil, err
	}
	to, err := r.minutes("to")
	if err != nil {
		return nil, err
	}
	var out []fleet.Window
	for _, n := range days {
		weekday := (b.today + care.Day(n)).Weekday()
		weekdays[weekday] = true
		out = append(out, fleet.Window{Weekday: weekday, From: from, To: to})
	}
	slices.SortFunc(out, func(x, y fleet.Window) int { return x.Weekday - y.Weekday })
	return out, nil
}

func (r row) vehicle() (*access.Vehicle, error) {
	if r["vehicle"] == "" {
		return nil, nil //nolint:nilnil // no vehicle
	}
	name, load, _ := strings.Cut(r["vehicle"], ":")
	n, err := numbers(load, ":")
	if err != nil || len(n) != 3 {
		return nil, fmt.Errorf("%q is no vehicle", r["vehicle"])
	}
	return &access.Vehicle{Name: name, PayloadKG: &n[0], SaltWaterL: &n[1], FreshWaterL: &n[2]}, nil
}

// member finds a member by name.
func (b *builder) member(name string) (*person, error) {
	for i := range b.crew {
		if b.crew[i].Fields.Name == name {
			return &b.crew[i], nil
		}
	}
	return nil, fmt.Errorf("there is no member %q", name)
}

// withRole gives the members of a role.
func (b *builder) withRole(role tx.Role) []*person {
	var out []*person
	for i := range b.crew {
		if b.crew[i].Fields.Role == role {
			out = append(out, &b.crew[i])
		}
	}
	return out
}
