package controller

import "ductwarden/gates"

// requestGate holds a gate open, takes it out of the automatic, or gives it back.
func (t *turn) requestGate(ev Event) (Reason, bool) {
	n := int(ev.N)
	if n >= len(t.shop.Gates) {
		return BecauseNoSuchThing, false
	}
	to := gates.HeldOpen
	if ev.Kind == SelectGate {
		if ev.V < 0 || ev.V > int32(gates.Off) {
			return BecauseBadValue, false
		}
		to = Selector(ev.V)
	}
	if t.shop.Gates[n].Motion.Hand {
		return BecauseHandGate, false
	}
	g := &t.s.gate[n]
	switch to {
	case gates.HeldOpen:
		if why := t.mayHold(n); why != NoReason {
			return why, false
		}
		g.until = 0
		lasts := t.shop.LongestHold
		if ev.Kind == HoldGate && ev.V > 0 && (lasts == 0 || Span(ev.V) < lasts) {
			lasts = Span(ev.V)
		}
		if lasts > 0 {
			g.until = t.s.now + Instant(lasts)
		}
	case gates.Off:
		if t.onlyPath(n) {
			return BecauseOnlyPath, false
		}
		g.until = 0
		was := g.motion.Drive
		g.motion.Forget()
		g.motion.Left = gates.DriveNone
		if was != gates.DriveNone {
			t.because(n, BecauseGateOff, 0)
		}
	default:
		g.until = 0
	}
	g.selector = to
	return NoReason, true
}

// mayHold says why a gate cannot be held open now.
func (t *turn) mayHold(n int) Reason {
	g := &t.s.gate[n]
	switch {
	case t.s.mode == StandingBy:
		return BecauseStandingBy
	case t.s.mode == Halted:
		return BecauseHalted
	case t.s.collector[t.shop.Gates[n].Collector].disconnected:
		return BecauseDisconnectOpen
	case g.motion.Where == gates.Failed:
		return BecauseGateFailed
	case g.silent:
		return BecauseChipSilent
	}
	return NoReason
}

// onlyPath reports whether a fan turns whose last known way would be lost if gate n were given to the hand.
func (t *turn) onlyPath(n int) bool {
	g := &t.s.gate[n]
	c := int(t.shop.Gates[n].Collector)
	if !g.motion.Where.IsOpen() || g.motion.Seen == gates.SeenOpen || !t.turning(c) {
		return false
	}
	t.layout()
	t.known()
	return t.hasPath(c, t.open) && !t.hasPath(c, t.open.Without(n))
}

// requestCollector runs a collector by hand through the program, takes it out of the automatic, or gives it back.
func (t *turn) requestCollector(ev Event) (Reason, bool) {
	c := int(ev.N)
	switch {
	case c >= len(t.shop.Collectors):
		return BecauseNoSuchThing, false
	case ev.V < 0 || ev.V > int32(gates.Off):
		return BecauseBadValue, false
	case !t.shop.Collectors[c].Starter:
		return BecauseNoStarter, false
	}
	col := &t.s.collector[c]
	switch to := Selector(ev.V); to {
	case gates.Off:
		t.cutOff(c, BecauseCollectorOff)
		col.selector = gates.Off
	case gates.HeldOpen:
		if why := t.ableTo(c); why != NoReason && why != BecauseCollectorOff {
			return why, false
		}
		col.selector, col.finish, col.attended = gates.HeldOpen, false, t.s.now
	default:
		col.selector = gates.Automatic
	}
	return NoReason, true
}
