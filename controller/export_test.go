package controller

import (
	"ductwarden/controller/plan"
	"ductwarden/gates"
)

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

// Bits are small fields, one behind the other; none lies across two words.
type Bits struct {
	W     [5]uint64
	i, at uint
}

// Put writes a field of so many bits.
func (b *Bits) Put(v uint64, width uint) {
	if b.at+width > 64 {
		b.i, b.at = b.i+1, 0
	}
	b.W[b.i] |= v << b.at
	b.at += width
}

// Get reads a field of so many bits.
func (b *Bits) Get(width uint) uint64 {
	if b.at+width > 64 {
		b.i, b.at = b.i+1, 0
	}
	v := b.W[b.i] >> b.at & (1<<width - 1)
	b.at += width
	return v
}

// untimed codes the fields of a state without time; reads tells the way.
type untimed struct {
	*Bits
	reads bool
	now   Instant
}

func bits[T ~uint8 | ~int8 | ~uint64](u *untimed, v *T, width uint) {
	if u.reads {
		*v = T(u.Get(width))
		return
	}
	if uint64(*v)>>width != 0 {
		panic("a field is wider than its bits")
	}
	u.Put(uint64(*v), width)
}

// when codes a moment that is none, ahead, now, or of one of the given ages.
func (u *untimed) when(at *Instant, width uint, ages ...Span) {
	if u.reads {
		switch x := u.Get(width); x {
		case 0:
			*at = 0
		case 1:
			*at = u.now + armed
		case 2:
			*at = u.now
		default:
			*at = u.now - Instant(ages[x-3])
		}
		return
	}
	x := -1
	switch {
	case *at == 0:
		x = 0
	case *at == u.now+armed:
		x = 1
	case *at == u.now:
		x = 2
	default:
		for i, a := range ages {
			if *at == u.now-Instant(a) {
				x = 3 + i
			}
		}
	}
	if x < 0 {
		panic("a state without time holds a time")
	}
	u.Put(uint64(x), width)
}

// PackUntimed writes what Untimed has left of a state.
func (s *State) PackUntimed(shop *Shop, b *Bits) { s.untimed(shop, &untimed{Bits: b, now: s.now}) }

// UnpackUntimed reads it into a state in which nothing else was ever set.
func (s *State) UnpackUntimed(shop *Shop, b *Bits) {
	s.untimed(shop, &untimed{Bits: b, reads: true, now: s.now})
}

func (s *State) untimed(shop *Shop, u *untimed) {
	u.flags(2, &s.unclean, nil, nil, (*uint8)(&s.mode))
	if len(shop.Collectors) > 1 {
		u.when(&s.lastStart, 2)
		bits(u, &s.lastOf, 1)
	}
	for n := range shop.Machines {
		m, t := &s.machine[n], turn{shop: shop, s: s}
		asks := t.longestRun(n)
		u.flags(2, &m.fresh, &m.lost, &m.overdue, (*uint8)(&m.belief))
		bits(u, &m.calls, 2)
		u.when(&m.pressed, 2)
		u.when(&m.down, 2)
		u.when(&m.chips, 2)
		u.when(&m.ran, 3, asks, asks+shop.LongRunGrace)
	}
	for n := range shop.Gates {
		g := &s.gate[n]
		m := &g.motion
		bits(u, &m.Where, 3)
		bits(u, &m.Seen, 3)
		u.drive(&m.Drive)
		u.drive(&m.Way)
		u.drive(&m.Left)
		u.drive(&g.want)
		u.when(&m.Since, 2, gates.Pause)
		u.flags(2, &g.silent, &g.redriven, nil, (*uint8)(&g.selector))
		bits(u, &m.Tries, 2)
		u.when(&g.until, 2)
	}
	for n := range shop.Collectors {
		s.collector[n].untimed(shop, &shop.Collectors[n], u)
	}
}

// flags codes three flags, which may be missing, and a small number.
func (u *untimed) flags(width uint, a, b, c *bool, v *uint8) {
	if u.reads {
		x := u.Get(3 + width)
		for i, f := range [...]*bool{a, b, c} {
			if f != nil {
				*f = x>>i&1 != 0
			}
		}
		*v = uint8(x >> 3)
		return
	}
	x := uint64(*v) << 3
	for i, f := range [...]*bool{a, b, c} {
		if f != nil && *f {
			x |= 1 << i
		}
	}
	u.Put(x, 3+width)
}

func (u *untimed) drive(d *gates.Drive) {
	if u.reads {
		*d = gates.Drive(u.Get(2)) - 1
		return
	}
	u.Put(uint64(*d+1), 2)
}

