package controller

import "ductwarden/gates"

// defaultCall is how long a call lasts for a machine without a button's time, and the longest one.
const (
	defaultCall = 3 * Minute
	longestCall = 4 * Hour
)

// rights refuses what the network has no right to ask.
func (t *turn) rights(ev Event) Reason {
	if ev.By != FromNetwork {
		return NoReason
	}
	need := NetworkNone
	switch ev.Kind {
	case FinishPressed, HaltPressed:
		need = NetworkStop
	case Acknowledged, HoldGate, SelectGate:
		need = NetworkRequests
	case SelectCollector:
		need = NetworkRequests
		if ev.V == int32(gates.HeldOpen) {
			need = NetworkStart
		}
	case ReadyPressed, CallAir, MachinePressed:
		need = NetworkStart
	}
	if t.shop.Network < need {
		return BecauseNetworkMayNot
	}
	return NoReason
}

// request takes what a person asks for, by button, page, console or network.
func (t *turn) request(ev Event) (Reason, bool) {
	switch ev.Kind {
	case MachinePressed, CallAir:
		return t.requestAir(ev)
	case ReadyPressed:
		switch {
		case t.s.mode == OnDuty:
			return BecauseOnDuty, false
		case t.s.unclean:
			return BecauseUnclean, false
		}
		t.goOnDuty()
	case HaltPressed:
		t.halt()
	case FinishPressed:
		t.finish()
	case Acknowledged:
		return t.acknowledge(ev)
	case HoldGate, SelectGate:
		return t.requestGate(ev)
	case SelectCollector:
		return t.requestCollector(ev)
	}
	return NoReason, true
}

// requestAir presses a machine's button, or calls the air for a time. Pressing again ends it.
func (t *turn) requestAir(ev Event) (Reason, bool) {
	n := int(ev.N)
	if n >= len(t.shop.Machines) {
		return BecauseNoSuchThing, false
	}
	m, p := &t.s.machine[n], &t.shop.Machines[n]
	lasts := p.Button
	if ev.Kind == CallAir && ev.V > 0 {
		lasts = Span(ev.V)
	}
	if lasts <= 0 {
		lasts = defaultCall
	}
	if ev.Kind == MachinePressed && m.pressed != 0 {
		t.release(n)
		return NoReason, true
	}
	why := BecauseNoSuchThing
	for c := range t.shop.Collectors {
		if p.Collectors.Has(c) {
			if why = t.ableTo(c); why == NoReason {
				break
			}
		}
	}
	if why != NoReason {
		return why, false
	}
	m.pressed = t.s.now + Instant(min(lasts, longestCall))
	m.down, m.chips = 0, 0
	t.call(n)
	return NoReason, true
}

// release ends a button's time. A watched machine that does not run has no cutter that turns, unless it stopped
// just before.
func (t *turn) release(n int) {
	m, p := &t.s.machine[n], &t.shop.Machines[n]
	m.pressed = 0
	switch {
	case m.runs(), m.down != 0:
	case t.s.mode != OnDuty || !t.blows(n):
		m.calls = 0
	case p.Sensed:
		m.down = t.s.now
	default:
		m.down = t.s.now + Instant(p.RunDown)
	}
}

// finish clears and stops now: whoever runs must be started again to call the air. The gates of running machines
// stay open.
func (t *turn) finish() {
	for n := range t.shop.Machines {
		m := &t.s.machine[n]
		m.calls, m.pressed = 0, 0
	}
	for c := range t.shop.Collectors {
		col := &t.s.collector[c]
		if col.selector == gates.HeldOpen {
			col.selector = gates.Automatic
		}
		col.finish = col.powered()
	}
}
