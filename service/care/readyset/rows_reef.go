package readyset

import "tankward/service/care"

// softMixed is the tank of soft and large-polyp stony corals.
var softMixed = set{
	rows: []row{
		// 10 % a week; the sheet's other way is 20 % every 14 days, 3/5.
		{key: waterChange, name: "Water change 10 %", kind: care.WaterChange, by: "T", cadence: days(7), early: 2, late: 3, minutes: 30,
			waits: atLeast(15, SameRoom), class: care.WaterQuality, materials: []Material{salt(10)},
			note: "Batch within 1 °C and 1 of salinity of the tank; the sump settles 15 minutes after the refill."},
		// 3-7 d: the weekly change lies inside the range, so the sock follows it.
		{key: "filter_sock", name: "Filter sock changed", kind: care.FilterSockChange, by: "K/T", cadence: afterChange(5, 15), late: 2, minutes: 4,
			class: care.Upkeep, materials: []Material{sock("size and mesh of this tank")}, note: "After the siphoning, when the flow is back. A clogged sock overflows."},
		{key: "target_feeding", name: "Target feeding of large-polyp corals", kind: care.TargetFeeding, by: "T/K", cadence: afterChange(20, visitMinutes),
			late: 4, minutes: 12, waits: between(10, 15, SameRoom), class: care.Upkeep, materials: []Material{food("meaty pieces of 2-6 mm")},
			note: "Flow held 10 to 15 minutes. Last in the visit; no siphon for 30 minutes after it."},
		{key: "fish_feeding", name: "Fish fed", kind: care.Feeding, by: "K", cadence: days(1), late: 1, minutes: 3, class: care.AnimalWelfare, part: "morning",
			materials: []Material{food("pellets, or thawed and rinsed frozen food")}, note: "Never doubled after a missed day."},
		{key: "reef_test", name: "Alkalinity, NO3, PO4", kind: care.WaterTest, by: "T", cadence: days(7), early: 2, late: 4, minutes: 15, class: care.WaterQuality,
			note: "Samples first, titrate in the waits; kits in date."},
		{key: "calcium_magnesium", name: "Ca and Mg", kind: care.WaterTest, by: "T", cadence: days(28), early: 7, late: 14, minutes: 12, class: care.Upkeep,
			note: "Kits in date."},
		{key: "glass", name: "Glass and skimmer cup cleaned", kind: care.GlassCleaning, by: "K/T", cadence: days(3), early: 3, late: 3, minutes: 10,
			waits: between(5, 10, Free), class: care.Upkeep, note: "Before the siphoning: debris settles 5 to 10 minutes. No metal on acrylic."},
		{key: "trim", name: "Invasive mats trimmed, pest check with a torch", kind: care.OtherWork, by: "T", cadence: days(28), early: 7, late: 14, minutes: 15,
			class: care.Upkeep, note: "Gloves and eye protection: palytoxin."},
	},
}

