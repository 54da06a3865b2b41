package controller

import (
	"ductwarden/controller/plan"
	"ductwarden/current"
	"ductwarden/gates"
)

const idle = current.Idle

// longestRun is how long machine n may run before it is asked after.
func (t *turn) longestRun(n int) Span {
	if own := t.shop.Machines[n].LongestRun; own > 0 {
		return own
	}
	return t.shop.LongestRun
}

// machineTime does what time brings to a machine: the end of its button's time, of its run-down, of the way of
// its last chip, of its patience.
func (t *turn) machineTime(n int) {
	m := &t.s.machine[n]
	if m.pressed != 0 && t.s.now >= m.pressed {
		t.release(n)
	}
	if m.down != 0 && t.s.now >= m.down && m.demands() {
		m.down = 0
	}
	if m.down != 0 && t.s.now >= m.down {
		m.down, m.calls = 0, 0
		if way := t.wayOfChips(n); way > 0 {
			m.chips = t.s.now + Instant(way)
			t.carried(n)
		} else {
			t.leaveDust(n)
		}
	}
	if m.chips != 0 && t.s.now >= m.chips {
		m.chips = 0
	}
	if m.ran != 0 {
		asks := m.ran + Instant(t.longestRun(n))
		gives := asks + Instant(t.shop.LongRunGrace)
		if t.s.now >= gives && !m.overdue {
			m.overdue, m.calls = true, 0
			if m.pressed != 0 {
				m.pressed = 0
			}
		}
		t.at(asks)
		t.at(gives)
	}
	t.at(m.pressed)
	t.at(m.down)
	t.at(m.chips)
}

// wayOfChips is how long machine n's last chip is on its way; 0 when no air carries it.
func (t *turn) wayOfChips(n int) Span {
	var way Span
	for c := range t.shop.Collectors {
		col := &t.s.collector[c]
		if !t.shop.Machines[n].Collectors.Has(c) || !t.moves(c) || !t.wayKnown(c, n) || col.asked && col.answer.Left.Has(n) {
			continue
		}
		clear := t.shop.LeastClearing // where the air is not judged
		if col.asked && col.answer.Clear > 0 {
			clear = col.answer.Clear
		}
		way = max(way, clear, 1)
	}
	return way
}

// carried forgets that the branch of machine n is to be flushed, where its last run carried alone.
func (t *turn) carried(n int) {
	for c := range t.shop.Collectors {
		col := &t.s.collector[c]
		if v := col.answer.Verdict; col.asked && (v == plan.Carries || v == plan.NotJudged) && !col.answer.Left.Has(n) {
			col.flush = col.flush.Without(n)
		}
	}
}

// demand gathers who wants air, and whose gates are frozen because nothing is known of their machines.
func (t *turn) demand() {
	t.run, t.down, t.frozen = [MaxCollectors]Set{}, [MaxCollectors]Set{}, 0
	t.known()
	for n := range t.shop.Machines {
		m, p := &t.s.machine[n], &t.shop.Machines[n]
		if p.Sensed && m.belief == current.Unknown && !m.lost {
			t.frozen |= p.Needs
		}
		if t.s.mode != OnDuty {
			continue
		}
		for c := range t.shop.Collectors {
			switch {
			case !p.Collectors.Has(c):
			case m.demands():
				t.run[c] = t.run[c].With(n)
			case m.down != 0 || m.chips != 0:
				t.down[c] = t.down[c].With(n)
			}
		}
	}
}

// known gathers the gates that are known to be open. In a shop that works with all gates open, one that is moved
// by hand and has no switch counts as what the shop file says of it.
func (t *turn) known() {
	t.open = 0
	for g := range t.shop.Gates {
		m, l := &t.s.gate[g].motion, &t.shop.Gates[g].Motion
		if m.Where.IsOpen() || t.shop.EverythingOpen && l.Hand && !l.OpenSwitch && m.Seen != gates.SeenClosed {
			t.open = t.open.With(g)
		}
	}
}

// called reports whether somebody wants collector c to run: a machine whose start was seen or that runs down
// after it, or a person.
func (t *turn) called(c int) bool {
	if t.s.mode != OnDuty {
		return false
	}
	if t.s.collector[c].selector == gates.HeldOpen {
		return true
	}
	for n := range t.users[c].All() {
		if t.s.machine[n].calls>>uint(c)&1 != 0 {
			return true
		}
	}
	return false
}

// adopt lets the machines that run without having called keep on a collector that runs for another reason.
func (t *turn) adopt(c int) {
	col := &t.s.collector[c]
	if !col.powered() || col.finish {
		return
	}
	for n := range t.run[c].All() {
		if m := &t.s.machine[n]; !m.overdue {
			m.calls |= 1 << uint(c)
		}
	}
}

// needs is the gates of collector c that the machines of a set need.
func (t *turn) needs(c int, machines Set) (s Set) {
	for n := range machines.All() {
		if n < len(t.shop.Machines) {
			s |= t.shop.Machines[n].Needs
		}
	}
	return s & t.tree[c]
}
