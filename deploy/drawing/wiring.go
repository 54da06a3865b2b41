package drawing

// All gives every drawing by its file name.
func All() map[string]string {
	return map[string]string{
		"wiring-whole.svg":       whole(),
		"wiring-inputs.svg":      inputs(),
		"wiring-outputs.svg":     outputs(),
		"wiring-pulsed-line.svg": pulsedLine(),
	}
}

// whole shows what hangs on what.
func whole() string {
	s := newSheet("What hangs on what: extra-low voltage", 1000, 720)
	s.box(380, 70, 240, 120, "Single-board computer", "supply of its own, 5 V", "3.3 V lines; I2C, at most 1 m", "box closed against dust,", "outside the air stream")
	s.box(40, 70, 220, 90, "Supply for the servos", "5 to 6 V, current of those that", "move at once, at stall; own fuse;", "return joined at the servo board")
	s.box(40, 230, 220, 90, "Servo board, 16 channels", "logic 3.3 V from the computer", "servo rail from its own supply", "1000 uF across the rail")
	s.box(40, 400, 220, 80, "Servos at the gates", "three wires, twisted; longer than", "2 m: thicker wire, ferrite")
	s.box(380, 270, 240, 90, "Converter, 4 inputs", "3.3 V from the computer", "inputs stay within 0 to 3.3 V", "see the drawing of the inputs")
	s.box(380, 430, 240, 80, "Current clamps, pressure taps", "twisted pairs, away from motor", "wires; 100 nF at the converter")
	s.box(720, 70, 240, 90, "Limit switches, buttons", "to 3.3 V or return, as the file", "says; twisted pairs; 10 kohm,", "100 nF at the board")
	s.box(720, 200, 240, 80, "Lamp and horn", "transistor each, 12 or 24 V,", "fused; diode across a horn's coil")
	s.box(720, 320, 240, 70, "Pulsed start line", "its own drawing; a relay for a", "24 V coil")
	s.closed(550, 540, 430, 165, "MAINS, closed box: licensed electrician, local code",
		"disconnect, lockable when off; short-circuit and overload release",
		"contactor, AC-3 at the motor's full-load current, 24 V coil",
		"HAND SWITCH (hand - off - automatic): works without this program",
		"coil suppressed at the coil (RC or varistor, as the maker says)",
		"auxiliary contacts: disconnect open; contactor's mirror contact",
		"motor's current clamp, fitted with the supply off")
	s.wire("power", 150, 160, 150, 230)
	s.wire("pair", 150, 320, 150, 400)
	s.wire("pair", 380, 170, 300, 170, 300, 275, 260, 275)
	s.words(268, 164, "small", "I2C, 3.3 V")
	s.wire("pair", 500, 190, 500, 270)
	s.words(508, 235, "small", "I2C, 3.3 V")
	s.wire("pair", 500, 360, 500, 430)
	s.wire("pair", 620, 115, 720, 115)
	s.wire("wire", 620, 140, 660, 140, 660, 240, 720, 240)
	s.wire("wire", 620, 160, 640, 160, 640, 355, 720, 355)
	s.wire("pair", 840, 390, 840, 540)
	s.words(850, 470, "small", "24 V coil circuit")
	s.wire("pair", 500, 510, 500, 620, 550, 620)
	s.words(330, 640, "small", "clamps; auxiliary contacts")
	s.words(330, 656, "small", "(extra-low voltage only)")
	s.words(20, 580, "plain", "Dashed: twisted pair. Thick: servo current.")
	s.words(20, 602, "plain", "The metal of ducts, collector and boxes is")
	s.words(20, 620, "plain", "bonded and earthed by the electrician.")
	s.words(20, 650, "warn", "No safety function, no emergency stop.")
	s.words(20, 690, "plain", "Take the servos' supply away before you reach into a gate.")
	return s.svg()
}

