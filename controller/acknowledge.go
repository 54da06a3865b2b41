package controller

import "ductwarden/gates"

// acknowledge unlatches what is no longer so. What still stands is only acknowledged in the alarm list.
func (t *turn) acknowledge(ev Event) (Reason, bool) {
	if ev.N != Everything && (ev.N == 0 || ev.N >= uint8(conditions)) {
		return BecauseNoSuchThing, false
	}
	means := func(k Condition, n int) bool {
		return ev.N == Everything || Condition(ev.N) == k && (ev.V <= 0 || int(ev.V) == n+1)
	}
	if t.s.unclean && means(UncleanEnd, Everything) {
		t.s.unclean = false
	}
	for g := range t.shop.Gates {
		t.acknowledgeGate(g, means)
	}
	for n := range t.shop.Machines {
		if m := &t.s.machine[n]; m.ran != 0 && t.s.now-m.ran >= Instant(t.longestRun(n)) && means(RunsLong, n) {
			m.ran, m.overdue = t.s.now, false
		}
	}
	for c := range t.shop.Collectors {
		t.acknowledgeCollector(c, means)
	}
	return NoReason, true
}

func (t *turn) acknowledgeGate(n int, means func(Condition, int) bool) {
	g := &t.s.gate[n]
	col := &t.s.collector[t.shop.Gates[n].Collector]
	switch {
	case g.motion.Where == gates.Failed && g.motion.Way == gates.DriveOpen && means(GateNotOpen, n):
		if g.want == gates.DriveOpen && g.motion.Seen != gates.SeenOpen {
			t.note(BecauseStillStanding, uint8(n)) // it would move at once, perhaps under a person's hand
			return
		}
		g.motion.Clear()
	case g.motion.Where == gates.Failed && g.motion.Way != gates.DriveOpen && means(GateNotClosed, n):
		if col.asked && g.motion.Seen != gates.SeenClosed {
			t.note(BecauseStillStanding, uint8(n))
			return
		}
		g.motion.Clear()
	case g.motion.Left != gates.DriveNone && means(GateMoved, n):
		if g.want == gates.DriveOpen {
			t.note(BecauseStillStanding, uint8(n))
			return
		}
		g.motion.Left = gates.DriveNone
	}
}

func (t *turn) acknowledgeCollector(c int, means func(Condition, int) bool) {
	col := &t.s.collector[c]
	if t.s.now-col.attended >= Instant(t.shop.LongestRun) && means(RunsUnattended, c) {
		col.attended = t.s.now
	}
	clear := func(l latches, k Condition, gone bool) {
		switch {
		case col.latch&l == 0 || !means(k, c):
		case gone:
			col.latch &^= l
		default:
			t.note(BecauseStillStanding, uint8(c))
		}
	}
	stands := col.feedback != Turning
	clear(latchStart, StartNotProved, stands)
	clear(latchTrip, CollectorTripped, stands)
	clear(latchStop, StopNotProved, stands && col.phase != WillNotStop)
	clear(latchContactor, Contactor, stands)
	clear(latchPath, PathNotKnown, true)
	if col.phase == StartFailed && col.latch&(latchStart|latchTrip) == 0 {
		t.toPhase(c, CollectorOff)
	}
}
