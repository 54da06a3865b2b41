package main

import (
	"fmt"
	"time"

	"ductwarden/config"
	"ductwarden/controller"
)

// beat is one thing that happens in a story, after its beginning.
type beat struct {
	at   time.Duration
	text string // what a bystander sees; "" : nothing is said
	do   func(*theatre)
}

// starts and stops are what people do to machines.
func starts(machine string, load float64) func(*theatre) {
	return func(t *theatre) {
		m := t.machine(machine)
		t.sim.Switch(m, true)
		t.sim.At(t.clock.Now()+4*time.Second, func() { t.sim.Cut(m, load) })
	}
}

func stops(machine string) func(*theatre) {
	return func(t *theatre) { t.sim.Switch(t.machine(machine), false) }
}

func ready(t *theatre)       { t.press(t.file.Inputs.Ready, controller.ReadyPressed) }
func finish(t *theatre)      { t.press(t.file.Inputs.Finish, controller.FinishPressed) }
func acknowledge(t *theatre) { t.press(t.file.Inputs.Acknowledge, controller.Acknowledged) }

// morning is the story of the shop that comes with the program.
func morning() []beat {
	m := func(min, sec int) time.Duration {
		return time.Duration(min)*time.Minute + time.Duration(sec)*time.Second
	}
	return []beat{
		{m(0, 0), "The first to come opens the shed and presses Ready.", ready},
		{m(0, 15), "A plank of larch for a dinghy goes through the thickness planer.", starts("thickness planer", 0.7)},
		{m(1, 40), "The planer is switched off; its cutter turns on for some seconds.", stops("thickness planer")},
		{m(1, 46), "A second later somebody saws ribs on the ship bandsaw.", starts("ship bandsaw", 0.5)},
		{m(2, 50), "The apprentice turns oar handles on the lathe: these two run well together.", starts("lathe", 0.3)},
		{m(4, 20), "The bandsaw stops.", stops("ship bandsaw")},
		{m(4, 50), "The lathe stops. The shop is quiet for a while.", stops("lathe")},
		{m(6, 0), "Small roundings on the router: alone it is too small for the trunk.", starts("router", 0.6)},
		{m(7, 20), "The router stops.", stops("router")},
		{m(8, 0), "Somebody sweeps, and presses the button at the floor sweep.", func(t *theatre) { t.button(t.machine("floor sweep")) }},
		{m(10, 30), "At the oar bench the hand gate is slid open and forgotten.", func(t *theatre) { t.sim.Slide(t.gate("oar bench"), 1) }},
		{m(11, 0), "Planks are ripped on the table saw.", starts("table saw", 0.8)},
		{m(12, 0), "Somebody sees the gate at the oar bench and closes it.", func(t *theatre) { t.sim.Slide(t.gate("oar bench"), 0) }},
		{m(12, 30), "The planer starts beside the table saw.", starts("thickness planer", 0.8)},
		{m(12, 50), "And the spindle moulder, too: more than the fan can carry.", starts("spindle moulder", 0.5)},
		{m(13, 30), "They see the lamp, and the one at the moulder waits.", stops("spindle moulder")},
		{m(14, 10), "The planer is done.", stops("thickness planer")},
		{m(14, 40), "The table saw is done. What was short of air is flushed.", stops("table saw")},
		{m(15, 0), "A belaying pin on the lathe.", starts("lathe", 0.3)},
		{m(15, 40), "Shavings sit in the slide of the moulder's closed gate.", func(t *theatre) { t.sim.Stick(t.gate("moulder"), true) }},
		{m(15, 50), "The lathe stops.", stops("lathe")},
		{m(16, 0), "The moulder starts, and its gate does not open.", starts("spindle moulder", 0.4)},
		{m(16, 20), "The moulder is switched off, the gate is cleaned.", func(t *theatre) {
			stops("spindle moulder")(t)
			t.sim.Stick(t.gate("moulder"), false)
		}},
		{m(17, 0), "The alarm is acknowledged.", acknowledge},
		{m(17, 10), "The moulder again.", starts("spindle moulder", 0.4)},
		{m(18, 0), "The moulder is done.", stops("spindle moulder")},
		{m(18, 30), "Tea: somebody presses Finish.", finish},
		{m(19, 15), "One more board over the jointer, while the motor still rests.", starts("jointer", 0.5)},
		{m(21, 0), "The jointer is done.", stops("jointer")},
		{m(21, 30), "Finish, and the kettle is on.", finish},
		{m(22, 40), "", nil},
	}
}

// anyMorning is a story for any shop: each machine alone, then pairs that the file wants to run together, else the
// first two, then a finish.
func anyMorning(file *config.Shop) []beat {
	b := []beat{{0, "Ready is pressed.", ready}}
	at := 15 * time.Second
	use := func(m int, d time.Duration) {
		machine := &file.Machines[m]
		if isSwept(machine) {
			b = append(b, beat{at, machine.Name + ": its button is pressed.", func(t *theatre) { t.button(m) }})
			b = append(b, beat{at + d, machine.Name + ": its button is pressed again.", func(t *theatre) { t.button(m) }})
			return
		}
		b = append(b, beat{at, machine.Name + " starts.", starts(machine.Name, 0.6)})
		b = append(b, beat{at + d, machine.Name + " stops.", stops(machine.Name)})
	}
	for m := range file.Machines {
		use(m, 50*time.Second)
		at += 60 * time.Second
	}
	sets := file.Together
	if len(sets) == 0 && len(file.Machines) > 1 {
		sets = [][]int{{0, 1}}
	}
	for _, set := range sets {
		for _, m := range set {
			use(m, 60*time.Second)
			at += 5 * time.Second
		}
		at += 75 * time.Second
	}
	if len(file.Machines) == 0 {
		for i := range file.Gates {
			at += 10 * time.Second
			b = append(b, beat{at, fmt.Sprintf("Gate %s is held open for half a minute.", file.Gates[i].Name), func(t *theatre) {
				t.loop.Post(controller.Event{Kind: controller.HoldGate, By: controller.FromConsole, N: uint8(i), V: 30_000})
			}})
		}
		at += 40 * time.Second
	}
	b = append(b, beat{at, "Finish is pressed.", finish})
	return append(b, beat{at + 60*time.Second, "", nil})
}

// isSwept reports whether nothing but a button speaks for a machine.
func isSwept(m *config.Machine) bool {
	for _, s := range m.Sensors {
		if s.Clamp != nil || s.Contact != nil || s.Remote != nil {
			return false
		}
	}
	return true
}
