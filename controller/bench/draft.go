package bench

import (
	"fmt"
	"strings"
)

// Draft is what a person has told of a shop that has no file yet. Quantities are texts with their units, as they will
// stand in the file; "" is not known.
type Draft struct {
	Shop, Units string // metric or us
	Mover       string // servo, motor or hand
	Sense       string // clamp, contact, button or none
	Starter     bool   // the program switches the collector
	Main        []DraftSection
	MainSize    string
	Wall        string
	Fan         *DraftFan
	Power       string // of the collector's motor
	Poles       int
	Phases      int
	Machines    []DraftMachine
}

// DraftSection is a run of the main pipe between two branches, the nearest to the collector first.
type DraftSection struct{ Length string }

// DraftFan is what a fan's label says.
type DraftFan struct{ Inlet, Shutoff, FreeFlow string }

// DraftMachine is a machine with its branch.
type DraftMachine struct {
	Name    string
	Sweep   bool   // a floor sweep: it has no motor
	Section int    // of the main, where its branch leaves it
	Size    string // inside diameter of its pipe and hose
	Length  string // of the pipe from the main to the gate
	Hose    string // from the gate to the machine; "" for none
	Elbows  int
	Airflow string
}

// Lines of the usual boards that are free for a draft's buttons and contacts: none is a bus's or high at boot, and the
// start line's is left out.
var draftLines = []int{22, 23, 24, 25, 26, 27, 5, 6, 12, 13, 16, 19, 20, 21}

// Bounds of a draft: what one bus of servo boards and converters takes without a thought.
const (
	MostDrafted  = 16
	clampsOnChip = 4
)

// MostButtons is how many machines of a draft may have a line each.
var MostButtons = len(draftLines)

// judged reports whether the ducts are known.
func (d *Draft) judged() bool { return len(d.Main) > 0 }

// Text is the shop file. Whatever was assumed says so beside its value.
func (d *Draft) Text() string {
	var b strings.Builder
	p := func(format string, a ...any) { fmt.Fprintf(&b, format+"\n", a...) }
	p("# %s: a first shop file, made by `ductwarden new` from what was answered. It is yours: change it as you like, comments and", d.Shop)
	p("# order are kept by every verb. What was assumed says so. Next, in this order:")
	p("#   ductwarden check, survey and rehearse    need no metal")
	if d.Mover != "hand" {
		p("#   ductwarden jog GATE                      finds the ends of each gate: before `run`")
	}
	if d.Sense == "clamp" {
		p("#   ductwarden learn MACHINE                 finds running, idle and run_down: before `run`")
	}
	p("# Collector and gates may move at any time without warning while the program is on duty. Mains, clamps and contactors")
	p("# are a licensed electrician's work. The program is no safety function: guards, isolation and emergency stop stay in hardware.")
	p("version: 1")
	p("shop: %s", Named(d.Shop))
	p("units: %s                # how figures are shown; the file may mix both", d.Units)
	d.buses(p)
	d.collector(p)
	if d.judged() {
		d.ducts(p)
	}
	d.gates(p)
	d.machines(p)
	return b.String()
}

type printer func(format string, a ...any)

func (d *Draft) buses(p printer) {
	if d.Mover == "servo" || d.Sense == "clamp" {
		p("\nbuses: {main: /dev/i2c-1}   # the two wires of the servo board and the converters")
	}
	p("lines: gpiochip0            # GPIO17 is its line 17")
}

func (d *Draft) collector(p printer) {
	p("\ncollectors:")
	p("  - name: collector")
	if f := d.Fan; f != nil && d.judged() {
		p("    fan:                     # from its label alone: a guess, and every figure of the air says so; the maker's curve is better")
		p("      inlet: %s", f.Inlet)
		p("      guess: {shutoff: %s, free_flow: %s}", f.Shutoff, f.FreeFlow)
	}
	if d.Power != "" {
		p("    motor: {power: %s, poles: %d, phases: %d}   # starts and rest follow from it (NEMA MG 10); correct poles and phases by the label", d.Power, d.Poles, d.Phases)
	}
	if d.Starter {
		p("    starter: {line: GPIO17}   # a pulsed line to a relay that drives the contactor's coil; an electrician wires it")
	} else {
		p("    # no starter: a person switches the collector. Later: starter: {line: GPIO17}")
	}
}

