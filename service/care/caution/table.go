package caution

import "tankward/service/mark"

// The codes of the cautions.
const (
	Electricity     = "electricity"
	Palytoxin       = "palytoxin"
	VenomousSpines  = "venomous_spines"
	Stings          = "stings"
	SharpSpines     = "sharp_spines"
	CopperWater     = "copper_water"
	Chemicals       = "chemicals"
	CarbonDioxide   = "carbon_dioxide"
	UltravioletLamp = "ultraviolet_lamp"
	Ozone           = "ozone"
	Medicine        = "medicine"
	Wounds          = "wounds"
	DevicesLeftOff  = "devices_left_off"
	RunningWater    = "running_water"
	Lifting         = "lifting"
	GlassFailure    = "glass_failure"
	LoneWork        = "lone_work"
	ToxinWhenDead   = "toxin_when_dead"
	FoulsWhenDead   = "fouls_when_dead"
	Permit          = "permit"
	Invasive        = "invasive"
	NeverRelease    = "never_release"
	WasteWater      = "waste_water"
	SickAnimal      = "sick_animal"
	Estimate        = "estimate"
)

// scope says with which work a caution of an animal is shown.
type scope uint8

const (
	always  scope = iota
	handsIn       // whenever hands go into the water
	handled       // when animals arrive, are cut, moved or given away
	looked        // when somebody looks after the animals' health
)

// entry is a caution with its scope.
type entry struct {
	Caution
	scope scope
}

const (
	practice  = mark.CommonPractice
	published = mark.Published
	memory    = mark.FromMemory
)

