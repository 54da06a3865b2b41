package controller

import (
	"ductwarden/current"
	"ductwarden/gates"
)

// machineSeen takes a belief in. Only an edge from idle to running that was seen on duty is a start.
func (t *turn) machineSeen(n int, b Belief) {
	m := &t.s.machine[n]
	if b == m.belief {
		return
	}
	ran := m.runs()
	m.belief = b
	switch b {
	case current.Unknown:
		m.lost, m.fresh = ran, false
	case current.Idle:
		m.lost, m.ran, m.overdue = false, 0, false
		m.fresh = t.s.mode == OnDuty
		if ran {
			t.ends(n)
		}
	case current.Running:
		m.lost = false
		if ran {
			return // it ran before its evidence was lost, and still does
		}
		m.ran, m.down, m.chips = t.s.now, 0, 0
		if m.fresh {
			m.fresh = false
			t.call(n)
		}
	}
}

// call lets a machine call the air of the collectors that can serve it: its start was seen, or somebody pressed
// its button.
func (t *turn) call(n int) {
	m := &t.s.machine[n]
	m.overdue = false
	for c := range t.shop.Collectors {
		if t.shop.Machines[n].Collectors.Has(c) && t.ableTo(c) == NoReason {
			m.calls |= 1 << uint(c)
			t.s.collector[c].finish = false
			t.s.collector[c].attended = t.s.now
		}
	}
	for g := range t.shop.Machines[n].Needs.All() { // a new demand outranks the hand that moved a gate before it
		if g < len(t.shop.Gates) {
			t.s.gate[g].redriven = false
			t.s.gate[g].motion.Left = gates.DriveNone
		}
	}
}

// ableTo says why collector c cannot be called now. A collector that is not able forgets who called: when it
// is able again, nothing starts by itself.
func (t *turn) ableTo(c int) Reason {
	col := &t.s.collector[c]
	switch {
	case t.s.mode == StandingBy:
		return BecauseStandingBy
	case t.s.mode == Halted:
		return BecauseHalted
	case col.disconnected:
		return BecauseDisconnectOpen
	case col.latch != 0:
		return BecauseLatched
	case col.selector == gates.Off:
		return BecauseCollectorOff
	}
	return NoReason
}

// ends begins a machine's run-down after its motor has stopped. Without power its chips lie where they are.
func (t *turn) ends(n int) {
	m := &t.s.machine[n]
	switch {
	case t.s.mode == OnDuty && t.blows(n):
		m.down = t.s.now + Instant(t.shop.Machines[n].RunDown)
		for c := range t.shop.Collectors { // also after a run that called no more: what runs down is cleared
			if col := &t.s.collector[c]; t.shop.Machines[n].Collectors.Has(c) && col.powered() && !col.finish {
				m.calls |= 1 << uint(c)
			}
		}
	case m.pressed == 0:
		t.leaveDust(n)
		m.calls = 0
	}
}

// blows reports whether a collector of machine n is under power, as far as is known.
func (t *turn) blows(n int) bool {
	for c := range t.shop.Collectors {
		if t.shop.Machines[n].Collectors.Has(c) && t.moves(c) {
			return true
		}
	}
	return false
}

// moves reports whether collector c moves air under power: by its line, by hand, or as far as nobody knows better.
func (t *turn) moves(c int) bool {
	col, p := &t.s.collector[c], &t.shop.Collectors[c]
	switch col.phase {
	case ByHand, WillNotStop:
		return true
	case Starting, CollectorRuns, Clearing, Lingering:
		return true
	}
	return !p.Starter && !p.Proof
}

// leaveDust notes that machine n left chips in its branch: they are flushed at the next quiet moment.
func (t *turn) leaveDust(n int) {
	if !t.shop.Machines[n].Sensed || t.shop.EverythingOpen {
		return
	}
	for c := range t.shop.Collectors {
		if t.shop.Machines[n].Collectors.Has(c) && t.shop.Collectors[c].Starter {
			t.s.collector[c].flush = t.s.collector[c].flush.With(n)
		}
	}
}
