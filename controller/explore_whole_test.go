package controller_test

import (
	"testing"

	"ductwarden/controller"
	"ductwarden/current"
	"ductwarden/gates"
)

// The surroundings of the whole: n[0] and n[1] where the gates are (0 closed, 1 between, 2 open), n[2] the motor turns,
// n[3] the saw runs; at[0] and at[1] when a gate arrives, at[2] when the motor follows its line; fault is the one that is.
const (
	noFault = iota
	firstStuck
	secondStuck
	motorDead
	motorWelded
	proofUnreadable
	sensorUnknown
	firstSilent
	secondSilent
	disconnectOpen
	faultKinds
)

func wholeStart(w *world) {
	w.env.n[0], w.env.n[1] = 0, 0
	w.tellWhole()
}

// tellWhole is what a program sees at its start.
func (w *world) tellWhole() {
	w.lookAt(0)
	b := current.Idle
	switch {
	case w.env.fault == sensorUnknown:
		b = current.Unknown
	case w.env.n[3] != 0:
		b = current.Running
	}
	w.doWhole(controller.MachineSeen, 0, int32(b), controller.FromSensor)
	w.seeMotor()
	if w.env.fault == disconnectOpen {
		w.doWhole(controller.DisconnectSeen, 0, 1, controller.FromSensor)
	}
	if w.env.fault == firstSilent || w.env.fault == secondSilent {
		w.doWhole(controller.GateChip, int(w.env.fault-firstSilent), 1, controller.FromSensor)
	}
}

func (w *world) lookAt(g int) {
	if l := &w.slice.shop.Gates[g].Motion; !l.OpenSwitch {
		return
	}
	w.doWhole(controller.GateSeen, g, int32([...]gates.Proof{gates.SeenClosed, gates.SeenNeither, gates.SeenOpen}[w.env.n[g]]), controller.FromSensor)
}

func (w *world) seeMotor() {
	f := controller.Still
	if w.env.n[2] != 0 {
		f = controller.Turning
	}
	if w.env.fault == proofUnreadable {
		f = controller.Unreadable
	}
	w.doWhole(controller.CollectorSeen, 0, int32(f), controller.FromSensor)
}

// doWhole gives an event, and lets gates and motor begin to follow.
func (w *world) doWhole(k controller.EventKind, n int, v int32, by controller.Source) {
	w.do(k, n, v, by)
	w.begin()
}

func (w *world) begin() {
	for _, e := range w.out {
		g := int(e.N)
		switch e.Kind {
		case controller.OpenGate, controller.CloseGate:
			goal := int8(2)
			if e.Kind == controller.CloseGate {
				goal = 0
			}
			w.env.at[g] = 0
			if int(w.env.fault) != firstStuck+g && w.env.n[g] != goal {
				w.env.at[g] = w.s.Now() + controller.Instant(w.slice.shop.Gates[g].Motion.Travel)
			}
		case controller.RestGate:
			w.env.at[g] = 0
		case controller.StartCollector, controller.StopCollector:
			w.env.at[2] = w.s.Now() + 300
		}
	}
}

func wholeMoves(w *world, to []move) []move {
	add := func(k byte, n, v int) { to = append(to, move{k, uint8(n), uint8(v)}) }
	at, ok := w.s.Wake(w.slice.shop)
	for _, a := range w.env.at {
		ok = ok || a != 0
		if a != 0 {
			at = min(at, a)
		}
	}
	if ok {
		add('w', 0, 0)
	}
	add('m', 0, 0)
	add('b', 1, 0)
	for _, k := range "rhka" {
		add(byte(k), 0, 0)
	}
	add('u', 0, 0)
	add('u', 0, 1)
	add('n', 0, 0)
	if w.env.fault != noFault {
		add('M', 0, 0)
		return to
	}
	for f := noFault + 1; f < faultKinds; f++ {
		add('F', f, 0)
	}
	for g := range 2 {
		add('H', g, 0)
		add('H', g, 2)
		add('R', g, 0)
	}
	add('S', 0, 0)
	return to
}

func wholeApply(w *world, m move) {
	n := int(m.n)
	switch m.kind {
	case 'w':
		w.passWhole()
	case 'm':
		w.env.n[3] = 1 - w.env.n[3]
		if w.env.fault != sensorUnknown {
			w.doWhole(controller.MachineSeen, 0, int32(current.Idle)+int32(w.env.n[3]), controller.FromSensor)
		}
	case 'b':
		w.doWhole(controller.MachinePressed, n, 0, controller.FromButton)
	case 'r':
		w.doWhole(controller.ReadyPressed, 0, 0, controller.FromButton)
	case 'h':
		w.doWhole(controller.HaltPressed, 0, 0, controller.FromButton)
	case 'k':
		w.doWhole(controller.FinishPressed, 0, 0, controller.FromButton)
	case 'a':
		w.doWhole(controller.Acknowledged, int(controller.Everything), 0, controller.FromButton)
	case 'u':
		w.doWhole(controller.Restarted, 0, int32(m.v), controller.FromProgram)
		if w.env.n[2] != 0 {
			w.env.at[2] = w.s.Now() + 300 // its line is off now
		}
		w.tellWhole()
	case 'n':
		w.doWhole(controller.ShopChanged, 0, 0, controller.FromProgram)
		w.tellWhole()
	case 'F':
		w.fails(n)
	case 'M':
		was := int(w.env.fault)
		w.env.fault = noFault
		w.heals(was)
	case 'H':
		w.env.n[n], w.env.at[n] = int8(m.v), 0
		w.lookAt(n)
	case 'R':
		w.doWhole(controller.GateChip, n, 2, controller.FromSensor)
	case 'S':
		w.env.n[2] = 1 - w.env.n[2]
		w.seeMotor()
	}
}

