package controller

import "ductwarden/gates"

// turning reports whether the fan of collector c may turn, under power or not, as far as anything is known of it.
func (t *turn) turning(c int) bool {
	p := &t.shop.Collectors[c]
	return t.turns(c) || !p.Starter && (!p.Proof || t.s.collector[c].feedback != Still)
}

// turns reports whether there is a sign that the fan of collector c turns.
func (t *turn) turns(c int) bool {
	col, p := &t.s.collector[c], &t.shop.Collectors[c]
	switch {
	case col.powered(), col.phase == ByHand, col.phase == WillNotStop, col.phase == Coasting, col.feedback == Turning:
		return true
	case col.phase == StartFailed:
		return t.s.now < col.off+Instant(p.Coast)
	}
	return false
}

// hasPath reports whether a way to collector c leads through open gates only. A port without a gate on its way is
// always open, and a collector that no port is known of has no gate that could shut it.
func (t *turn) hasPath(c int, open Set) bool {
	ways := t.shop.Collectors[c].Ways
	for _, w := range ways {
		if w&^open == 0 {
			return true
		}
	}
	return len(ways) == 0
}

// wayKnown reports whether every gate of machine n in the tree of c is open. A gate moved by hand without a switch
// cannot be known, and is passed over; it is no path either.
func (t *turn) wayKnown(c, n int) bool {
	for g := range (t.shop.Machines[n].Needs & t.tree[c] &^ t.open).All() {
		if l := &t.shop.Gates[g].Motion; !l.Hand || l.OpenSwitch {
			return false
		}
	}
	return true
}

// everyWayKnown reports whether the ways of all machines of a set are known to be open.
func (t *turn) everyWayKnown(c int, machines Set) bool {
	for n := range machines.All() {
		if !t.wayKnown(c, n) {
			return false
		}
	}
	return true
}

// pathWishes is the gates that must open because a fan that turns, or is about to, has no known way.
func (t *turn) pathWishes(c int, target, closing Set) Set {
	if t.hasPath(c, t.open) || !t.turns(c) && !t.waitsForPath(c) {
		return 0
	}
	var can Set
	for n := range t.tree[c].All() {
		g := &t.s.gate[n]
		if !t.blocked(n) && (g.motion.Left != gates.DriveOpen || !g.redriven) {
			can = can.With(n)
		}
	}
	ways := t.shop.Collectors[c].Ways
	for _, near := range [...]Set{target & can, closing & can, can} {
		for _, w := range ways {
			if missing := w &^ t.open; missing&^near == 0 {
				return missing
			}
		}
	}
	return 0
}

// waitsForPath reports whether collector c could start if only some way were known: for a person who runs it by
// hand, or for a machine behind a gate that is moved by hand.
func (t *turn) waitsForPath(c int) bool {
	if t.s.collector[c].selector == gates.HeldOpen {
		return t.called(c)
	}
	for n := range t.users[c].All() {
		if t.s.machine[n].calls>>uint(c)&1 != 0 && t.wayKnown(c, n) {
			return true
		}
	}
	return false
}

// path watches that a fan under power has a known way, and stops it when none shows in time.
func (t *turn) path(c int) {
	col := &t.s.collector[c]
	if !col.powered() || t.hasPath(c, t.open|t.shownOpen(c)) {
		col.noPath = 0
		return
	}
	if col.noPath == 0 {
		col.noPath = t.s.now
	}
	end := col.noPath + Instant(t.pathLimit(c))
	if t.s.now >= end {
		t.fail(c, latchPath, BecauseNoPath)
		t.again = true
		return
	}
	t.at(end)
}

// shownOpen is the gates that have failed and are yet seen open: enough to let a running fan run on, not enough
// to start one or to close another gate.
func (t *turn) shownOpen(c int) (s Set) {
	for n := range t.tree[c].All() {
		if m := &t.s.gate[n].motion; m.Where == gates.Failed && m.Seen == gates.SeenOpen {
			s = s.With(n)
		}
	}
	return s
}

// pathLimit is how long a fan may run without a known way: long enough for any of its gates to be driven open.
func (t *turn) pathLimit(c int) Span {
	limit := t.shop.PathLost
	for n := range t.tree[c].All() {
		if l := &t.shop.Gates[n].Motion; !l.Hand {
			limit = max(limit, l.ProofTime())
		}
	}
	return limit
}
