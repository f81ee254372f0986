// Package readyset holds the ready sets of routines by kind of tank: what the
// trade does, how often, by whom and in how many minutes. Everything in it is
// common practice without a published authority; an organisation changes what
// it does otherwise.
//
// The rules by which the trade's sheet becomes routines:
//
//   - "each visit, at most N days" is an interval of N days, N-1 early.
//   - A range of days, percent or times a day is its first number.
//   - "each visit" alone is joined to the tank's water change.
//   - What is due after each use, by a reading or after an addition is no
//     routine: it is left out, and the answer says so.
//   - A class that rises with the delay is its first one.
//   - Days early stay below the interval.
//   - "T/K" and "K/T" are the first letter, but what comes between two water
//     changes and may be done by the keeper is the keeper's, so that nobody
//     drives out for it; and what is joined to a technician's water change is the
//     technician's.
//   - A row of two works with two cadences is two routines that share its minutes.
//
// The links within a visit follow the trade's default, feeding last: the water
// change is the anchor, the sock follows when the flow is back (5 to 15 minutes),
// target feeding after the sock and 15 minutes of watching. Feeding first, with
// the water change 30 to 120 minutes later, is the other order. It isn't used
// here: a link points forward in time, so the water change would hang on
// a feeding that may rightly be skipped, and would stop when nobody records it.
package readyset

import (
	"tankward/service/care"
	"tankward/service/fleet"
	"tankward/service/mark"
)

// Part names what a tank may use or lack: an equipment kind, or one of those
// below that are no equipment kind.
type Part string

// The parts that decide on a routine.
const (
	ReturnPump  Part = "return_pump"
	Wavemaker   Part = "wavemaker"
	Heater      Part = "heater"
	Skimmer     Part = "skimmer"
	TopOff      Part = "top_off"
	Doser       Part = "doser"
	CO2         Part = "co2"
	Carbon      Part = "carbon"
	AgeingLamps Part = "ageing_lamps" // fluorescent or halide
	PHProbe     Part = "ph_probe"
	BackupPump  Part = "backup_pump" // a pump or air pump on a battery
	WaterMaker  Part = "water_maker" // makes RO/DI water for this tank alone
	Medicine    Part = "medicine"    // a course is under way
)

// Lacking gives the parts that a tank lacks whose equipment is recorded: those
// equipment kinds that decide on a routine and are not among the recorded. For
// a tank without recorded equipment nothing is known to be lacking.
func Lacking(equipmentKinds []string) []Part {
	if len(equipmentKinds) == 0 {
		return nil
	}
	has := map[Part]bool{}
	for _, k := range equipmentKinds {
		has[Part(k)] = true
	}
	var lacks []Part
	for _, p := range []Part{ReturnPump, Wavemaker, Heater, Skimmer, TopOff, Doser, CO2} {
		if !has[p] {
			lacks = append(lacks, p)
		}
	}
	return lacks
}

// TankFacts is what is known of the tank. The zero value is a tank of which
// nothing is known: the minutes are then those of the sheet.
type TankFacts struct {
	NetL      float64
	Reservoir *Reservoir // nil when its litres are unknown
	Uses      []Part     // known to be there
	Lacks     []Part     // known not to be there
}

// Reservoir is the top-up water of a tank.
type Reservoir struct {
	UsableL            float64
	EvaporationLPerDay float64
}

// Draft is a routine that is not yet saved.
type Draft struct {
	Key                 string // unique in the set
	Name                string
	Kind                care.WorkKind
	Performer           care.Performer
	Cadence             Cadence
	DaysEarly, DaysLate int
	Class               care.Class
	PartOfDay           string // any, morning or evening
	ActiveMinutes       int    // hands-on, for this tank's litres
	Waits               []Wait
	Materials           []Material
	Skill               string
	// StartsAfterDays and EndsAfterDays count from the day on which the set is
	// applied: its first day is that day + StartsAfterDays, its last that day +
	// EndsAfterDays; no last day when EndsAfterDays is 0.
	StartsAfterDays, EndsAfterDays int
	Note                           string // how, in a few words
	Mark                           mark.Mark
}

// Cadence is a draft's cadence: an interval, or joined to another draft.
type Cadence struct {
	Kind   care.CadenceKind
	Every  int       // interval
	Unit   care.Unit // interval
	Parent string    // joined: the key of an earlier draft of the set
	Gap    care.Gap  // joined
}

// Presence says where the worker may be during a wait.
type Presence string

// The presences.
const (
	Free     Presence = "free"
	SameRoom Presence = "same_room"
	AtTank   Presence = "at_tank"
)

// Wait is a pause in the work.
type Wait struct {
	MinMinutes, MaxMinutes int
	Presence               Presence
}

// Material is what one piece of the work uses up.
type Material struct {
	Material string // salt_water, fresh_water, filter_sock, food or other
	Label    string
	Quantity float64
	Unit     string // l, percent_of_net, piece, g or ml
}

// LeftOut is work of the sheet that the set does not make due, and why.
type LeftOut struct {
	Name   string
	Reason string
}

// For gives the ready set of a kind of tank: drafts in an order in which each
// parent comes before what is joined to it, and what was left out. A pond,
// any other tank and an unknown kind get what every tank needs.
func For(kind fleet.TankKind, facts TankFacts) ([]Draft, []LeftOut) {
	own := byKind[kind]
	b := builder{facts: facts, change: changeOf(own.rows)}
	for _, r := range own.rows {
		b.add(r)
	}
	for _, r := range everyTank.rows {
		if r.key == own.covers {
			b.leave(r.name, "It is part of the set's own daily round, which one named person does.")
			continue
		}
		b.add(r)
	}
	b.left = append(b.left, own.left...)
	b.left = append(b.left, everyTank.left...)
	return b.drafts, b.left
}
