package controller

// restarted is the first event of a program: nothing is known, and the motor counts as just stopped.
func (t *turn) restarted(unclean bool) {
	now := t.s.now
	*t.s = State{now: now, unclean: unclean}
	for c := range t.s.collector {
		t.s.collector[c].off = now
		t.lineWhy[c] = BecauseRestarted
	}
	for g := range t.gateWhy {
		t.because(g, BecauseRestarted, 0)
	}
	if t.shop.OnDutyAfterStart && !unclean {
		t.goOnDuty()
	}
}

// shopChanged takes a changed shop file in: gates and machines are unknown until they are seen anew; rest, starts
// and the state of the disconnects stay.
func (t *turn) shopChanged() {
	old := *t.s
	*t.s = State{now: old.now, unclean: old.unclean, lastStart: old.lastStart, lastOf: old.lastOf}
	for c := range t.s.collector {
		col, was := &t.s.collector[c], &old.collector[c]
		*col = collector{off: was.off, starts: was.starts, made: was.made, latch: was.latch, disconnected: was.disconnected,
			full: was.full, loaded: was.loaded, air: was.air}
		switch {
		case was.powered(), was.phase == ByHand, was.phase == WillNotStop:
			col.off, col.phase = t.s.now, Coasting
		case was.phase == Coasting:
			col.phase = Coasting
		case was.phase == StartFailed:
			col.phase = StartFailed
		}
		t.lineWhy[c] = BecauseShopChanged
	}
	for g := range t.gateWhy {
		t.because(g, BecauseShopChanged, 0)
	}
}