// section names a run of the main.
func section(n int) string {
	if n == 0 {
		return "main"
	}
	return fmt.Sprintf("main %d", n+1)
}

func (d *Draft) ducts(p printer) {
	p("\nducts:                       # `into` names the duct downstream; inside diameters")
	for i, s := range d.Main {
		into := "collector"
		if i > 0 {
			into = section(i - 1)
		}
		p("  - {name: %s, into: %s, diameter: %s, length: %s, wall: %s}", section(i), into, d.MainSize, s.Length, d.Wall)
	}
	for _, m := range d.Machines {
		fittings := "branch_45: 1"
		if m.Elbows > 0 {
			fittings += fmt.Sprintf(", elbow_90: %d", m.Elbows)
		}
		p("  - {name: %s, into: %s, diameter: %s, length: %s, wall: %s, fittings: {%s}}", Named(m.Name+" pipe"), section(m.Section), m.Size, m.Length, d.Wall, fittings)
		if m.Hose != "" {
			p("  - {name: %s, into: %s, diameter: %s, length: %s, wall: smooth_hose}", Named(m.Name+" hose"), Named(m.Name+" pipe"), m.Size, m.Hose)
		}
	}
	p("\nports:                       # where air enters; `hood: plain` is a cut-off pipe end")
	for _, m := range d.Machines {
		duct, air := m.Name+" pipe", ""
		if m.Hose != "" {
			duct = m.Name + " hose"
		}
		if m.Airflow != "" {
			air = ", airflow: " + m.Airflow
		}
		p("  - {name: %s, duct: %s, hood: plain%s}", Named(m.Name), Named(duct), air)
	}
}

func (d *Draft) gates(p printer) {
	switch d.Mover {
	case "servo":
		p("\ngates:                       # open and closed are assumed: `ductwarden jog` finds them")
	case "motor":
		p("\ngates:                       # two relays each; travel is assumed: `ductwarden jog` times it")
	default:
		p("\ngates:                       # slid by hand: never counted as a path, always as a possible thief of air")
	}
	for i, m := range d.Machines {
		duct := ""
		if d.judged() {
			duct = ", duct: " + Named(m.Name+" pipe")
		}
		actuator := "hand"
		switch d.Mover {
		case "servo":
			actuator = fmt.Sprintf("{servo: {chip: pca9685@0x40, channel: %d, open: 1900 us, closed: 1100 us, least: %d us, most: %d us}}", i, 900, 2100)
		case "motor":
			actuator = fmt.Sprintf("{relay: {open: GPIO%d, close: GPIO%d, travel: 5 s}}", draftLines[2*i], draftLines[2*i+1])
		}
		p("  - {name: %s%s, actuator: %s}", Named(m.Name), duct, actuator)
	}
}

func (d *Draft) machines(p printer) {
	p("\nmachines:                    # run_down is assumed: `ductwarden learn` times it")
	clamp := 0
	free := draftLines
	if d.Mover == "motor" {
		free = free[2*len(d.Machines):]
	}
	next := func() int {
		n := free[0]
		free = free[1:]
		return n
	}
	for _, m := range d.Machines {
		where := "gates"
		if d.judged() {
			where = "ports"
		}
		runDown, sensors := "10 s", ""
		switch {
		case m.Sweep:
			runDown = "0 s"
			if d.Sense != "none" && len(free) > 0 {
				sensors = fmt.Sprintf("{button: {line: GPIO%d, for: 3 min}}", next())
			}
		case d.Sense == "clamp":
			sensors = ClampSensor(fmt.Sprintf("ads1115@0x%02x", 0x48+clamp/clampsOnChip), clamp%clampsOnChip, "33.3 mV/A", 1.6)
			clamp++
		case d.Sense == "contact":
			sensors = fmt.Sprintf("{contact: {line: GPIO%d, active: low, pull: up}}", next())
		case d.Sense == "button":
			sensors = fmt.Sprintf("{button: {line: GPIO%d, for: 2 min}}", next())
		}
		if sensors != "" {
			sensors = ", sensors: [" + sensors + "]"
		}
		p("  - {name: %s, %s: [%s], run_down: %s%s}", Named(m.Name), where, Named(m.Name), runDown, sensors)
	}
	if d.Sense == "clamp" {
		p("# scale: what is printed on the clamp: 30 A to 1 V is 33.3 mV/A. running is assumed.")
	}
}
