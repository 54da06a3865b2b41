package controller

import "ductwarden/gates"

// view is a turn that only looks.
func view(shop *Shop, s *State) turn {
	t := turn{shop: shop, s: s}
	t.layout()
	t.demand()
	return t
}

// Outputs is the level form of what must be on now.
func (s *State) Outputs(shop *Shop) Outputs {
	l := s.levels()
	o := Outputs{Lines: l.lines, Drive: l.drive, StandingBy: s.mode == StandingBy}
	t := view(shop, s)
	for n := range shop.Machines {
		if t.hasAir(n) {
			o.AirReady = o.AirReady.With(n)
		}
		o.NoAir = o.NoAir || t.noAir(n)
	}
	for c := range shop.Collectors {
		o.StartingSoon = o.StartingSoon || t.startsSoon(c)
	}
	t.standing(func(k Standing) { o.Alarm = o.Alarm || k.Is.waits() })
	return o
}

// startsSoon reports whether collector c is about to start: called, and held back by nothing but gates that move or
// a few seconds of rest.
func (t *turn) startsSoon(c int) bool {
	why, ok := t.waits(c)
	if !ok || why == BecauseProofUnreadable || why == BecauseWheelTurns {
		return false
	}
	at, _ := t.startAt(c)
	return at-t.s.now <= Instant(t.shop.Warning) && t.gatesComing(c)
}

// gatesComing reports whether the gates of one of the callers are open or on their way.
func (t *turn) gatesComing(c int) bool {
	for n := range t.users[c].All() {
		if t.s.machine[n].calls>>uint(c)&1 != 0 && t.coming(c, n) {
			return true
		}
	}
	return t.called(c) && t.s.collector[c].selector != 0
}

// coming reports whether every gate of machine n in the tree of c is open or can be expected to open.
func (t *turn) coming(c, n int) bool {
	for g := range (t.shop.Machines[n].Needs & t.tree[c] &^ t.open).All() {
		l, gt := &t.shop.Gates[g].Motion, &t.s.gate[g]
		switch {
		case l.Hand && !l.OpenSwitch:
		case t.blocked(g), gt.motion.Left != 0 && gt.redriven:
			return false
		case gt.motion.Tries == 0:
			m := gt.motion // a copy: looking changes nothing
			if ok, _ := m.May(gates.DriveOpen, t.s.now, t.shop.MovesPerMinute); !ok {
				return false
			}
		}
	}
	return true
}

// hasAir reports whether a machine's gates are open and its collectors blow, up to speed.
func (t *turn) hasAir(n int) bool {
	p := &t.shop.Machines[n]
	for c := range t.shop.Collectors {
		if !p.Collectors.Has(c) {
			continue
		}
		col := &t.s.collector[c]
		switch {
		case !t.moves(c) || !t.wayKnown(c, n) || col.disconnected:
			return false
		case col.powered() && (col.phase == Starting || t.s.now < col.on+Instant(t.shop.Collectors[c].SpinUp)):
			return false
		}
	}
	return !p.Collectors.Empty()
}

// noAir reports whether a machine makes dust without air and nothing is under way that brings it at once.
func (t *turn) noAir(n int) bool {
	if !t.s.machine[n].runs() || t.hasAir(n) {
		return false
	}
	if t.s.mode != OnDuty {
		return true
	}
	for c := range t.shop.Collectors {
		if !t.shop.Machines[n].Collectors.Has(c) {
			continue
		}
		if !t.coming(c, n) || t.s.collector[c].disconnected {
			return true
		}
		if t.moves(c) {
			continue // up to speed in a moment, or waits for a gate that moves
		}
		if why, ok := t.waits(c); !ok || why != BecauseNoWay && why != BecauseOtherStarts {
			return true
		}
		if t.s.machine[n].calls>>uint(c)&1 == 0 {
			return true
		}
	}
	return false
}