// table holds every built-in caution, those that can kill a person first; this
// is also the order in which they are shown.
var table = []entry{
	{Caution{Electricity, "Before hands go in: devices unplugged, or on a residual-current device (RCD, GFCI) that has been tested; " +
		"a drip loop below every plug; plugs dry and free of salt. The local electrical code decides, and fixed wiring is for a licensed electrician.",
		practice, "common practice; local electrical code"}, handsIn},
	{Caution{Palytoxin, "Zoanthids live here; their palytoxin can poison through cuts, eyes and breath. Gloves and eye protection; air the room; never scrub, " +
		"boil, burn or dry them out. Cough, fever, a metallic taste, weakness or muscle pain, even hours later: leave the room, call poison control " +
		"or the emergency number and name palytoxin.",
		published, "Hamade et al. 2015, MMWR 64:852; J. Med. Toxicol. 2013, 9:282; Pelin et al. 2016, Mar. Drugs 14:33"}, handsIn},
	{Caution{VenomousSpines, "An animal with venomous spines lives here. Know where it is before hands go in, use a tool or a container instead of the hand, " +
		"and do not trust gloves: spines go through them. After a sting get medical help at once; trouble breathing or collapse is an emergency.",
		practice, ""}, handsIn},
	{Caution{Stings, "Stinging animals live here. Cover hands and forearms, keep hands away from the face and rinse with seawater. " +
		"A spreading rash, or any trouble breathing: medical help at once.",
		practice, ""}, handsIn},
	{Caution{SharpSpines, "A fish with blades or sharp spines lives here: keep hands out of its way and catch it with a container, not with a net or the hand.",
		memory, ""}, handsIn},
	{Caution{CopperWater, "This water is or was treated. Copper kills most invertebrates in traces: own buckets, hoses and nets, nothing of it into another tank, " +
		"and the waste goes where the local waste-water rules allow it, never outdoors.",
		published, "Yanong, UF/IFAS Extension FA165; local waste-water rules"}, always},
	{Caution{Chemicals, "Read the safety data sheet first. Goggles and gloves; add the salt or the acid to the water, slowly, as it heats up; " +
		"never mix acids with bleach, nor one concentrate with another; label every bottle; keep caustic lime, acids, bleach and formalin apart from animals and food.",
		practice, "safety data sheet of the product"}, always},
	{Caution{CarbonDioxide, "A carbon dioxide cylinder stands upright and strapped, in the room and in the van; keep the air moving. " +
		"Headache, dizziness or fast breathing: out into the open, then open the doors.",
		practice, "safety data sheet of the gas"}, always},
	{Caution{UltravioletLamp, "Switch the ultraviolet lamp off and unplug it before its housing is opened; never look into it lit, nor let it shine on skin.",
		practice, ""}, always},
	{Caution{Ozone, "Switch the ozone generator off and air the room first. If you smell ozone, leave until the smell has gone.",
		practice, ""}, always},
	{Caution{Medicine, "Medicine only as its label or a veterinarian says, by prescription where the law asks for one, and never with " +
		"animals in the tank that it harms. Gloves; keep it away from food and out of drains.",
		practice, "label of the product; local law"}, always},
	{Caution{Wounds, "Do not go in with cuts on hands or arms: Mycobacterium marinum enters by them, Vibrio too. Waterproof gloves, never start a siphon by mouth, wash " +
		"with clean water after. A lump or sore that will not heal: tell the doctor about the tank. Redness that spreads fast, with fever: an emergency. " +
		"With a liver disease or weak immunity: keep out of the water.",
		published, "Aubry et al. 2002, Arch. Intern. Med. 162:1746; Johnson and Stout 2015; Vibrio: CDC, from memory"}, handsIn},
	{Caution{DevicesLeftOff, "Whatever was switched off or opened is written down with the time by which it must be restored, and checked before leaving: " +
		"without flow a stocked tank soon runs short of oxygen.",
		practice, ""}, always},
	{Caution{RunningWater, "Never leave a running siphon or an open fill: one person, one of them at a time. Fill no more than stands ready, and know what the sump can take.",
		practice, ""}, always},
	{Caution{Lifting, "20 L of seawater and its can weigh about 21.5 kg; 23 kg is the most for one person under ideal conditions, less on stairs or away from the body. " +
		"Carry smaller cans, use a trolley, or be two.",
		published, "Waters et al. 1993; NIOSH 94-110, revised 2021"}, always},
	{Caution{GlassFailure, "Look at panes, seams and stand before leaning or putting weight on them. A weeping seam or a crack: stop, move people and plugs away, " +
		"lower the water, call for help. Broken glass and blades cut under water too.",
		practice, ""}, always},
	{Caution{LoneWork, "If you are alone, somebody must know where you are and when you will be done; no ladder, heavy load or strong chemical without that.",
		practice, ""}, always},
	{Caution{ToxinWhenDead, "An animal lives here whose poison can kill the tank if it is hurt or dies. Missing or dead: take it out at once, carbon, water change, tell the coordinator.",
		practice, ""}, looked},
	{Caution{FoulsWhenDead, "An animal lives here that fouls the water fast when it dies. Missing or dead: take it out at once, carbon, water change, tell the coordinator.",
		practice, ""}, looked},
	{Caution{Permit, "A protected species: keep permit, invoice or proof of captive breeding with its record, also for fragments and offspring that are given away. " +
		"The lists change; the current one and the local law decide.",
		published, "stony corals: CITES AC22 Inf. 8; giant clams and seahorses: from memory"}, handled},
	{Caution{Invasive, "An invader where it is not native: never let it, its fragments or its water get out. Keeping, moving or selling it may be forbidden; the local law decides.",
		memory, "EU 1143/2014; US Lacey Act; national lists"}, handled},
	{Caution{NeverRelease, "Never release animals, algae, rock, sand or untreated water into nature or a storm drain. Rehome them, or have a veterinarian say how " +
		"they are killed humanely; disinfect before disposal.",
		practice, "local invasive-species law"}, handled},
	{Caution{WasteWater, "Tank water goes into the sewer or back into the van, never into nature or a storm drain.",
		practice, "local waste-water rules"}, always},
	{Caution{SickAnimal, "The service gives estimates. A sick animal needs an aquatic veterinarian; what you see and measure counts more than any model.",
		practice, ""}, looked},
	{Caution{Estimate, "Computed amounts are estimates, and a dose has a limit for one day: measure first, dose on the mixed water, never make up for a missed dose.",
		practice, ""}, always},
}