// smallPolyp is the tank of small-polyp stony corals.
var smallPolyp = set{
	rows: []row{
		{key: waterChange, name: "Water change 10 %", kind: care.WaterChange, by: "T", cadence: days(7), early: 2, late: 3, minutes: 30,
			waits: atLeast(15, SameRoom), class: care.WaterQuality, materials: []Material{salt(10)},
			note: "A tested batch, its alkalinity within 1 dKH of the tank's."},
		{key: "dosing_look", name: "Dosing containers, calcium reactor and CO2 looked at", kind: care.Dosing, by: "K/T", cadence: eachVisit(), minutes: 10,
			class: care.WaterQuality, unless: []Part{Doser, CO2}, note: "At least 10 days ahead; stock labelled and less than 30 days old."},
		// 2-3 d; by a probe where there is one.
		{key: "alkalinity", name: "Alkalinity", kind: care.WaterTest, by: "T/K", cadence: days(2), early: 1, late: 1, minutes: 6, class: care.WaterQuality,
			note: "Kit that tells 0.1 to 0.2 dKH apart."},
		{key: "reef_test", name: "Ca, Mg, NO3, PO4", kind: care.WaterTest, by: "T", cadence: days(7), early: 2, late: 3, minutes: 20, class: care.WaterQuality,
			note: "Samples first; kits in date."},
		// 3-5 d: shorter than the week of the change, so not joined to it.
		{key: "filter_sock", name: "Filter sock or fleece changed", kind: care.FilterSockChange, by: "T", cadence: days(3), early: 1, late: 2, minutes: 4,
			class: care.Upkeep, materials: []Material{sock("size and mesh of this tank")}, note: "On the day of a water change after the siphoning."},
		{key: "blow_off", name: "Rocks blown off, glass cleaned", kind: care.GlassCleaning, by: "T", cadence: days(7), early: 2, late: 3, minutes: 15,
			waits: atLeast(10, Free), class: care.Upkeep, note: "Before the siphoning, with the pumps on."},
		{key: "pest_check", name: "Pest check at night light", kind: care.Inspection, by: "T", cadence: days(28), early: 7, late: 7, minutes: 15,
			class: care.AnimalWelfare, note: "Torch and dip kit: bites of flatworms, eggs of nudibranchs."},
		{key: "wavemaker_clean", name: "Wavemakers cleaned deeply", kind: care.EquipmentService, by: "T", cadence: days(90), early: 14, late: 21, minutes: 20,
			class: care.Upkeep, unless: []Part{Wavemaker}},
		{key: "ppfd_map", name: "PPFD map", kind: care.Inspection, by: "T", cadence: days(180), early: 14, late: 21, minutes: 20, class: care.Upkeep,
			note: "With the light meter."},
	},
	left: []LeftOut{
		{"Alkalinity daily while doses are being set", "Due after each change of a dose."},
		{"Pest check weekly in the first 8 weeks after an addition", "Due after an addition."},
	},
}

// anemoneTank is the tank of anemones with clownfish.
var anemoneTank = set{
	rows: []row{
		{key: waterChange, name: "Water change 10 %", kind: care.WaterChange, by: "T", cadence: days(7), early: 2, late: 3, minutes: 25,
			waits: atLeast(15, SameRoom), class: care.WaterQuality, materials: []Material{salt(10)},
			note: "No siphon within 10 cm of the foot. Batch within 1 °C and 1 of salinity of the tank."},
		{key: "anemone_look_new", name: "Anemone look, daily at first", kind: care.Inspection, by: "K/T", cadence: days(1), late: 1, minutes: 2,
			class: care.AnimalWelfare, until: 27, note: "Foot attached, mouth closed, place unchanged, guards on."},
		{key: "anemone_look", name: "Anemone look at each visit", kind: care.Inspection, by: "K/T", cadence: eachVisit(), late: 1, minutes: 2,
			class: care.AnimalWelfare, from: 28, note: "Foot attached, mouth closed, place unchanged, guards on."},
		// 7-10 d: the weekly change lies inside the range.
		{key: "anemone_feeding", name: "Anemone fed", kind: care.TargetFeeding, by: "T/K", cadence: afterChange(20, visitMinutes), late: 5, minutes: 8,
			waits: between(10, 15, SameRoom), class: care.Upkeep, materials: []Material{food("shrimp or fish pieces no larger than the mouth")},
			note: "Skip it if the anemone is deflated or gaping. Clownfish first; flow held 15 minutes at most."},
		{key: "fish_feeding", name: "Fish fed", kind: care.Feeding, by: "K", cadence: days(1), late: 1, minutes: 3, class: care.AnimalWelfare, part: "morning",
			materials: []Material{food("small foods")}, note: "Never doubled after a missed day."},
		{key: "reef_test", name: "Salinity within 0.5, alkalinity, NO3", kind: care.WaterTest, by: "T", cadence: days(7), early: 2, late: 2, minutes: 12,
			class: care.WaterQuality, note: "Kits in date."},
		{key: "guards", name: "Pump guards and overflow guard cleaned", kind: care.EquipmentService, by: "T", cadence: days(14), early: 3, late: 3, minutes: 8,
			class: care.LifeSupport, materials: []Material{piece("spare foam or mesh")}, note: "Wavemaker off."},
	},
}