func (c *collector) untimed(shop *Shop, p *Collector, u *untimed) {
	bits(u, &c.phase, 4)
	bits(u, &c.feedback, 2)
	bits(u, &c.latch, 5)
	u.flags(2, &c.disconnected, &c.finish, &c.asked, (*uint8)(&c.selector))
	u.when(&c.on, 2, max(p.SpinUp, p.LeastRun, p.ProveOn))
	u.when(&c.off, 2, max(p.Rest, p.Coast))
	u.when(&c.prove, 2)
	u.when(&c.quiet, 2)
	u.when(&c.clear, 2)
	u.when(&c.attended, 3, shop.LongestRun, shop.LongestRun+shop.LongRunGrace)
	u.when(&c.noPath, 2)
	spent := uint8(0)
	if !u.reads && c.starts.free(p.StartsPerHour) > u.now {
		spent = 1
	}
	q := &c.question
	u.flags(1, &q.Loaded, nil, nil, &spent)
	bits(u, &q.Running, 2)
	bits(u, &q.Down, 2)
	bits(u, &q.Usable, 3)
	bits(u, &q.StuckOpen, 3)
	if !u.reads {
		return
	}
	c.made, c.starts = true, hour{}
	if spent != 0 {
		for range p.StartsPerHour {
			c.starts.add(u.now)
		}
	}
	c.answer = plan.Answer{}
	if c.asked { // a pure function of the question, and it does not look at what is open in these shops
		c.answer = p.Planner.Choose(*q)
		c.answer.Clear = min(max(c.answer.Clear, 0), longestClear)
	}
}

// Saved is the part of a state that a small shop uses.
type Saved struct {
	head      State0
	machine   [2]machine
	gate      [3]gate
	collector [2]collector
}

// State0 is the head of a state.
type State0 struct {
	mode      Mode
	unclean   bool
	lastStart Instant
	lastOf    uint8
}

// Save keeps the part of a state that a small shop uses; Restore puts it back.
func (s *State) Save(to *Saved) {
	to.head = State0{s.mode, s.unclean, s.lastStart, s.lastOf}
	copy(to.machine[:], s.machine[:])
	copy(to.gate[:], s.gate[:])
	copy(to.collector[:], s.collector[:])
}

// Restore puts back what Save kept.
func (s *State) Restore(from *Saved) {
	s.mode, s.unclean, s.lastStart, s.lastOf = from.head.mode, from.head.unclean, from.head.lastStart, from.head.lastOf
	copy(s.machine[:], from.machine[:])
	copy(s.gate[:], from.gate[:])
	copy(s.collector[:], from.collector[:])
	for c := len(from.collector); c < len(s.collector); c++ {
		s.collector[c] = collector{}
	}
}

// Merge leaves apart what an exploration by outcomes does not tell apart. What is no longer used: a start long ago, both switches of a gate at once where
// neither means the same, how
// long a motor has stood once its wheel has (its rest is a matter of time), who attended to what nobody runs by hand. What
// has the same consequences: halted and standing by; not started and tripped; a contactor that chattered and a motor that did
// not stop; a way lost, once another latch stands that takes more to clear. And what a move of the exploration decides anew:
// which try a drive is, whether a gate was driven back once before, whether a proof that cannot be read is overdue.
func (s *State) Merge(shop *Shop) {
	if len(shop.Collectors) == 1 {
		s.lastStart, s.lastOf = 0, 0
	}
	if s.mode == Halted {
		s.mode = StandingBy
	}
	for n := range shop.Machines {
		if m := &s.machine[n]; m.ran != 0 {
			m.ran = s.now
		}
	}
	for n := range shop.Gates {
		g := &s.gate[n]
		if g.motion.Tries > 0 {
			g.motion.Tries = 1
		}
		if g.motion.Left != gates.DriveOpen {
			g.redriven = false
		}
		if l := &shop.Gates[n].Motion; l.OpenSwitch && l.ClosedSwitch && g.motion.Seen == gates.SeenBoth {
			g.motion.Seen = gates.SeenNeither
		}
	}
	for n := range shop.Collectors {
		c, p := &s.collector[n], &shop.Collectors[n]
		s.Spend(shop, n, false)
		switch {
		case c.selector != gates.HeldOpen:
			c.attended = 0
		case c.attended != 0:
			c.attended = s.now
		}
		if p.Rest == 0 && c.phase != Coasting && c.phase != StartFailed {
			c.off = s.now - Instant(p.Coast)
		}
		if c.feedback == Unreadable && c.prove == s.now {
			c.prove = s.now + armed
		}
		if c.latch&latchStart != 0 {
			c.latch = c.latch&^latchStart | latchTrip
		}
		if c.latch&latchContactor != 0 {
			c.latch = c.latch&^latchContactor | latchStop
		}
		if c.latch&(latchTrip|latchStop) != 0 {
			c.latch &^= latchPath
		}
	}
}

// Redriven says that gate g was driven back once before.
func (s *State) Redriven(g int) { s.gate[g].redriven = true }

// MayBeRedriven reports whether gate g stands where it may be moved by hand and driven back, and has not been yet.
func (s *State) MayBeRedriven(g int) bool {
	k := &s.gate[g]
	return k.motion.Left == gates.DriveNone && k.motion.Where.IsOpen() && !k.redriven
}

// ProofRuns reports whether collector c's motor is waited for; ProofOver ends the waiting.
func (s *State) ProofRuns(c int) bool { return s.collector[c].prove > s.now }

// ProofOver ends it.
func (s *State) ProofOver(c int) { s.collector[c].prove = s.now }

// LastTry makes the drive under way the last try of its motion.
func (s *State) LastTry(g int) { s.gate[g].motion.Tries = 2 }
