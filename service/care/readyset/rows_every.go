package readyset

import "tankward/service/care"

// topUp is the key of the routine that is fitted to the tank's reservoir.
const topUp = "top_up"

// everyTank is what every tank needs, whatever lives in it.
var everyTank = set{
	rows: []row{
		{key: "look_over", name: "Look-over: head count, behaviour, temperature, level, flow, noise, leaks", kind: care.Inspection,
			by: "K", cadence: days(1), late: 1, minutes: 3, class: care.AnimalWelfare, note: "Take a photo if anything is odd."},
		{key: topUp, name: "Top-up reservoir refilled", kind: care.TopOff, by: "K/T", cadence: days(7), early: 3, minutes: 5,
			waits: atLeast(15, Free), class: care.WaterQuality,
			note: "RO/DI water only; 15 minutes of mixing before salinity is read. Measure the evaporation to fit the days to this tank."},
		{key: "temperature_salinity", name: "Temperature and salinity", kind: care.WaterTest,
			by: "T", cadence: days(7), early: 6, late: 2, minutes: 4, waits: atLeast(2, SameRoom), class: care.WaterQuality,
			note: "With an instrument in calibration; the probe settles 2 minutes."},
		{key: "heater_check", name: "Heater: lamp, thermostat against a reference thermometer, glass, cable, suckers", kind: care.EquipmentService,
			by: "T", cadence: days(30), early: 7, late: 7, minutes: 5, waits: between(15, 60, SameRoom), class: care.LifeSupport,
			unless: []Part{Heater}, note: "A glass heater cools 15 minutes before it meets air, and is off for an hour at most."},
		{key: "rcd_test", name: "Residual-current device (RCD, GFCI) tripped and reset", kind: care.EquipmentService,
			by: "T", cadence: days(30), early: 14, late: 14, minutes: 5, waits: exactly(10, AtTank), class: care.LifeSupport,
			note: "With the customer's consent; local code first. Life support must restart unaided: watch 10 minutes. Faults are for an electrician."},
		{key: "backup_test", name: "Battery air or backup pump run under load", kind: care.EquipmentService,
			by: "T", cadence: days(30), early: 7, late: 7, minutes: 12, waits: exactly(10, SameRoom), class: care.LifeSupport,
			unless: []Part{BackupPump}, note: "Have a spare battery along."},
		{key: "pump_strip", name: "Return pump, wavemakers, overflow teeth: stripped and soaked", kind: care.EquipmentService,
			by: "T", cadence: days(90), early: 14, late: 21, minutes: 30, waits: between(20, 45, Free), class: care.Upkeep,
			materials: []Material{piece("citric acid or vinegar")}, unless: []Part{ReturnPump, Wavemaker},
			note: "One pump a visit, never all. Soak, rinse with fresh water; brush and spare impeller."},
		{key: "top_off_sensor", name: "Top-off sensor and float cleaned, overfill stop tried", kind: care.EquipmentService,
			by: "T", cadence: days(30), early: 7, late: 7, minutes: 6, class: care.LifeSupport, unless: []Part{TopOff}, note: "Watch one fill."},
		{key: "plugs_hoses", name: "Salt creep, plugs, drip loops, hoses, clamps", kind: care.EquipmentService,
			by: "T", cadence: days(30), early: 7, late: 14, minutes: 8, class: care.Upkeep},
		{key: "carbon", name: "Carbon changed", kind: care.OtherWork, by: "T", cadence: days(28), early: 7, late: 7, minutes: 6, class: care.Upkeep,
			materials: []Material{piece("bag of carbon by litres of tank")}, onlyIf: Carbon, note: "Rinse it with RO/DI water."},
		{key: "lamps", name: "Ageing lamps changed", kind: care.EquipmentService,
			by: "T", cadence: months(9), early: 30, late: 30, minutes: 15, class: care.Upkeep,
			materials: []Material{piece("lamp set")}, onlyIf: AgeingLamps, note: "Then a light ramp from 70 to 100 % over 14 days."},
		{key: "dosing_lines", name: "Dosing lines and pump calibration", kind: care.EquipmentService,
			by: "T", cadence: days(90), early: 14, late: 14, minutes: 15, class: care.WaterQuality, unless: []Part{Doser},
			materials: []Material{piece("tubing")}, note: "Millilitres a run into a measuring cylinder."},
		{key: "ph_probe", name: "pH probe in two buffers", kind: care.EquipmentService,
			by: "T", cadence: days(30), early: 7, late: 7, minutes: 10, waits: append(atLeast(2, SameRoom), atLeast(2, SameRoom)...),
			class: care.WaterQuality, materials: []Material{piece("fresh pH 7 and pH 10 buffer")}, unless: []Part{PHProbe},
			note: "Two minutes in each buffer; a probe lasts 12 to 18 months."},
		{key: "water_maker_filters", name: "Water maker: sediment and carbon cartridges changed", kind: care.EquipmentService,
			by: "S/T", cadence: months(6), minutes: 30, class: care.WaterQuality, materials: []Material{piece("sediment and carbon cartridges")},
			onlyIf: WaterMaker, note: "Sooner when the pressure drop is over 1 bar. Let the first 20 L run off; chlorine strip after the carbon."},
		{key: "water_maker_membrane", name: "Water maker: membrane changed", kind: care.EquipmentService,
			by: "S/T", cadence: months(24), minutes: 30, class: care.WaterQuality, materials: []Material{piece("membrane")},
			onlyIf: WaterMaker, note: "Sooner when it rejects less than 95 %. Let the first 20 L run off."},
	},
	left: []LeftOut{
		{"Refractometer or conductivity meter against a 35 standard", "Due in each week the meter is used: it belongs to the meter, not to a tank."},
		{"Dissolved solids of each batch of RO/DI water", "Due after each use of the water maker."},
		{"DI resin changed", "Due by reading: when the product water is over 1 to 2 mg/L."},
		{"Light ramp after a change of lamps or light", "Due after each change: make the ramp then."},
		{"Checks 1, 3, 7, 14 and 28 days after an arrival", "Due after an addition."},
		{"PO4, alkalinity and a look 1 and 3 days after new carbon or phosphate remover", "Due after each change of media."},
	},
}
