package controller

import (
	"ductwarden/controller/plan"
	"ductwarden/gates"
)

// active reports whether the gates of collector c follow the demand: it runs for it, is called, or is switched by
// a person whom the gates follow.
func (t *turn) active(c int) bool {
	col := &t.s.collector[c]
	switch {
	case t.s.mode != OnDuty, col.disconnected, t.run[c]|t.down[c] == 0:
		return false
	case !t.shop.Collectors[c].Starter, col.phase == ByHand, col.phase == Starting, col.phase == CollectorRuns:
		return true
	}
	return t.called(c) && col.phase != WillNotStop
}

// ask puts the question to the planner when it has changed. What is open now is told, but does not make a question
// new: it would be another one with every gate that moves.
func (t *turn) ask(c int) {
	col := &t.s.collector[c]
	q := plan.Question{Loaded: col.loaded || !t.shop.Collectors[c].FilterSensor}
	switch {
	case t.active(c):
		q.Running, q.Down = t.run[c], t.down[c]
	case col.flushing != noFlush:
		q.Down = q.Down.With(int(col.flushing) - 1)
	default:
		col.asked, col.question, col.answer = false, plan.Question{}, plan.Answer{}
		return
	}
	q.Usable, q.StuckOpen = t.usable(c)
	q.Open = col.question.Open
	if col.asked && q == col.question {
		t.remember(c)
		return
	}
	q.Open = 0
	for g := range t.tree[c].All() {
		if m := &t.s.gate[g].motion; m.Where.IsOpen() || m.Drive == gates.DriveOpen || m.Where == gates.Opening {
			q.Open = q.Open.With(g)
		}
	}
	col.question, col.asked = q, true
	col.answer = t.shop.Collectors[c].Planner.Choose(q)
	col.answer.Clear = min(max(col.answer.Clear, 0), longestClear)
	if col.flushing != noFlush {
		t.again = true // whether that branch can be flushed is decided by this answer
	}
	t.remember(c)
}

// longestClear bounds what a planner may ask for.
const longestClear = 10 * Minute

// remember notes whose branches get too little air by the answer in force.
func (t *turn) remember(c int) {
	col := &t.s.collector[c]
	if col.flushing != noFlush || t.shop.EverythingOpen {
		return
	}
	a := &col.answer
	short := a.Left & t.down[c]
	demand := t.run[c] | t.down[c]
	if col.powered() && (a.Verdict == plan.Creeps || a.Verdict == plan.Settles) && demand.Len() > 1 {
		short |= demand
	}
	for n := range short.All() {
		t.leaveDust(n)
	}
}

// usable tells which gates of a tree the program may open, and which stay open whatever it wants.
func (t *turn) usable(c int) (usable, stuck Set) {
	for n := range t.tree[c].All() {
		g, l := &t.s.gate[n], &t.shop.Gates[n].Motion
		m := &g.motion
		open := m.Where.IsOpen()
		switch {
		case l.Hand, g.selector == gates.Off, g.silent:
			if open {
				stuck = stuck.With(n)
			}
		case m.Where == gates.Failed:
			if m.Way == gates.DriveClose || m.Seen == gates.SeenOpen {
				stuck = stuck.With(n)
			}
		case g.selector == gates.HeldOpen, t.frozen.Has(n) && !m.Where.IsClosed(), m.Left == gates.DriveClose:
			stuck = stuck.With(n)
		case m.Left == gates.DriveOpen && g.redriven:
		default:
			usable = usable.With(n)
		}
	}
	return usable, stuck
}
