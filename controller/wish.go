package controller

import "ductwarden/gates"

// wish gathers what the gates of collector c should do.
func (t *turn) wish(c int, w *gates.Wishes, closing Set) {
	col := &t.s.collector[c]
	tree := t.tree[c]
	if t.s.mode != OnDuty || col.disconnected {
		for n := range tree.All() {
			t.s.gate[n].want = gates.DriveNone
		}
		return
	}
	must := t.needs(c, t.run[c])
	target := must
	var stay Set // leave as they are
	for n := range tree.All() {
		if t.s.gate[n].selector == gates.HeldOpen {
			target = target.With(n)
		}
	}
	held := target &^ must
	var flush, late Set
	if col.asked {
		target |= col.answer.Open & tree &^ col.question.StuckOpen // what is stuck stays where it is
		if col.flushing == noFlush {
			late = t.needs(c, t.down[c]&^col.answer.Left)
			target |= late
		} else {
			flush = target
		}
		if t.shop.EverythingOpen {
			target, flush = target|tree, tree
		}
	}
	path := t.pathWishes(c, target, closing)
	target |= path
	mayClose := t.mayClose(c, target)
	for n := range tree.All() {
		g := &t.s.gate[n]
		switch {
		case target.Has(n):
			g.want = gates.DriveOpen
			if t.canOpen(c, n) {
				switch {
				case path.Has(n):
					w[gates.RankPath] = w[gates.RankPath].With(n)
				case must.Has(n):
					w[gates.RankRunning] = w[gates.RankRunning].With(n)
				case late.Has(n):
					w[gates.RankDown] = w[gates.RankDown].With(n)
				case held.Has(n):
					w[gates.RankHeld] = w[gates.RankHeld].With(n)
				case flush.Has(n):
					w[gates.RankFlush] = w[gates.RankFlush].With(n)
				default:
					w[gates.RankRelief] = w[gates.RankRelief].With(n)
				}
			}
		case mayClose && t.nobodys(n):
			g.want = gates.DriveClose
		default:
			g.want = gates.DriveNone
			stay = stay.With(n)
		}
	}
	if mayClose {
		t.closeWishes(c, w, tree&^target&^stay, closing)
	}
}

// mayClose reports whether gates of nobody's demand may close now in the tree of collector c: while it runs for a
// demand, with every gate that is wanted open, and nothing unknown that could take the path away.
func (t *turn) mayClose(c int, target Set) bool {
	col := &t.s.collector[c]
	if !col.asked || t.shop.EverythingOpen {
		return false
	}
	switch {
	case !t.shop.Collectors[c].Starter, col.phase == CollectorRuns, col.phase == ByHand:
	case col.phase == Clearing && col.flushing != noFlush:
	default:
		return false
	}
	if !t.everyWayKnown(c, t.run[c]) {
		return false // a fault on one machine never closes the gate of another
	}
	for n := range t.tree[c].All() {
		if t.s.gate[n].silent {
			return false
		}
		if target.Has(n) && !t.open.Has(n) && !t.blocked(n) && (t.s.gate[n].motion.Left != gates.DriveOpen || !t.s.gate[n].redriven) {
			return false
		}
	}
	return true
}

// nobodys reports whether gate n may be closed once it is not wanted: nobody holds it, moved it or lost sight of
// its machine.
func (t *turn) nobodys(n int) bool {
	g := &t.s.gate[n]
	return !t.blocked(n) && g.selector == gates.Automatic && !t.frozen.Has(n) && g.motion.Left == gates.DriveNone
}

// closeWishes adds the gates that may close, as long as a known way stays open without them.
func (t *turn) closeWishes(c int, w *gates.Wishes, these, closing Set) {
	gone := closing & t.tree[c]
	for n := range these.All() {
		g := &t.s.gate[n]
		if g.motion.Where.IsClosed() || g.motion.Drive != gates.DriveNone {
			continue
		}
		if g.motion.Pausing() && !g.motion.Again(t.s.now) {
			continue
		}
		if !t.hasPath(c, t.open&^gone.With(n)) {
			continue
		}
		ok, at := g.motion.May(gates.DriveClose, t.s.now, t.shop.MovesPerMinute)
		if !ok {
			t.at(at)
			continue
		}
		gone = gone.With(n)
		w[gates.RankClose] = w[gates.RankClose].With(n)
	}
}
