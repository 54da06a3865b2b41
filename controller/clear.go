package controller

import "ductwarden/controller/plan"

// beginClearing runs on under power until the last chips have left the ducts.
func (t *turn) beginClearing(c int) {
	col := &t.s.collector[c]
	way := t.shop.LeastClearing
	if col.asked {
		way = max(way, col.answer.Clear)
	}
	for n := range t.users[c].All() {
		if m := &t.s.machine[n]; m.chips > t.s.now {
			way = max(way, Span(min(m.chips-t.s.now, Instant(longestClear))))
		}
	}
	col.quiet, col.clear = t.s.now, t.s.now+Instant(way)
	t.toPhase(c, Clearing)
	t.at(col.clear)
}

// clears follows the clearing: first the ways of the last demand, then one branch after the other that had too
// little air.
func (t *turn) clears(c int) {
	col := &t.s.collector[c]
	now := t.s.now
	if now < col.clear {
		t.at(col.clear)
		return
	}
	last := max(col.quiet+Instant(t.shop.LongestLinger), col.clear)
	if col.finish {
		t.stop(c, BecauseFinish)
		return
	}
	if col.flushing != noFlush {
		if t.flushes(c) && now < last {
			t.at(last)
			return
		}
		col.flushing, col.flushed, col.asked = noFlush, 0, false
		t.again = true
	}
	if now < last && t.nextFlush(c) {
		t.at(last)
		return
	}
	col.clear = now // from here on it lingers
	t.toPhase(c, Lingering)
}

// flushes follows the flush of one branch, and reports whether it goes on.
func (t *turn) flushes(c int) bool {
	col := &t.s.collector[c]
	n := int(col.flushing) - 1
	if !col.asked {
		return true // asked for in this pass
	}
	if !t.flushable(c, n) {
		t.note(BecauseNotFlushed, uint8(n))
		col.flush = col.flush.Without(n)
		return false
	}
	if col.flushed == 0 {
		if t.anyMoves(c) {
			return true // its gates are not yet set
		}
		if !t.wayKnown(c, n) {
			if !t.barred(c, n) {
				return true
			}
			t.note(BecauseNotFlushed, uint8(n))
			col.flush = col.flush.Without(n)
			return false
		}
		col.flushed = t.s.now + Instant(max(col.answer.Clear, leastFlush))
	}
	if t.s.now < col.flushed {
		t.at(col.flushed)
		return true
	}
	t.note(BecauseFlushed, uint8(n))
	col.flush = col.flush.Without(n)
	return false
}

// flushable reports whether machine n's branch, alone, carries, by the answer in force, and can be opened.
func (t *turn) flushable(c, n int) bool {
	a := &t.s.collector[c].answer
	return (a.Verdict == plan.Carries || a.Verdict == plan.NotJudged) && !a.Unserved.Has(n) && !a.Left.Has(n)
}

// barred reports whether a gate on machine n's way is not known to be open and cannot be opened either: it failed
// half way, does not answer, or a person has it.
func (t *turn) barred(c, n int) bool {
	for g := range (t.shop.Machines[n].Needs & t.tree[c] &^ t.open).All() {
		if t.blocked(g) {
			return true
		}
	}
	return false
}

func (t *turn) anyMoves(c int) bool {
	for g := range t.tree[c].All() {
		if t.s.gate[g].motion.Tries > 0 {
			return true
		}
	}
	return false
}

// nextFlush begins to flush the next branch that waits for it.
func (t *turn) nextFlush(c int) bool {
	col := &t.s.collector[c]
	for n := range (col.flush & t.users[c]).All() {
		col.flushing, col.flushed, col.asked = uint8(n)+1, 0, false
		t.again = true
		return true
	}
	return false
}
