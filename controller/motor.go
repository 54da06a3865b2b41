package controller

const (
	chatter    = 5 * Second  // more than three changes of the motor's current within this: a contactor that chatters
	leastFlush = 10 * Second // of one branch: lifting chips takes longer than carrying them (own choice, the upper end of 5 to 10 s)
	saveAhead  = 10 * Second // a start that is due within this is written now, and is still good three times as long
)

// collectorSeen takes the evidence of a collector's motor in.
func (t *turn) collectorSeen(c int, f Feedback) {
	col, p := &t.s.collector[c], &t.shop.Collectors[c]
	was := col.feedback
	if f == was {
		return
	}
	col.feedback = f
	switch {
	case f == Turning, f == Unreadable && col.phase != Starting:
		if col.powered() {
			col.prove = 0
		}
	case f != Still:
	case col.powered() && col.phase != Starting:
		col.prove = t.s.now + Instant(p.ProveOn)
	case col.phase == ByHand, col.phase == WillNotStop:
		t.handOff(c)
	case !col.powered():
		if was == Turning && t.s.now-col.off >= Instant(p.ProveOff) {
			col.off = t.s.now // it stood only now, whatever turned it
		}
		col.prove = 0
	}
	if col.powered() && (f == Still && was == Turning || f == Turning && was == Still) && !(col.phase == Starting) {
		copy(col.edges[1:], col.edges[:])
		col.edges[0] = t.s.now
		if oldest := col.edges[3]; oldest != 0 && t.s.now-oldest < Instant(chatter) {
			t.fail(c, latchContactor, BecauseContactor)
		}
	}
}

// handOff ends a run that the program did not command. Whoever called during it must call again: a person has just
// switched the motor off.
func (t *turn) handOff(c int) {
	col := &t.s.collector[c]
	col.off, col.prove = t.s.now, 0
	t.forgetCalls(c, true)
	t.toPhase(c, Coasting)
}

// handOn notes that the motor runs by its own switch. That start costs it as much as any other.
func (t *turn) handOn(c int) {
	col := &t.s.collector[c]
	col.prove = 0
	if t.shop.Collectors[c].Starter {
		col.starts.add(t.s.now)
		col.made = true
		t.saves = t.saves.With(c)
	}
	t.toPhase(c, ByHand)
}

// motor compares the evidence of collector c's motor with what its line asks for.
func (t *turn) motor(c int) {
	col, p := &t.s.collector[c], &t.shop.Collectors[c]
	now := t.s.now
	col.starts.forget(now)
	switch col.phase {
	case Starting:
		spun := col.on + Instant(p.SpinUp)
		proved := col.on + Instant(p.ProveOn)
		switch {
		case !p.Proof && now >= spun, p.Proof && col.feedback == Turning:
			t.toPhase(c, CollectorRuns)
		case !p.Proof:
			t.at(spun)
		case now >= proved:
			t.fail(c, latchStart, BecauseStartNotProved)
		default:
			t.at(proved)
		}
	case CollectorRuns, Clearing, Lingering:
		t.at(col.on + Instant(p.SpinUp)) // from then on its air is counted
		if col.prove == 0 {
			break
		}
		if now >= col.prove {
			t.fail(c, latchTrip, BecauseTripped)
			break
		}
		t.at(col.prove)
	case CollectorOff, Coasting, StartFailed:
		t.motorOff(c)
	}
}

// motorOff watches a collector whose line is off.
func (t *turn) motorOff(c int) {
	col, p := &t.s.collector[c], &t.shop.Collectors[c]
	now := t.s.now
	if col.feedback == Turning && !col.disconnected {
		switch {
		case col.prove == 0:
			t.handOn(c)
			return
		case now >= col.prove:
			col.latch |= latchStop
			col.prove = 0
			t.forgetCalls(c, false)
			t.toPhase(c, WillNotStop)
			return
		}
		t.at(col.prove)
	} else if col.prove != 0 && now >= col.prove && col.feedback == Still {
		col.prove = 0
	} else if col.feedback == Still {
		t.at(col.prove)
	}
	coasted := col.off + Instant(p.Coast)
	if col.phase == Coasting && now >= coasted && (col.feedback != Turning || col.prove == 0) {
		t.toPhase(c, CollectorOff)
		if col.latch&(latchStart|latchTrip) != 0 {
			t.toPhase(c, StartFailed)
		}
	}
	if now < coasted {
		t.at(coasted)
	}
}
