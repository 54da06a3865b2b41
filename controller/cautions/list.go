package cautions

// Sheets and verbs that several cautions name.
const (
	run, ready, jog, learn, listen, fit = Place("verb/run"), Place("verb/ready"), Place("verb/jog"), Place("verb/learn"), Place("verb/listen"), Place("verb/fit")
	halt, finish, doctor, restore       = Place("verb/halt"), Place("verb/finish"), Place("verb/doctor"), Place("verb/restore")
	survey, takeoff, draft              = Place("verb/survey"), Place("verb/takeoff"), Place("verb/new")

	parts, wiring, commissioning, upkeep, plugged = Place("sheet/parts"), Place("sheet/wiring"), Place("sheet/commissioning"), Place("sheet/upkeep"), Place("sheet/plugged-duct")
	measuring, everythingOpen, homeAutomation     = Place("sheet/measuring-air"), Place("sheet/everything-open"), Place("sheet/home-automation")
)

// List is every caution, in the order in which they are printed.
var List = []Caution{
	{
		Key: "function", Title: "No safety function, no emergency stop.",
		Text:    "This program switches a dust collector and moves gates for comfort and clean air; nothing in it stops a machine or keeps a person from harm. Guards, emergency stops, overload and disconnects are hardware and work without it.",
		Brief:   "No emergency stop: use the one at the machine.",
		Decides: "whoever answers for the machines",
		Source:  "29 CFR 1910.147(b): control circuits are not energy isolating devices",
		Met:     []Place{run, ready, halt, finish, wiring, commissioning, homeAutomation},
	},
	{
		Key: "mains", Title: "Mains is an electrician's work.",
		Text:    "Everything at mains voltage (contactor, overload, disconnect, hand switch, sockets) is fitted by a licensed electrician under the local code. Only extra-low voltage is drawn here.",
		Decides: "the licensed electrician and the local code",
		Source:  "common practice",
		Met:     []Place{doctor, takeoff, draft, parts, wiring, commissioning},
	},
	{
		Key: "starts", Title: "The collector starts without warning.",
		Text:    "Put a sign on it. Before anybody opens a bin, filter, fan, gate or duct: switch off and lock the disconnect, then wait until the wheel stands.",
		Brief:   "Collector and gates may move at any time without warning.",
		Decides: "whoever opens it, and whoever answers for the place of work",
		Source:  "29 CFR 1910.147 (control of hazardous energy)",
		Met:     []Place{run, ready, learn, fit, doctor, wiring, commissioning, upkeep, plugged, measuring, everythingOpen, homeAutomation},
	},
	{
		Key: "no-volt", Title: "Machines need a no-volt release of their own.",
		Text:    "When power returns, a machine whose switch stayed on would start by itself. This program cannot stop it.",
		Decides: "the machine's maker and the electrician",
		Source:  "29 CFR 1910.213(b)(3)",
		Met:     []Place{learn, draft, parts, commissioning},
	},
	{
		Key: "pinch", Title: "Gates move without warning, and pinch.",
		Text:    "A servo or an air cylinder shuts a slide with the force to hurt a finger. Keep hands out of the slide, and take the actuator's supply away before you clear it.",
		Brief:   "Keep hands out of the gate: it moves at once.",
		Decides: "whoever puts a hand there",
		Source:  "common practice",
		Met:     []Place{run, ready, jog, restore, wiring, commissioning, upkeep, plugged, measuring},
	},
	{
		Key: "explosion", Title: "Fine wood dust is explosible, whatever the shop's size.",
		Text:    "A cloud of it in a filter, a bin or a room needs only one spark. What your shop must have is not decided by its size.",
		Decides: "the authority, the fire service and the insurer",
		Source:  "HSE woodworking sheet 32; scope of NFPA 664 1.1.2 (2012), read in a secondary copy",
		Met:     []Place{draft, parts, commissioning, upkeep},
	},
	{
		Key: "sparks", Title: "Nothing hot, and no metal, into the collector.",
		Text:    "No sparks, nails or swarf, grinding dust, embers, hot ash or solvent vapour: not by a machine, not by a floor sweep, not by hand.",
		Decides: "whoever works there",
		Source:  "UFC 3-410-04N (2004) 7-2 and 7-5",
		Met:     []Place{draft, commissioning, upkeep, plugged},
	},
	{
		Key: "fire", Title: "Fire.",
		Text:    "Empty the bin into a covered metal container outdoors, keep a watch after work, and leave nothing running unattended. On smoke leave the collector shut, leave the building, call the fire service.",
		Decides: "the fire service and the insurer",
		Source:  "HSE woodworking sheet 23: such fires usually start in dust extraction equipment; the rest common practice",
		Met:     []Place{run, commissioning, upkeep, plugged, homeAutomation},
	},
	{
		Key: "static", Title: "Static.",
		Text:    "Every conductive part of a duct, and the collector's frame, is bonded and earthed. Plastic pipe does not conduct, and a conductor along it drains only what it touches; the code or the insurer may ask for metal.",
		Decides: "the licensed electrician, the code and the insurer",
		Source:  "UFC 3-410-04N (2004) 7-4.4; whether a conductor along plastic helps is disputed",
		Met:     []Place{takeoff, draft, parts, wiring, commissioning, upkeep},
	},
	{
		Key: "make-up-air", Title: "Make-up air: carbon monoxide kills without a smell.",
		Text:    "A collector that blows outdoors can pull the exhaust gas of a heater, boiler, stove or fireplace into the room. Give the air that leaves an inlet, hang up a carbon monoxide alarm, and have every such appliance tested by a licensed technician with the collector running.",
		Decides: "the licensed heating technician",
		Source:  "National Research Council Canada, intent statements of the building code on depressurization; common practice",
		Met:     []Place{survey, draft, commissioning, measuring, everythingOpen},
	},
	{
		Key: "returned-air", Title: "Returned air.",
		Text:    "A collector that blows back into the room returns the dust that its filter lets through, and a leaking filter returns all of it. Whether air may be returned, through which filter, is not for this program to say.",
		Decides: "the exposure limits where you work, and who inspects them",
		Source:  "common practice; the limits differ by country (OSHA, HSE, TRGS 553)",
		Met:     []Place{survey, draft, commissioning, upkeep},
	},
	{
		Key: "lungs", Title: "Lungs.",
		Text:    "Extraction does not replace a respirator: hoods miss dust, above all at hand tools, lathes and while you empty the bin. Wood dust can cause asthma and cancer.",
		Decides: "whoever breathes it; at work, the employer",
		Source:  "HSE woodworking sheet 23; NIOSH lists wood dust as a carcinogen",
		Met:     []Place{survey, commissioning, upkeep, plugged},
	},
	{
		Key: "hearing", Title: "Hearing.",
		Text:    "A collector is loud enough to hurt, and with hearing protection on you do not hear it, or a machine, start. Fit a lamp where you look.",
		Decides: "whoever works there; at work, the employer",
		Source:  "common practice",
		Met:     []Place{draft, parts, commissioning},
	},
	{
		Key: "visitors", Title: "Children, pupils, visitors, animals.",
		Text:    "They do not know what starts by itself. Keep them away from gates, sweeps, collector and machines, or take the shop off duty first.",
		Decides: "whoever opens the door",
		Source:  "common practice",
		Met:     []Place{run, commissioning},
	},
	{
		Key: "openings", Title: "Open inlets pull.",
		Text:    "A relief inlet or a floor sweep needs a grille against fingers, cables and rags, and takes no metal.",
		Decides: "whoever fits it",
		Source:  "UFC 3-410-04N (2004) 7-5 on metal; common practice",
		Met:     []Place{draft, parts, commissioning, everythingOpen},
	},
	{
		Key: "weight", Title: "A plugged duct is heavy, a shut-in one can collapse.",
		Text:    "Metres of pipe full of chips weigh more than their hangers were made for, and thin pipe caves in when everything is shut. Support a duct before you take it apart.",
		Decides: "whoever hangs the ducts",
		Source:  "common practice",
		Met:     []Place{takeoff, commissioning, plugged},
	},
	{
		Key: "electronics", Title: "Electronics stay outside the air stream.",
		Text:    "No board, servo, switch or joint of a wire inside a duct or where dust settles on it; close the box, blow nothing through it.",
		Decides: "whoever fits it, and the electrician",
		Source:  "common practice: nothing read endorses electronics in dust-laden air",
		Met:     []Place{takeoff, draft, parts, wiring, commissioning},
	},
	{
		Key: "clamps", Title: "Clamps are fitted with the supply off.",
		Text:    "Around one conductor, by whoever may open that box; relay boards and sockets carry only the motors they are rated for. A clamp's secondary is never opened while current flows: without its burden it makes a dangerous voltage.",
		Decides: "the licensed electrician",
		Source:  "OpenEnergyMonitor's test report on 100 A clamps; common practice",
		Met:     []Place{takeoff, learn, listen, parts, wiring, commissioning},
	},
	{
		Key: "afar", Title: "Who stands at the machine?",
		Text:    "A request over the network, or duty that begins by itself after power-up, moves things where nobody may be looking. Allow only what you would do with your eyes shut.",
		Decides: "whoever answers for the place of work",
		Source:  "IEC 60204-1 on unexpected start, read in a secondary copy",
		Met:     []Place{run, ready, draft, commissioning, homeAutomation},
	},
	{
		Key: "permits", Title: "Permits, landlord, insurer.",
		Text:    "Ducts through walls, outdoor outlets and electrical work may need a permit, and the insurer may ask. In a workplace or a school, whoever fits this has duties towards those who work there.",
		Decides: "the authority, the landlord, the insurer, the employer or the school",
		Source:  "common practice",
		Met:     []Place{draft, parts, commissioning},
	},
}
