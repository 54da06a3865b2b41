package controller

import (
	"errors"

	"ductwarden/gates"
)

// keyFormat is the first byte of a key; another number is another format.
const keyFormat = 1

// Key appends the state in a form in which equal futures give equal bytes: times are relative to now, ages that no
// longer matter are all alike, and what only another shop would use is left out. Revive makes a state from it;
// together they are a checkpoint.
func (s *State) Key(shop *Shop, buf []byte) []byte {
	c := coder{buf: append(buf, keyFormat), now: s.now}
	plain := s.plain(shop)
	c.state(shop, &plain)
	return c.buf
}

// Revive makes the state that Key wrote for the same shop, at the given time. It asks to be woken at once.
func Revive(shop *Shop, key []byte, now Instant) (State, error) {
	if len(key) == 0 || key[0] != keyFormat {
		return State{}, errors.New("this is no checkpoint of this version: start from the beginning")
	}
	s := State{now: min(max(now, 1), latest), due: min(max(now, 1), latest) + 1}
	c := coder{buf: key[1:], now: s.now, reads: true}
	c.state(shop, &s)
	if c.short || len(c.buf) > 0 {
		return State{}, errors.New("the checkpoint is not of this shop, or is damaged: start from the beginning")
	}
	return s, nil
}

// plain is the state without what can no longer make a difference.
func (s *State) plain(shop *Shop) State {
	p := *s
	if p.lastStart != 0 && p.now-p.lastStart >= Instant(shop.InrushSpacing) {
		p.lastStart = 0
	}
	if p.lastStart == 0 {
		p.lastOf = 0
	}
	for n := range shop.Machines {
		t := turn{shop: shop, s: &p}
		m := &p.machine[n]
		m.ran = p.younger(m.ran, t.longestRun(n)+shop.LongRunGrace)
	}
	for n := range shop.Collectors {
		c, f := &p.collector[n], &shop.Collectors[n]
		c.off = p.younger(c.off, max(f.Rest, f.Coast))
		c.on = p.younger(c.on, max(f.SpinUp, f.LeastRun, f.ProveOn))
		if c.selector != gates.HeldOpen {
			c.attended = 0
		}
		c.attended = p.younger(c.attended, shop.LongestRun+shop.LongRunGrace)
		if c.saved != 0 && p.now-c.saved > 3*Instant(saveAhead) {
			c.saved = 0
		}
		for i, e := range c.edges {
			if e != 0 && p.now-e >= Instant(chatter) {
				c.edges[i] = 0
			}
		}
		c.starts.forget(p.now)
		if extra := int(c.starts.n) - int(f.StartsPerHour); extra > 0 {
			c.starts.drop(extra)
		}
	}
	for n := range shop.Gates {
		p.gate[n].motion.Advance(p.now, &shop.Gates[n].Motion) // forgets old moves; what is due has been done
	}
	return p
}

// younger is a moment, at most so long ago.
func (s *State) younger(at Instant, age Span) Instant {
	if at == 0 {
		return 0
	}
	return max(at, s.now-Instant(age))
}

// coder writes or reads the same fields in the same order.
type coder struct {
	buf   []byte
	now   Instant
	reads bool
	short bool // fewer bytes than fields
}

func (c *coder) number(v uint64) uint64 {
	if !c.reads { // seven bits a byte, the low ones first; the high bit says that more follow
		rest := v
		for ; rest >= 0x80; rest >>= 7 {
			c.buf = append(c.buf, byte(rest)|0x80)
		}
		c.buf = append(c.buf, byte(rest))
		return v
	}
	v = 0
	for i, b := range c.buf {
		if i > 9 {
			break
		}
		v |= uint64(b&0x7f) << (7 * i)
		if b < 0x80 {
			c.buf = c.buf[i+1:]
			return v
		}
	}
	c.short, c.buf = true, nil
	return 0
}

// whole codes any small integer.
func whole[T ~uint8 | ~int8 | ~int32 | ~uint64](c *coder, v *T) {
	x := int64(*v)
	*v = T(unzigzag(c.number(zigzag(x))))
}