func (w *world) fails(f int) {
	w.env.fault = uint8(f)
	switch f {
	case firstStuck, secondStuck:
		w.env.at[f-firstStuck] = 0
	case proofUnreadable:
		w.seeMotor()
	case sensorUnknown:
		w.doWhole(controller.MachineSeen, 0, int32(current.Unknown), controller.FromSensor)
	case firstSilent, secondSilent:
		w.doWhole(controller.GateChip, f-firstSilent, 1, controller.FromSensor)
	case disconnectOpen:
		w.env.n[2] = 0
		w.doWhole(controller.DisconnectSeen, 0, 1, controller.FromSensor)
		w.seeMotor()
	}
}

func (w *world) heals(f int) {
	switch f {
	case proofUnreadable:
		w.seeMotor()
	case sensorUnknown:
		w.doWhole(controller.MachineSeen, 0, int32(current.Idle)+int32(w.env.n[3]), controller.FromSensor)
	case firstSilent, secondSilent:
		w.doWhole(controller.GateChip, f-firstSilent, 2, controller.FromSensor)
	case disconnectOpen:
		w.doWhole(controller.DisconnectSeen, 0, 0, controller.FromSensor)
	case motorWelded:
		if !w.line.Has(0) && w.env.n[2] != 0 {
			w.env.at[2] = w.s.Now() + 300
		}
	}
}

// passWhole lets time pass until something is due.
func (w *world) passWhole() {
	next, ok := w.s.Wake(w.slice.shop)
	for _, a := range w.env.at {
		if a != 0 && (!ok || a < next) {
			next, ok = a, true
		}
	}
	w.step(controller.Event{At: next, Kind: controller.Wake})
	w.begin()
	for g := range 2 {
		if w.env.at[g] != 0 && w.env.at[g] <= next {
			w.env.at[g] = 0
			w.env.n[g] = 1 + int8(w.drive[g])
			w.lookAt(g)
		}
	}
	if w.env.at[2] != 0 && w.env.at[2] <= next {
		w.env.at[2] = 0
		on := w.line.Has(0)
		if on && w.env.fault == motorDead || on && w.env.fault == disconnectOpen || !on && w.env.fault == motorWelded {
			return
		}
		w.env.n[2] = 0
		if on {
			w.env.n[2] = 1
		}
		w.seeMotor()
	}
}

func wholePack(w *world, p *packer) {
	for i := range 4 {
		small(p, &w.env.n[i])
	}
	for i := range 3 {
		p.age(&w.env.at[i], 0)
	}
	p.raw8(&w.env.fault)
}

// settled says where the core would still do something at the same moment, although nothing happens.
func settled(w *world) string {
	if w.s.Due() == w.s.Now()+1 {
		return ""
	}
	s := w.s
	if out := controller.Step(w.slice.shop, &s, controller.Event{At: s.Now(), Kind: controller.Wake}, nil); len(out) > 0 {
		return "a wake at the same moment brings more: " + told(w.slice.shop, pastStep{controller.Event{At: s.Now()}, out})
	}
	return ""
}

// TestExploreWhole is slice (d): core, gates and motor with their times, one fault at a time, from a program's start and
// from a cut under way.
func TestExploreWhole(t *testing.T) {
	heavy(t)
	cutting := func(w *world) {
		wholeStart(w)
		for range 12 { // the motor's rest
			wholeApply(w, move{'w', 0, 0})
		}
		for _, m := range []move{{'r', 0, 0}, {'m', 0, 0}, {'w', 0, 0}, {'w', 0, 0}, {'w', 0, 0}} {
			wholeApply(w, m)
		}
	}
	for name, start := range map[string]func(*world){"from a start": wholeStart, "from a cut": cutting} {
		shop := twoOfEach(60 * controller.Second)
		rests := restsAndReturns(shop)
		both := func(w *world) string {
			if wrong := settled(w); wrong != "" {
				return wrong
			}
			return rests(w)
		}
		sl := &slice{name: "(d) the whole, " + name, shop: shop, rules: ruleList(), start: start, moves: wholeMoves, apply: wholeApply, pack: wholePack,
			visit: both, leavesOut: "a second fault at a time; things between two moments at which something is due; what lies deeper", depth: 6}
		if *long {
			sl.depth = 8
		}
		t.Run(name, func(t *testing.T) { sl.holds(t) })
	}
}
