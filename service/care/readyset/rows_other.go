package readyset

import "tankward/service/care"

// fishOnly is the marine tank without corals.
var fishOnly = set{
	rows: []row{
		{key: waterChange, name: "Water change 15 %", kind: care.WaterChange, by: "T", cadence: days(14), early: 3, late: 5, minutes: 35,
			class: care.WaterQuality, materials: []Material{salt(15)}, note: "Salinity may be 30 to 34: its own batch."},
		{key: "body_check", name: "Body check: spots, breathing, fins, appetite", kind: care.Inspection, by: "T", cadence: eachVisit(), late: 2, minutes: 5,
			class: care.AnimalWelfare, note: "In normal light and before hands go in; take a photo."},
		{key: "fish_feeding", name: "Fish fed", kind: care.Feeding, by: "K", cadence: days(1), late: 1, minutes: 4, class: care.AnimalWelfare, part: "morning",
			materials: []Material{food("mixed diet")}, note: "Greens daily for grazers, vitamins once a week. Never doubled after a missed day."},
		{key: "fish_test", name: "NO3, pH, alkalinity", kind: care.WaterTest, by: "T", cadence: days(14), early: 3, late: 7, minutes: 12, class: care.WaterQuality,
			note: "Kits in date."},
		// 3-7 d: shorter than the two weeks of the change, so not joined to it.
		{key: "filter_sock", name: "Filter sock or pads changed", kind: care.FilterSockChange, by: "T/K", cadence: days(3), early: 2, late: 2, minutes: 5,
			class: care.Upkeep, materials: []Material{sock("sock or pad of this tank")}, note: "On the day of a water change after the siphoning."},
		{key: "gravel", name: "Gravel siphoned, half the bed", kind: care.OtherWork, by: "T", cadence: days(14), early: 3, late: 7, minutes: 20,
			class: care.WaterQuality, note: "The other half next time."},
		{key: "skimmer", name: "Skimmer cup and neck", kind: care.EquipmentService, by: "T/K", cadence: days(3), early: 2, late: 3, minutes: 5,
			class: care.WaterQuality, unless: []Part{Skimmer}},
	},
	left: []LeftOut{
		{"Large predators fed 2 to 3 times a week", "It depends on the fish; the set feeds daily. Change the feeding's cadence for a tank of predators."},
	},
}

// quarantine is the bare tank for new and sick fish.
var quarantine = set{
	rows: []row{
		{key: waterChange, name: "Water change 25 %, re-dosed to level", kind: care.WaterChange, by: "S", cadence: days(2), late: 1, minutes: 20,
			class: care.LifeSupport, materials: []Material{salt(25)}, note: "Match salinity, temperature and medicine. Own bucket, siphon and net."},
		{key: "ammonia_test_new", name: "TAN, pH, temperature, daily at first", kind: care.WaterTest, by: "K/S", cadence: days(1), minutes: 8,
			class: care.LifeSupport, until: 13, note: "After an ammonia binder trust no reading unless the kit says so. Binder and water ready."},
		{key: "ammonia_test", name: "TAN, pH, temperature", kind: care.WaterTest, by: "K/S", cadence: days(2), minutes: 8,
			class: care.LifeSupport, from: 14, note: "After an ammonia binder trust no reading unless the kit says so. Binder and water ready."},
		{key: "medicine_level", name: "Medicine level", kind: care.WaterTest, by: "S", cadence: days(1), minutes: 8, class: care.LifeSupport, onlyIf: Medicine,
			note: "With the kit for that form: ionic copper is not chelated copper. Also before and after each dose."},
		{key: "feeding_morning", name: "Fish fed in the morning", kind: care.Feeding, by: "K/S", cadence: days(1), minutes: 8, class: care.AnimalWelfare, part: "morning",
			waits: exactly(10, SameRoom), materials: []Material{food("small portion, medicated by course")}, note: "What is uneaten comes out after 10 minutes."},
		{key: "feeding_evening", name: "Fish fed in the evening", kind: care.Feeding, by: "K/S", cadence: days(1), minutes: 8, class: care.AnimalWelfare, part: "evening",
			waits: exactly(10, SameRoom), materials: []Material{food("small portion, medicated by course")}, note: "What is uneaten comes out after 10 minutes."},
		{key: "observe_morning", name: "Fish observed in the morning, photo", kind: care.Inspection, by: "S", cadence: days(1), minutes: 5, class: care.AnimalWelfare, part: "morning"},
		{key: "observe_evening", name: "Fish observed in the evening, photo", kind: care.Inspection, by: "S", cadence: days(1), minutes: 5, class: care.AnimalWelfare, part: "evening"},
	},
	left: []LeftOut{
		{"Water change when a reading asks for it", "Due by reading; the set changes water every 2 days at the latest."},
		{"Release test", "Due by what is seen: after 28 to 30 days without a sign."},
		{"Gear disinfected and dried for 24 hours", "Due after each use."},
	},
}

// clubDisplay is the display tank that volunteers share; its minutes are those of
// an 800 L tank.
var clubDisplay = set{
	covers: "look_over",
	rows: []row{
		{key: waterChange, name: "Service morning: tests, glass, change 10 %, sock", kind: care.WaterChange, by: "K", cadence: days(7), early: 2, late: 2, minutes: 120,
			class: care.WaterQuality, part: "morning", materials: []Material{salt(10), sock("size and mesh of this tank")}, skill: "change", sheetL: sheetClubL,
			note: "Two volunteers; the batch is mixed the evening before. Samples first, sock after the siphoning, feed last."},
		{key: "trainee", name: "Signed-off volunteer with every trainee", kind: care.OtherWork, by: "K", cadence: eachVisit(), class: care.LifeSupport,
			note: "Sign-off record with date and assessor for look-over, feeding, change, dosing, chemicals, livestock."},
		{key: "feeding_look_over", name: "Fed and looked over by one named person", kind: care.Feeding, by: "K", cadence: days(1), minutes: 8, class: care.AnimalWelfare,
			part: "morning", materials: []Material{food("portioned, dated pack")}, skill: "feeding", sheetL: sheetClubL,
			note: "Record it at once: double feeding is a club's commonest fault. A claim lapses at 12:00."},
		{key: "public_area", name: "Public-area round: lids locked, leads out of reach, floor dry", kind: care.Inspection, by: "K", cadence: days(1), minutes: 3,
			class: care.LifeSupport, skill: "look-over", sheetL: sheetClubL},
		{key: "pruning", name: "Corals pruned, swap fragments made", kind: care.OtherWork, by: "K", cadence: days(28), early: 7, late: 14, minutes: 30, class: care.Upkeep,
			skill: "livestock", sheetL: sheetClubL, note: "Two volunteers. Gloves, labels, CITES papers."},
		{key: "stock_count", name: "Stock counted", kind: care.Inspection, by: "K", cadence: days(90), early: 7, late: 14, minutes: 30, class: care.Upkeep,
			skill: "livestock", sheetL: sheetClubL, note: "Two volunteers. CITES papers at hand."},
	},
}