func yes(c *coder, v *bool) {
	x := uint64(0)
	if *v {
		x = 1
	}
	*v = c.number(x) != 0
}

// when codes a moment relative to now; 0 stays 0.
func when(c *coder, v *Instant) {
	x := uint64(0)
	if *v != 0 {
		x = zigzag(int64(*v-c.now)) + 1
	}
	if x = c.number(x); !c.reads {
		return
	}
	if *v = 0; x != 0 {
		back := unzigzag(x - 1)
		*v = c.now + Instant(max(-int64(latest), min(back, int64(latest))))
		if *v == 0 {
			*v = -1
		}
	}
}

func zigzag(x int64) uint64   { return uint64(x)<<1 ^ uint64(x>>63) }
func unzigzag(u uint64) int64 { return int64(u>>1) ^ -int64(u&1) }

func (c *coder) state(shop *Shop, s *State) {
	whole(c, &s.mode)
	yes(c, &s.unclean)
	when(c, &s.lastStart)
	whole(c, &s.lastOf)
	for n := range shop.Machines {
		m := &s.machine[n]
		whole(c, &m.belief)
		yes(c, &m.fresh)
		yes(c, &m.lost)
		yes(c, &m.overdue)
		whole(c, &m.calls)
		when(c, &m.pressed)
		when(c, &m.ran)
		when(c, &m.down)
		when(c, &m.chips)
	}
	for n := range shop.Gates {
		c.gate(&s.gate[n])
	}
	for n := range shop.Collectors {
		c.collector(&s.collector[n])
	}
}

func (c *coder) gate(g *gate) {
	m := &g.motion
	whole(c, &m.Where)
	whole(c, &m.Seen)
	whole(c, &m.Drive)
	whole(c, &m.Way)
	whole(c, &m.Tries)
	whole(c, &m.Left)
	when(c, &m.Since)
	whole(c, &g.selector)
	yes(c, &g.silent)
	yes(c, &g.redriven)
	whole(c, &g.want)
	when(c, &g.until)
	at, n := m.MoveAges()
	count := uint8(n)
	whole(c, &count)
	count = min(count, gates.MostMovesPerMinute)
	for i := range int(count) {
		when(c, &at[i])
	}
	if c.reads {
		*m = m.WithMoves(at[:count])
	}
}

func (c *coder) collector(k *collector) {
	whole(c, &k.selector)
	whole(c, &k.phase)
	whole(c, &k.feedback)
	whole(c, &k.latch)
	whole(c, &k.air)
	for _, b := range [...]*bool{&k.disconnected, &k.full, &k.loaded, &k.finish, &k.made, &k.asked} {
		yes(c, b)
	}
	whole(c, &k.flushing)
	whole(c, &k.flush)
	for _, t := range [...]*Instant{&k.on, &k.off, &k.prove, &k.quiet, &k.clear, &k.flushed, &k.attended, &k.noPath, &k.saved} {
		when(c, t)
	}
	for i := range k.edges {
		when(c, &k.edges[i])
	}
	whole(c, &k.starts.n)
	k.starts.n = min(k.starts.n, MostStarts)
	for i := range int(k.starts.n) {
		when(c, &k.starts.at[i])
	}
	if !k.asked {
		return
	}
	q, a := &k.question, &k.answer
	for _, s := range [...]*Set{&q.Running, &q.Down, &q.Open, &q.Usable, &q.StuckOpen, &a.Open, &a.Needed, &a.Relief, &a.Left, &a.Unserved} {
		whole(c, s)
	}
	yes(c, &q.Loaded)
	yes(c, &a.Bounded)
	whole(c, &a.Verdict)
	whole(c, &a.Worst)
	whole(c, &a.WorstMargin)
	whole(c, &a.Margin)
	whole(c, &a.Share)
	whole(c, &a.Weakest)
	whole(c, &a.Short)
	whole(c, &a.Mend)
	whole(c, &a.Clear)
}
