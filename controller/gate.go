package controller

import "ductwarden/gates"

// gateTime does what time brings to a gate: the end of a hold, of a try, of a pause.
func (t *turn) gateTime(n int) {
	g, l := &t.s.gate[n], &t.shop.Gates[n].Motion
	if g.selector == gates.HeldOpen && g.until != 0 && t.s.now >= g.until {
		g.selector, g.until = gates.Automatic, 0
	}
	if g.selector == gates.HeldOpen {
		t.at(g.until)
	}
	was := g.motion.Drive
	g.motion.Advance(t.s.now, l)
	if was != g.motion.Drive && was != gates.DriveNone {
		switch {
		case g.motion.Where == gates.Failed:
			t.because(n, BecauseGaveUp, 0)
		case g.motion.Pausing():
			t.because(n, BecauseTriesAgain, 0)
		default:
			t.because(n, BecauseAssumed, 0)
		}
	}
	if due, ok := g.motion.Due(l); ok {
		t.at(due)
	}
}

// blocked reports whether the program may not drive gate n.
func (t *turn) blocked(n int) bool {
	g := &t.s.gate[n]
	return t.s.mode != OnDuty || t.shop.Gates[n].Motion.Hand || g.silent || g.selector == gates.Off ||
		g.motion.Where == gates.Failed || t.s.collector[t.shop.Gates[n].Collector].disconnected
}

// canOpen reports whether gate n may begin to open now.
func (t *turn) canOpen(c, n int) bool {
	g := &t.s.gate[n]
	if t.blocked(n) || g.motion.Where.IsOpen() || g.motion.Drive == gates.DriveOpen {
		return false
	}
	if g.motion.Pausing() && g.motion.Way == gates.DriveOpen && !g.motion.Again(t.s.now) {
		return false
	}
	if g.motion.Left == gates.DriveOpen && (g.redriven || !t.turning(c) && !t.called(c)) {
		return false // driven back once where air is wanted; else it is only told
	}
	ok, at := g.motion.May(gates.DriveOpen, t.s.now, t.shop.MovesPerMinute)
	if !ok {
		t.at(at)
	}
	return ok
}

// move decides what every gate should do, and begins as many motions as may be under way at once: opens before
// closes, in the order of rank.
func (t *turn) move() {
	var w gates.Wishes
	var opening, closing Set
	for n := range t.shop.Gates {
		switch t.s.gate[n].motion.Drive {
		case gates.DriveOpen:
			opening = opening.With(n)
		case gates.DriveClose:
			closing = closing.With(n)
		}
	}
	for c := range t.shop.Collectors {
		t.wish(c, &w, closing)
	}
	if t.s.mode != OnDuty {
		return
	}
	begin, yield := w.Grant(opening, closing, int(t.shop.MovingAtOnce))
	for n := range yield.All() {
		t.rest(n, BecauseYields)
	}
	for n := range begin.All() {
		t.begin(n, w.Opens().Has(n))
	}
	for n := range t.shop.Gates { // a motion that nobody wants any more does not try again
		if g := &t.s.gate[n]; g.motion.Pausing() && g.motion.Way != g.want {
			g.motion.Stop()
			t.again = true // it may be wanted the other way
		}
	}
	t.known()
}

// begin drives one gate.
func (t *turn) begin(n int, open bool) {
	g, l := &t.s.gate[n], &t.shop.Gates[n].Motion
	why, of := BecauseNotNeeded, uint8(0)
	way := gates.DriveClose
	if open {
		way = gates.DriveOpen
		why, of = t.opensFor(n)
	}
	switch {
	case g.motion.Pausing() && g.motion.Way == way:
		why = BecauseTriesAgain
	case open && g.motion.Left == gates.DriveOpen:
		g.redriven = true
		why = BecauseMovedBack
	}
	g.motion.Ask(way, t.s.now, l)
	t.because(n, why, of)
	if due, ok := g.motion.Due(l); ok {
		t.at(due)
	}
	if g.motion.Drive == gates.DriveNone { // its switch showed that end already
		t.again = true
	}
}

// opensFor says for whom a gate opens: the machine of the first rank that needs it.
func (t *turn) opensFor(n int) (Reason, uint8) {
	c := int(t.shop.Gates[n].Collector)
	col := &t.s.collector[c]
	for m := range t.run[c].All() {
		switch {
		case !t.shop.Machines[m].Needs.Has(n):
		case t.s.machine[m].runs():
			return BecauseRuns, uint8(m)
		default:
			return BecauseCalled, uint8(m)
		}
	}
	for m := range t.down[c].All() {
		if t.shop.Machines[m].Needs.Has(n) {
			return BecauseRunsDown, uint8(m)
		}
	}
	switch {
	case t.s.gate[n].selector == gates.HeldOpen:
		return BecauseHeld, 0
	case col.flushing != noFlush:
		return BecauseFlush, col.flushing - 1
	case t.shop.EverythingOpen && t.active(c):
		return BecauseEverythingOpen, 0
	case col.asked && col.answer.Open.Has(n):
		return BecauseRelief, 0
	}
	return BecausePath, 0
}
