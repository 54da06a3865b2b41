package controller

import "ductwarden/gates"

// goOnDuty begins the automatic. What runs already has its gate opened, and must be started again to call the air.
func (t *turn) goOnDuty() {
	if t.s.mode == OnDuty {
		return
	}
	t.s.mode = OnDuty
	for n := range t.shop.Machines {
		m := &t.s.machine[n]
		m.fresh = !m.runs() && m.belief == idle
		m.calls, m.pressed, m.down, m.chips = 0, 0, 0, 0
		if m.runs() {
			m.ran = t.s.now
		}
	}
}

// halt stops at once and latches: lines off in this step, gates left where they are.
func (t *turn) halt() {
	for c := range t.shop.Collectors {
		t.cutOff(c, BecauseHalted)
	}
	for n := range t.shop.Machines {
		m := &t.s.machine[n]
		m.calls, m.pressed, m.down, m.chips, m.fresh = 0, 0, 0, 0, false
	}
	for g := range t.shop.Gates {
		t.rest(g, BecauseHalted)
		if t.s.gate[g].selector == gates.HeldOpen {
			t.s.gate[g].selector, t.s.gate[g].until = gates.Automatic, 0
		}
	}
	t.s.mode = Halted
}

// cutOff takes a collector's line off at once, whatever it does, and forgets who called it.
func (t *turn) cutOff(c int, why Reason) {
	col := &t.s.collector[c]
	was := col.powered()
	if was {
		t.stop(c, why)
	}
	if col.selector == gates.HeldOpen {
		col.selector = gates.Automatic
	}
	t.forgetCalls(c, was)
}

// forgetCalls drops every call of collector c. dusty tells that it stopped under dust: the branches of those who
// made it are to be flushed.
func (t *turn) forgetCalls(c int, dusty bool) {
	bit := uint8(1) << uint(c)
	for n := range t.shop.Machines {
		if !t.shop.Machines[n].Collectors.Has(c) {
			continue
		}
		m := &t.s.machine[n]
		if dusty && (m.runs() || m.down != 0 || m.chips != 0) {
			t.leaveDust(n)
		}
		m.calls &^= bit
		if m.calls == 0 {
			m.pressed, m.down, m.chips = 0, 0, 0
		}
	}
}
