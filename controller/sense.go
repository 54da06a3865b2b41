package controller

import (
	"ductwarden/current"
	"ductwarden/gates"
)

// take changes the state by what the event says. A request that is refused changes nothing and says why.
func (t *turn) take(ev Event) (why Reason, ok bool) {
	if why := t.rights(ev); why != NoReason {
		return why, false
	}
	n := int(ev.N)
	switch ev.Kind {
	case MachineSeen:
		if n < len(t.shop.Machines) && t.shop.Machines[n].Sensed {
			t.machineSeen(n, beliefOf(ev.V))
		}
	case GateSeen:
		if n < len(t.shop.Gates) {
			t.gateSeen(n, proofOf(ev.V))
		}
	case GateChip:
		if n < len(t.shop.Gates) {
			t.gateChip(n, ev.V)
		}
	case CollectorSeen:
		if n < len(t.shop.Collectors) && t.shop.Collectors[n].Proof {
			t.collectorSeen(n, feedbackOf(ev.V))
		}
	case DisconnectSeen:
		for c := range t.shop.Collectors {
			if n == c || ev.N == Everything {
				t.disconnect(c, ev.V != 0)
			}
		}
	case FilterSeen:
		if n < len(t.shop.Collectors) {
			t.s.collector[n].loaded = ev.V != 0
		}
	case BinSeen:
		if n < len(t.shop.Collectors) {
			t.s.collector[n].full = ev.V != 0
		}
	case AirSeen:
		if n < len(t.shop.Collectors) && ev.V >= 0 && ev.V <= 3 {
			t.s.collector[n].air = uint8(ev.V)
		}
	case Restarted:
		t.restarted(ev.V != 0)
	case ShopChanged:
		t.shopChanged()
	case StartStored:
		if n < len(t.shop.Collectors) {
			col := &t.s.collector[n]
			col.starts.add(t.s.now - Instant(max(ev.V, 0)))
			col.starts.forget(t.s.now)
		}
	default:
		return t.request(ev)
	}
	return NoReason, true
}

// beliefOf, proofOf and feedbackOf take any number; one that says nothing counts as unreadable.
func beliefOf(v int32) Belief {
	if v < 0 || v > int32(current.Running) {
		return current.Unknown
	}
	return Belief(v)
}

func proofOf(v int32) gates.Proof {
	if v < 0 || v > int32(gates.SeenBoth) {
		return gates.SeenNeither
	}
	return gates.Proof(v)
}

func feedbackOf(v int32) Feedback {
	if v != int32(Still) && v != int32(Turning) {
		return Unreadable
	}
	return Feedback(v)
}

// gateSeen takes the end switches in.
func (t *turn) gateSeen(n int, p gates.Proof) {
	g := &t.s.gate[n]
	was := g.motion.Drive
	g.motion.See(p, &t.shop.Gates[n].Motion)
	if was != g.motion.Drive {
		t.because(n, BecauseArrived, 0)
	}
	if g.selector == gates.Off {
		g.motion.Left = gates.DriveNone // a person has it in hand
	}
}

// gateChip takes the state of a gate's chip in.
func (t *turn) gateChip(n int, v int32) {
	g := &t.s.gate[n]
	g.silent = v == 1
	switch v {
	case 1:
		t.rest(n, BecauseChipSilent)
	case 2:
		was := g.motion.Drive
		g.motion.Reset(t.s.now)
		if was != gates.DriveNone {
			t.because(n, BecauseChipReset, 0)
		}
	case 3: // whoever jogged it has moved it, which is no news and no fault
		g.motion.Forget()
		g.motion.Left = gates.DriveNone
	}
}

// rest ends a gate's motion where it is.
func (t *turn) rest(n int, why Reason) {
	if g := &t.s.gate[n]; g.motion.Tries > 0 {
		g.motion.Stop()
		t.because(n, why, 0)
	}
}

// disconnect takes the auxiliary contact of a collector's disconnect in: with it open nothing starts, nothing
// moves, and nobody is waited for afterwards.
func (t *turn) disconnect(c int, open bool) {
	col := &t.s.collector[c]
	if col.disconnected == open {
		return
	}
	col.disconnected = open
	if !open {
		if col.feedback == Turning && !col.powered() { // its proof may be slower than the hand
			col.prove = t.s.now + Instant(t.shop.Collectors[c].ProveOff)
		}
		return
	}
	t.cutOff(c, BecauseDisconnectOpen)
	for g := range t.shop.Gates {
		if int(t.shop.Gates[g].Collector) == c {
			t.rest(g, BecauseDisconnectOpen)
		}
	}
}
