package controller

import "ductwarden/gates"

// waits says what a collector that is called waits for; ok is false when it is not called or cannot be started at
// all.
func (t *turn) waits(c int) (why Reason, ok bool) {
	col, p := &t.s.collector[c], &t.shop.Collectors[c]
	if !p.Starter || !t.called(c) || t.ableTo(c) != NoReason || col.phase != CollectorOff && col.phase != Coasting {
		return NoReason, false
	}
	switch {
	case p.Proof && col.feedback == Turning:
		return BecauseWheelTurns, true
	case p.Proof && col.feedback != Still:
		return BecauseProofUnreadable, true
	}
	if at, why := t.startAt(c); at > t.s.now {
		return why, true
	}
	return BecauseNoWay, true
}

// start starts a collector that is called when nothing stands against it.
func (t *turn) start(c int) {
	col, p := &t.s.collector[c], &t.shop.Collectors[c]
	why, ok := t.waits(c)
	if col.saved != 0 && t.s.now-col.saved > 3*Instant(saveAhead) {
		col.saved = 0
	}
	if !ok || why == BecauseProofUnreadable || why == BecauseWheelTurns {
		return
	}
	at, _ := t.startAt(c)
	t.at(at)
	t.at(at - Instant(saveAhead))
	t.at(at - Instant(t.shop.Warning))
	if at > t.s.now+Instant(saveAhead) {
		return
	}
	if col.saved == 0 {
		col.saved = t.s.now
		t.saves = t.saves.With(c)
	}
	if at > t.s.now || !t.hasPath(c, t.open) {
		return
	}
	why, of := BecauseHeld, uint8(0)
	if col.selector != gates.HeldOpen {
		why = NoReason
		for n := range t.users[c].All() {
			if t.s.machine[n].calls>>uint(c)&1 != 0 && t.wayKnown(c, n) {
				why, of = BecauseRuns, uint8(n)
				if !t.s.machine[n].runs() {
					why = BecauseCalled
				}
				break
			}
		}
		if why == NoReason {
			return
		}
	}
	col.on, col.prove, col.saved, col.made = t.s.now, 0, 0, true
	col.attended = t.s.now
	t.quietDown(c)
	col.starts.add(t.s.now)
	t.s.lastStart, t.s.lastOf = t.s.now, uint8(c)
	t.lineWhy[c], t.lineFor[c] = why, of
	t.toPhase(c, Starting)
	t.at(col.on + Instant(p.SpinUp))
}
