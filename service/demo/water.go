package demo

import (
	"fmt"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/fleet"
)

// tank is a tank with its site and what is done to it.
type tank struct {
	fleet.Tank
	site    *site
	light   uuid.UUID
	kinds   []string // of its equipment
	courses []*course
	dice
}

// water makes the tanks with their equipment, animals and routines.
func (b *builder) water() error {
	for i := range b.sites {
		s := &b.sites[i]
		for _, r := range having(b.tables.tanks, "site", s.key) {
			t, err := b.tank(s, r)
			if err != nil {
				return fmt.Errorf("%s, %s: %w", s.key, r["name"], err)
			}
			b.tanks = append(b.tanks, t)
		}
	}
	for _, t := range b.tanks {
		b.equip(t)
		if err := b.stockUp(t); err != nil {
			return fmt.Errorf("%s, %s: %w", t.site.key, t.Fields.Name, err)
		}
		if err := b.plan(t); err != nil {
			return fmt.Errorf("%s, %s: %w", t.site.key, t.Fields.Name, err)
		}
		b.org.Tanks = append(b.org.Tanks, t.Tank)
	}
	return nil
}

func (b *builder) tank(s *site, r row) (*tank, error) {
	shape, err := r.shape()
	if err != nil {
		return nil, err
	}
	sump, err := r.whole("sump_l")
	if err != nil {
		return nil, err
	}
	d := newDice(b.seed, b.code, s.key, r["name"])
	started := b.begin - care.Day(d.between(60, 1500))
	f := fleet.TankFields{
		SiteID: s.ID, Name: r["name"], Kind: fleet.TankKind(r["kind"]), Status: fleet.Established, Shape: shape,
		SumpL: float64(sump), DisplacementL: float64(int(shape.GrossL() * rockShare[fleet.TankKind(r["kind"])])),
		Targets: targets[fleet.TankKind(r["kind"])], StartedOn: &started,
	}
	changed(&f, s.key, b.today)
	f.NetL = f.Net()
	made := b.at(b.begin-45, d.between(9*60, 16*60))
	t := &tank{Tank: fleet.Tank{Meta: d.meta(made), Fields: f}, site: s, dice: d}
	return t, f.Validate()
}

// rockShare is the part of a tank that rock and sand take up; common practice.
var rockShare = map[fleet.TankKind]float64{
	fleet.SoftMixed: 0.12, fleet.SmallPolyp: 0.1, fleet.AnemoneTank: 0.12, fleet.FishOnly: 0.08, fleet.ClubDisplay: 0.12, fleet.Pond: 0.05,
}

// changed gives single tanks a status of their own.
func changed(f *fleet.TankFields, site string, today care.Day) {
	switch site + " " + f.Name {
	case "gardenwest Sale tank 3":
		f.Status, f.Note = fleet.PausedTank, "Empty and dry until the new rack is built."
	case "gardenwest Sale tank 2":
		f.Status, f.Note = fleet.Fallow, "Fallow after white spot; the fish are in quarantine."
	case "workshop Hospital tub":
		f.Status = fleet.Cycling
	case "heron Lobby reef":
		f.Note = "New lamps, raised step by step."
	}
	if f.Kind == fleet.Quarantine {
		began := today - quarantineDays
		f.StartedOn = &began
	}
}

// band makes a target.
func band(parameter string, low, high float64) fleet.Target {
	return fleet.Target{Parameter: parameter, Low: &low, High: &high}
}

// Where each kind of tank should be kept; common practice of the trade.
var (
	reefTargets = []fleet.Target{
		band("temperature", 24, 26.5), band("salinity", 34, 36), band("alkalinity", 7.5, 9.5),
		band("calcium", 400, 450), band("magnesium", 1250, 1400), band("nitrate", 1, 15), band("phosphate", 0.02, 0.12),
	}
	targets = map[fleet.TankKind][]fleet.Target{
		fleet.SoftMixed: reefTargets, fleet.SmallPolyp: reefTargets, fleet.AnemoneTank: reefTargets, fleet.ClubDisplay: reefTargets,
		fleet.FishOnly:   {band("temperature", 24, 27), band("salinity", 30, 34), band("ph", 7.9, 8.4), band("nitrate", 1, 60)},
		fleet.Pond:       {band("temperature", 23, 26.5), band("salinity", 33, 36), band("nitrate", 1, 40)},
		fleet.Quarantine: {band("temperature", 24, 26), band("salinity", 30, 35), band("total_ammonia", 0, 0.2)},
		fleet.OtherTank:  {band("temperature", 22, 24), band("salinity", 34, 36)},
	}
)