// inputs shows one of each input, with values.
func inputs() string {
	s := newSheet("Inputs: a clamp, a switch, a pressure tap", 960, 520)
	s.words(20, 70, "name", "Clamp with a voltage output (burden inside), or with a burden resistor at the converter")
	s.box(20, 90, 150, 70, "Clamp", "around ONE conductor", "fitted with supply off")
	s.wire("pair", 170, 110, 330, 110)
	s.words(190, 102, "small", "twisted pair")
	s.wire("wire", 330, 110, 560, 110)
	s.wire("pair", 170, 145, 330, 145)
	s.wire("wire", 330, 145, 330, 180, 400, 180)
	s.dot(400, 110)
	s.wire("wire", 400, 110, 400, 120)
	s.resistor(400, 120, true, "burden, if none inside")
	s.dot(400, 180)
	s.box(560, 85, 170, 50, "Converter input", "100 nF to return")
	s.wire("wire", 400, 180, 620, 180)
	s.dot(620, 180)
	s.resistor(620, 180, true, "10 kohm")
	s.ground(620, 240)
	s.capacitor(720, 180, true, "10 uF")
	s.wire("wire", 620, 180, 720, 180)
	s.ground(720, 240)
	s.wire("wire", 560, 180, 560, 200)
	s.dot(560, 180)
	s.resistor(540, 200, true, "10 kohm")
	s.wire("wire", 540, 200, 560, 200)
	s.words(470, 276, "small", "to 3.3 V: middle of the supply")
	s.words(20, 240, "plain", "A 2000:1 clamp of 100 A on 3.3 V: 22 ohm, 11 mV/A.")
	s.words(20, 258, "plain", "Its wires are never open while current flows,")
	s.words(20, 276, "plain", "unless the burden is inside.")
	s.words(20, 330, "name", "Limit switch, button, contact")
	s.words(30, 362, "small", "3.3 V")
	s.wire("wire", 70, 358, 90, 358)
	s.resistor(90, 358, false, "10 kohm")
	s.dot(160, 358)
	s.wire("wire", 150, 358, 330, 358)
	s.wire("wire", 160, 358, 160, 380)
	s.capacitor(160, 380, true, "100 nF")
	s.ground(160, 440)
	s.dot(260, 358)
	s.wire("pair", 260, 358, 260, 420)
	s.words(270, 396, "small", "switch, twisted pair")
	s.ground(260, 430)
	s.wire("wire", 260, 420, 260, 430)
	s.box(330, 335, 130, 46, "Line", "active: low")
	s.words(520, 330, "name", "Pressure tap")
	s.box(520, 345, 180, 80, "Transducer, 0 to 5 V", "0.5 V at no pressure", "hole of 2 mm, no burr,", "in a straight run of duct")
	s.wire("pair", 700, 385, 730, 385)
	s.resistor(730, 385, false, "10 kohm")
	s.dot(800, 385)
	s.wire("wire", 790, 385, 840, 385)
	s.resistor(800, 385, true, "18 kohm")
	s.ground(800, 445)
	s.box(840, 345, 100, 46, "Converter", "0 to 3.2 V")
	s.words(20, 500, "warn", "Extra-low voltage only. The box that the clamp's conductor runs in: licensed electrician, local code.")
	return s.svg()
}

// outputs shows a relay gate, a lamp and a horn.
func outputs() string {
	s := newSheet("Outputs: an actuator's relays, lamp, horn", 960, 460)
	s.words(20, 70, "name", "Linear actuator or motor, both directions")
	s.box(20, 90, 150, 70, "Board", "line `open`, active high", "line `close`, active high")
	s.wire("wire", 170, 110, 250, 110)
	s.wire("wire", 170, 145, 250, 145)
	s.box(250, 90, 220, 80, "Two relay drivers", "10 kohm from each line to return:", "off while the board boots", "diode across each coil, reversed")
	s.wire("wire", 470, 130, 540, 130)
	s.box(540, 90, 200, 80, "Change-over contacts", "both at rest: motor shorted,", "no current; rated for the", "motor's stall, DC")
	s.wire("pair", 740, 130, 790, 130)
	s.box(790, 90, 150, 80, "Actuator", "12 or 24 V, fused", "its own limit", "switches inside")
	s.words(20, 220, "name", "Lamp, horn")
	s.box(20, 240, 150, 60, "Board", "line, active high")
	s.wire("wire", 170, 270, 200, 270)
	s.resistor(200, 270, false, "1 kohm")
	s.wire("wire", 260, 270, 300, 270)
	s.dot(280, 270)
	s.resistor(280, 270, true, "10 kohm")
	s.ground(280, 330)
	s.box(370, 240, 180, 70, "N-channel transistor", "logic level, twice the", "current of lamp or horn")
	s.wire("wire", 300, 270, 370, 270)
	s.wire("pair", 550, 270, 630, 270)
	s.box(630, 240, 200, 70, "Lamp or horn", "12 or 24 V, fused", "diode across it, reversed")
	s.words(20, 390, "plain", "Long wires to coils run twisted and apart from those of clamps and buses. A relay module that is on when its line is low")
	s.words(20, 408, "plain", "clicks while the board boots: use one that is on when the line is high.")
	s.words(20, 440, "warn", "Extra-low voltage only. Relay contacts carry no motor at mains voltage: licensed electrician, local code.")
	return s.svg()
}
