package demo

import (
	"fmt"

	"tankward/service/care"
	"tankward/service/fleet"
	"tankward/service/stock"
)

// empty tanks hold no animals now.
func (t *tank) empty() bool {
	return t.Fields.Status == fleet.PausedTank || t.Fields.Status == fleet.Cycling
}

// stockUp puts animals into a tank, as its litres allow.
func (b *builder) stockUp(t *tank) error {
	if t.empty() {
		return nil
	}
	taken := map[string]bool{}
	for _, r := range having(b.tables.stock, "kind", string(t.Fields.Kind)) {
		sp, known := stock.ByCode(r["species"])
		if !known {
			return fmt.Errorf("no species %q", r["species"])
		}
		percent, err := r.whole("percent")
		if err != nil {
			return err
		}
		lives := t.chance(float64(percent))
		if !lives || !t.fits(sp) || r["set"] != "" && taken[r["set"]] {
			continue
		}
		taken[r["set"]] = true
		if err := b.animals(t, r, sp); err != nil {
			return err
		}
	}
	return nil
}

// fits says whether a tank is large enough for a species. In quarantine animals
// stay for weeks, in less.
func (t *tank) fits(sp stock.Species) bool {
	if t.Fields.Status == fleet.Fallow && sp.Group == stock.Fish {
		return false
	}
	if t.Fields.Kind == fleet.Quarantine {
		return true
	}
	f, ok := sp.Fact(stock.MinVolumeL)
	if !ok {
		return true
	}
	least := f.Value
	if least == nil {
		least = f.High
	}
	if least == nil {
		least = f.Low
	}
	return t.Fields.NetL >= *least
}

// animals makes an entry of livestock with its events.
func (b *builder) animals(t *tank, r row, sp stock.Species) error {
	least, err := r.whole("least")
	if err != nil {
		return err
	}
	most, err := r.whole("most")
	if err != nil {
		return err
	}
	arrived := b.begin + care.Day(t.between(-30, historyDays-40))
	state := stock.Settled
	switch {
	case t.Fields.Kind == fleet.Quarantine:
		arrived, state = b.today-care.Day(t.between(4, 26)), stock.InQuarantine
	case t.Fields.Kind == fleet.OtherTank && sp.Group == stock.Fish && t.chance(30):
		state = stock.AtRisk
	}
	f := stock.LivestockFields{
		TankID: t.ID, Species: stock.SpeciesID{Code: sp.Code}, Form: sp.Counting, Place: r["place"], State: state, ArrivedOn: arrived,
		Source: pick(t.dice, []string{"captive bred", "from another tank of ours", "wholesaler, after quarantine", "swap with a customer"}),
		Count:  t.between(least, most),
	}
	if cites, ok := sp.Fact(stock.CITESAppendix); ok {
		f.PermitRef = fmt.Sprintf("Appendix %s, paper %d/%03d", cites.Text, arrived.Time().Year(), t.between(1, 400))
	}
	at := b.at(arrived, t.between(9*60, 16*60))
	l := stock.Livestock{Meta: t.meta(at), Fields: f}
	b.event(t, &l, stock.Event{Kind: stock.Arrival, Day: arrived, Delta: f.Count})
	b.laterEvents(t, &l, sp)
	b.org.Livestock = append(b.org.Livestock, l)
	return f.Validate()
}

// laterEvents lets animals grow, split and die now and then.
func (b *builder) laterEvents(t *tank, l *stock.Livestock, sp stock.Species) {
	arrived := l.Fields.ArrivedOn
	span := int(b.today-arrived) - 3
	if span < 30 {
		return
	}
	day := func() care.Day {
		return max(arrived, b.begin) + care.Day(t.between(20, max(20, int(b.today-max(arrived, b.begin))-3)))
	}
	switch {
	case l.Fields.Count > 1 && t.chance(16):
		b.event(t, l, stock.Event{Kind: stock.Death, Day: day(), Delta: -1, Reason: pick(t.dice, []string{"found dead in the morning", "old age", "jumped", "not seen for two weeks"})})
	case sp.Group == stock.Anemone && t.chance(40):
		b.event(t, l, stock.Event{Kind: stock.Split, Day: day(), Delta: 1, Reason: "split in the night"})
	case sp.Counting == stock.Colony && t.chance(20):
		b.event(t, l, stock.Event{Kind: stock.Split, Day: day(), Delta: 1, Reason: "fragment grown on beside the mother"})
	case sp.Code == "pterapogon-kauderni" && t.chance(50):
		b.event(t, l, stock.Event{Kind: stock.Birth, Day: day(), Delta: 3, Reason: "young seen between the spines"})
	case l.Fields.Count > 4 && t.chance(12):
		b.event(t, l, stock.Event{Kind: stock.Correction, Day: day(), Delta: -1, Reason: "counted again"})
	}
}

func (b *builder) event(t *tank, l *stock.Livestock, e stock.Event) {
	e.RecordedAt = b.at(e.Day, t.between(9*60, 17*60))
	if e.Kind == stock.Arrival {
		e.RecordedAt = l.CreatedAt
	} else {
		l.Fields.Count += e.Delta
		l.Version++
		l.UpdatedAt = e.RecordedAt
	}
	e.ID, e.LivestockID, e.Actor = t.id(e.RecordedAt), l.ID, t.site.by.ID
	b.org.Events = append(b.org.Events, e)
}