// device is a piece of equipment that a tank may have.
type device struct {
	kind, label string
	watts       float64 // for 300 L; 0 leaves it out
	atLeastL    float64
}

var devices = map[fleet.TankKind][]device{
	fleet.SoftMixed: {
		{"light", "Lamp over the reef", 120, 0}, {"return_pump", "Return pump", 30, 120}, {"wavemaker", "Wavemaker left", 12, 0},
		{"heater", "Heater", 200, 0}, {"skimmer", "Skimmer", 20, 150}, {"filter", "Filter sock holder", 0, 150}, {"top_off", "Top-off", 5, 180},
	},
	fleet.SmallPolyp: {
		{"light", "Lamps over the reef", 250, 0}, {"return_pump", "Return pump", 40, 0}, {"wavemaker", "Wavemaker left", 20, 0},
		{"wavemaker", "Wavemaker right", 20, 0}, {"heater", "Heater", 250, 0}, {"skimmer", "Skimmer", 30, 0}, {"filter", "Fleece filter", 15, 0},
		{"top_off", "Top-off", 5, 0}, {"doser", "Doser, three heads", 10, 0}, {"chiller", "Chiller", 300, 500},
	},
	fleet.AnemoneTank: {
		{"light", "Lamp over the anemones", 110, 0}, {"return_pump", "Return pump, guarded", 25, 0}, {"heater", "Heater, guarded", 150, 0},
		{"skimmer", "Skimmer", 15, 200}, {"top_off", "Top-off", 5, 200},
	},
	fleet.FishOnly: {
		{"light", "Lamp", 60, 0}, {"return_pump", "Return pump", 35, 0}, {"heater", "Heater", 250, 0}, {"skimmer", "Skimmer", 30, 0},
		{"uv", "Ultraviolet clarifier", 36, 300}, {"top_off", "Top-off", 5, 250},
	},
	fleet.Quarantine: {{"heater", "Heater", 100, 0}, {"filter", "Air-driven sponge", 0, 0}},
	fleet.Pond: {
		{"light", "Daylight spots", 150, 0}, {"return_pump", "Return pump", 60, 0}, {"heater", "Heater", 400, 0}, {"skimmer", "Skimmer", 60, 0},
		{"fill_valve", "Fill valve", 0, 0}, {"uv", "Ultraviolet clarifier", 55, 0},
	},
	fleet.OtherTank: {{"light", "Lamp", 50, 0}, {"return_pump", "Return pump, slow", 15, 0}, {"heater", "Heater", 100, 0}},
	fleet.ClubDisplay: {
		{"light", "Lamps over the reef", 200, 0}, {"return_pump", "Return pump", 40, 0}, {"wavemaker", "Wavemaker left", 20, 0},
		{"wavemaker", "Wavemaker right", 20, 0}, {"heater", "Heater", 300, 0}, {"skimmer", "Skimmer", 35, 0},
		{"top_off", "Top-off", 5, 0}, {"feeder", "Feeder for the holidays", 5, 0},
	},
}

// equip gives a tank its equipment.
func (b *builder) equip(t *tank) {
	for _, v := range devices[t.Fields.Kind] {
		if t.Fields.NetL < v.atLeastL {
			continue
		}
		e := fleet.Equipment{Meta: t.meta(t.CreatedAt), Fields: fleet.EquipmentFields{
			TankID: t.ID, Kind: v.kind, Label: v.label, InstalledOn: t.Fields.StartedOn,
		}}
		if v.watts > 0 {
			w := float64(int(v.watts * (0.4 + 0.6*t.Fields.NetL/300)))
			e.Fields.PowerW = &w
		}
		if v.kind == "light" {
			t.light = e.ID
		}
		t.kinds = append(t.kinds, v.kind)
		b.org.Equipment = append(b.org.Equipment, e)
	}
}
