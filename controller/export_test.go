package controller

import "ductwarden/gates"

// Levels is what is on: start lines and drives, without anything else that Outputs derives.
func (s *State) Levels() (lines Set, drive [MaxGates]gates.Drive) {
	l := s.levels()
	return l.lines, l.drive
}

// Due is when the core wants to be called, as Wake says.
func (s *State) Due() Instant { return s.due }

// DueAt makes a revived state want to be called at the given time, as the state did that its key was made of.
func (s *State) DueAt(at Instant) { s.due = at }

// armed is how far away every deadline is in a state without time.
const armed = Instant(Second)

// Untimed takes time out of a state: every age is either new or old enough, every deadline lies ahead, and how often a
// gate has moved, how far the hour's starts are spent and how a current has come and gone is left to whoever explores.
func (s *State) Untimed(shop *Shop) {
	now := s.now
	ahead := func(at *Instant) {
		if *at > now {
			*at = now + armed
		} else if *at != 0 {
			*at = now
		}
	}
	old := func(at *Instant, ages ...Span) { // the largest age that it has reached
		if *at == 0 {
			return
		}
		reached := Instant(0)
		for _, a := range ages {
			if now-*at >= Instant(a) {
				reached = max(reached, Instant(a))
			}
		}
		*at = now - reached
	}
	if s.lastStart != 0 && now-s.lastStart >= Instant(shop.InrushSpacing) {
		s.lastStart, s.lastOf = 0, 0
	}
	for n := range shop.Machines {
		m := &s.machine[n]
		ahead(&m.pressed)
		ahead(&m.down)
		ahead(&m.chips)
		t := turn{shop: shop, s: s}
		asks := t.longestRun(n)
		old(&m.ran, asks, asks+shop.LongRunGrace)
	}
	for n := range shop.Gates {
		g := &s.gate[n]
		ahead(&g.until)
		g.motion = g.motion.WithMoves(nil)
		if g.motion.Pausing() {
			old(&g.motion.Since, gates.Pause)
		} else if g.motion.Since != 0 {
			g.motion.Since = now
		}
	}
	for n := range shop.Collectors {
		c, p := &s.collector[n], &shop.Collectors[n]
		if c.on != 0 { // how long it runs matters while it starts only: least run is in the end of its linger
			c.on = now
			if c.phase != Starting {
				c.on = now - Instant(max(p.SpinUp, p.LeastRun, p.ProveOn))
			}
		}
		old(&c.off, max(p.Rest, p.Coast))
		ahead(&c.prove)
		old(&c.quiet, 0)
		ahead(&c.clear)
		ahead(&c.flushed)
		old(&c.attended, shop.LongestRun, shop.LongestRun+shop.LongRunGrace)
		old(&c.noPath, 0)
		c.saved, c.edges, c.flush = 0, [4]Instant{}, 0
		c.made, c.question.Open = true, 0
		spent := c.starts.free(p.StartsPerHour) > now
		s.Spend(shop, n, spent)
	}
	s.due = 0
}

// Spend makes the starts of collector c's hour spent, or none of them.
func (s *State) Spend(shop *Shop, c int, spent bool) {
	h := &s.collector[c].starts
	*h = hour{}
	if spent {
		for range shop.Collectors[c].StartsPerHour {
			h.add(s.now)
		}
	}
}

// Spent reports whether the hour allows no start.
func (s *State) Spent(shop *Shop, c int) bool {
	return s.collector[c].starts.free(shop.Collectors[c].StartsPerHour) > s.now
}

// Chatters makes the next change of collector c's current the fourth within a moment.
func (s *State) Chatters(c int) {
	s.collector[c].edges = [4]Instant{s.now, s.now, s.now, 0}
}

// Timers is how many timers Expire knows.
func Timers(shop *Shop) int { return 5*len(shop.Machines) + 3*len(shop.Gates) + 9*len(shop.Collectors) }

// Expire lets one timer run out now. It reports false when it does not run. Of machine n: the button's time, the
// run-down, the way of the last chip, the long run asked after and ended; of gate n: the drive, the pause, the hold; of
// collector n: spinning up, coasting, the proof, clearing, linger, the flush, the person's attention asked and ended, the way.
func (s *State) Expire(shop *Shop, id int) (what string, n int, ok bool) {
	now := s.now
	end := func(at *Instant) bool {
		if *at <= now {
			return false
		}
		*at = now
		return true
	}
	age := func(at *Instant, to Span) bool {
		if *at == 0 || now-*at >= Instant(to) {
			return false
		}
		*at = now - Instant(to)
		return true
	}
	if m := len(shop.Machines); id < 5*m {
		n = id / 5
		k := &s.machine[n]
		t := turn{shop: shop, s: s}
		asks := t.longestRun(n)
		switch id % 5 {
		case 0:
			return "button", n, end(&k.pressed)
		case 1:
			return "run-down", n, end(&k.down)
		case 2:
			return "chips", n, end(&k.chips)
		case 3:
			return "long run", n, age(&k.ran, asks)
		}
		return "long run over", n, k.ran != 0 && now-k.ran >= Instant(asks) && age(&k.ran, asks+shop.LongRunGrace)
	}
	id -= 5 * len(shop.Machines)
	if g := len(shop.Gates); id < 3*g {
		n = id / 3
		k := &s.gate[n]
		due, runs := k.motion.Due(&shop.Gates[n].Motion)
		switch id % 3 {
		case 0:
			ok = runs && !k.motion.Pausing()
			if ok {
				k.motion.Since -= due - now
			}
			return "drive", n, ok
		case 1:
			return "pause", n, k.motion.Pausing() && age(&k.motion.Since, gates.Pause)
		}
		return "hold", n, k.selector == gates.HeldOpen && end(&k.until)
	}
	id -= 3 * len(shop.Gates)
	n = id / 9
	k, p := &s.collector[n], &shop.Collectors[n]
	switch id % 9 {
	case 0:
		return "spin-up", n, age(&k.on, max(p.SpinUp, p.LeastRun, p.ProveOn))
	case 1:
		return "coast", n, k.phase != CollectorOff && !k.powered() && age(&k.off, max(p.Rest, p.Coast))
	case 2:
		return "proof", n, end(&k.prove)
	case 3:
		return "clearing", n, k.phase == Clearing && end(&k.clear)
	case 4:
		if k.phase == Lingering {
			k.clear, k.quiet = now-4*Instant(Hour), now-4*Instant(Hour)
		}
		return "linger", n, k.phase == Lingering
	case 5:
		return "flush", n, end(&k.flushed)
	case 6:
		return "attention", n, k.selector == gates.HeldOpen && k.powered() && age(&k.attended, shop.LongestRun)
	case 7:
		return "attention over", n, k.selector == gates.HeldOpen && k.powered() && now-k.attended >= Instant(shop.LongestRun) &&
			age(&k.attended, shop.LongestRun+shop.LongRunGrace)
	}
	return "way", n, age(&k.noPath, Minute*5)
}

// Timeless forgets since when machines run, where long runs are left out.
func (s *State) Timeless(shop *Shop) {
	for n := range shop.Machines {
		if m := &s.machine[n]; m.ran != 0 {
			m.ran = s.now
		}
	}
}
