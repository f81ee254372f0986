package demo

import (
	"math"
	"time"

	"tankward/service/care"
	"tankward/service/fleet"
	"tankward/service/work"
)

// measures says what each test of the ready sets measures.
var measures = map[string][]string{
	"temperature_salinity": {"temperature", "salinity"},
	"reef_test":            {"alkalinity", "nitrate", "phosphate"},
	"calcium_magnesium":    {"calcium", "magnesium"},
	"alkalinity":           {"alkalinity"},
	"after_change":         {"alkalinity"},
	"fish_test":            {"nitrate", "ph", "alkalinity"},
	"ammonia_test":         {"total_ammonia", "ph", "temperature"},
	"ammonia_test_new":     {"total_ammonia", "ph", "temperature"},
}

// gauge is how a parameter behaves: where it lies, how far it swings over weeks,
// how far single readings lie apart, and what the instrument resolves.
type gauge struct {
	middle, swing, noise, step float64
	unit, method               string
}

// gauges hold ordinary values of kept tanks; common practice of the trade.
var gauges = map[string]gauge{
	"temperature":   {25.2, 0.5, 0.2, 0.1, "C", "probe"},
	"salinity":      {34.8, 0.4, 0.2, 0.1, "PSU", "conductivity meter"},
	"alkalinity":    {8.3, 0.5, 0.15, 0.1, "dKH", "titration"},
	"nitrate":       {8, 4, 1.2, 0.5, "mg/L", "colour kit"},
	"phosphate":     {0.06, 0.03, 0.01, 0.01, "mg/L", "photometer"},
	"calcium":       {425, 12, 6, 5, "mg/L", "titration"},
	"magnesium":     {1320, 30, 15, 10, "mg/L", "titration"},
	"ph":            {8.1, 0.1, 0.05, 0.05, "pH", "probe"},
	"total_ammonia": {0.08, 0.05, 0.02, 0.01, "mg/L", "photometer"},
}

// offsets move the middle for kinds of tanks that are kept otherwise.
var offsets = map[fleet.TankKind]map[string]float64{
	fleet.FishOnly:   {"salinity": -2.6, "nitrate": 26},
	fleet.Pond:       {"nitrate": 14},
	fleet.OtherTank:  {"temperature": -2.2},
	fleet.Quarantine: {"salinity": -2},
}

// measured gives the readings of a record that was a test.
func (t *tank) measured(r *work.Record) []work.Reading {
	c := t.course(r.RoutineID)
	if r.Result != care.Done {
		return nil
	}
	parameters := measures[c.key]
	if c.key == "reef_test" && t.Fields.Kind == fleet.SmallPolyp {
		parameters = []string{"calcium", "magnesium", "nitrate", "phosphate"}
	}
	var out []work.Reading
	for i, p := range parameters {
		taken := r.DoneAt.Add(time.Duration(i-len(parameters)) * time.Minute)
		out = append(out, work.Reading{
			ID: t.id(r.ReceivedAt), TankID: t.ID, Parameter: p, Value: t.value(p, *r.DoneOn), Unit: gauges[p].unit,
			TakenAt: taken, Method: gauges[p].method, RecordID: r.ID,
		})
	}
	return out
}

// value swings slowly around the tank's own middle.
func (t *tank) value(parameter string, day care.Day) float64 {
	g := gauges[parameter]
	own := float64(t.ID[15]) / 255 // of the tank, 0 to 1
	wave := math.Sin(2*math.Pi*(float64(day)/(60+40*own)+own)) + 0.5*math.Sin(2*math.Pi*float64(day)/17)
	v := g.middle + offsets[t.Fields.Kind][parameter] + g.swing*(own-0.5+0.6*wave) + g.noise*t.r.NormFloat64()
	return math.Max(0, math.Round(v/g.step)) * g.step
}
