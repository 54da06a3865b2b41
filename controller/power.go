package controller

import "ductwarden/gates"

func (t *turn) toPhase(c int, p Phase) {
	col := &t.s.collector[c]
	if col.phase != p {
		col.phase = p
		t.again = true
	}
}

// stop takes the start line off. The wheel coasts; the current must be gone by prove.
func (t *turn) stop(c int, why Reason) {
	col, p := &t.s.collector[c], &t.shop.Collectors[c]
	col.off, col.on, col.prove = t.s.now, 0, 0
	if p.Proof && col.feedback != Still {
		col.prove = t.s.now + Instant(p.ProveOff)
	}
	t.quietDown(c)
	t.lineWhy[c], t.lineFor[c] = why, 0
	t.toPhase(c, Coasting)
}

// quietDown forgets what means something under power only.
func (t *turn) quietDown(c int) {
	col := &t.s.collector[c]
	col.finish, col.flushing, col.flushed = false, noFlush, 0
	col.quiet, col.clear, col.noPath = 0, 0, 0
	col.edges = [4]Instant{}
}

// fail stops and latches: nothing starts before a person has acknowledged, and then only by a new call.
func (t *turn) fail(c int, l latches, why Reason) {
	t.cutOff(c, why)
	t.s.collector[c].latch |= l
	if l == latchStart || l == latchTrip {
		// its current may come late: that is no switch of its own
		t.s.collector[c].prove = t.s.now + Instant(t.shop.Collectors[c].ProveOff)
		t.toPhase(c, StartFailed)
	}
}

// power moves a collector under power between running for a demand, clearing and lingering, and stops it.
func (t *turn) power(c int) {
	col := &t.s.collector[c]
	t.adopt(c)
	called := t.called(c)
	switch col.phase {
	case CollectorRuns:
		if !called {
			t.beginClearing(c)
		}
	case Clearing, Lingering:
		if called {
			col.quiet, col.clear, col.flushing, col.flushed = 0, 0, noFlush, 0
			t.toPhase(c, CollectorRuns)
			break
		}
		if col.phase == Clearing {
			t.clears(c)
		} else {
			t.lingers(c)
		}
	}
	if col.selector == gates.HeldOpen && col.powered() {
		t.attends(c)
	}
}

// attends asks after a collector that a person runs by hand through the program, and ends it when nobody answers.
func (t *turn) attends(c int) {
	col := &t.s.collector[c]
	asks := col.attended + Instant(t.shop.LongestRun)
	ends := asks + Instant(t.shop.LongRunGrace)
	if t.s.now >= ends {
		col.selector = gates.Automatic
		t.again = true
	}
	t.at(asks)
	t.at(ends)
}

// lingers stops a quiet collector when its linger is over.
func (t *turn) lingers(c int) {
	end, why := t.lingerEnd(c)
	if t.s.collector[c].finish {
		end, why = t.s.now, BecauseFinish
	}
	if t.s.now >= end {
		t.stop(c, why)
		return
	}
	t.at(end)
}

// lingerEnd is when a quiet collector stops: after its linger and its least run, later while the next start could
// not be afforded after the rest, at most after longest_linger.
func (t *turn) lingerEnd(c int) (Instant, Reason) {
	col, p := &t.s.collector[c], &t.shop.Collectors[c]
	end, why := col.clear+Instant(t.shop.Linger), BecauseLingered
	if afford := col.starts.free(p.StartsPerHour) - Instant(p.Rest); afford > end {
		end, why = afford, BecauseBudget
	}
	if last := max(col.quiet+Instant(t.shop.LongestLinger), col.clear); end > last {
		end, why = last, BecauseLongestLinger
	}
	if least := col.on + Instant(p.LeastRun); least > end {
		end, why = least, BecauseLeastRun
	}
	return end, why
}
