package airflow

import (
	"math"

	"ductwarden/gates"
)

// supply is what the fan and the trunks leave at the first junction, in one filter state: the place of the suction
// for a conductance (flow over the square root of the suction), straight between equal steps.
type supply struct {
	state State
	first float64 // conductance of at[0]
	per   float64 // steps per unit of conductance
	at    []float64
}

func (c *Census) newSupply(state State, least, most float64, cells int) supply {
	s := supply{state: state, first: least, per: float64(cells) / (most - least), at: make([]float64, cells+1)}
	loss := c.m.lossAt(state)
	q := 0.0
	for k := range s.at {
		with := least + float64(k)/s.per
		q = c.supplied(loss, with, q)
		s.at[k] = c.root.place(q / with)
	}
	return s
}

// supplied is the flow where fan, collector and trunks meet a conductance at the junction, by Newton's method
// from a flow near it, kept between bounds.
func (c *Census) supplied(loss Loss, with, near float64) float64 {
	m := c.m
	lo, hi := 0.0, m.fan.operate(loss, with*with, 0, 0, near, operateEnd) // trunks take more
	q := near
	if !(q > lo && q < hi) {
		q = hi
	}
	for range 100 {
		p, s := m.fan.at(q)
		g := p - loss.At(q) - float64(q/with*q/with)
		s -= loss.Linear + float64(2*loss.Quadratic*q) + 2*q/with/with
		for _, d := range c.trunks {
			h, slope, _ := m.pipes[d].loss(q, m.pipes[d].fixed)
			g, s = g-h, s-slope
		}
		if g > 0 {
			lo = q
		} else {
			hi = q
		}
		next := q - g/s
		if !(next >= lo && next <= hi) {
			next = (lo + hi) / 2
		}
		if math.Abs(next-q) <= 1e-9*q {
			return next
		}
		q = next
	}
	return q
}

// edge is how near a bound a speed over a transport speed may come before the solver decides: three times what
// the tables may be off.
const edge = 3e-5

// count puts the two sides of the junction together, finds each pattern's operating point, and judges it.
func (k *counter) count(sides [2]table, each func(open gates.Set, clean, loaded Glance)) {
	left, right := k.stances[sides[0].from:sides[0].to], k.stances[sides[1].from:sides[1].to]
	none := Glance{Grade: NotJudged, Margin: math.NaN(), Weakest: NoDuct}
	for i := range left {
		a := &left[i]
		for j := range right {
			b := &right[j]
			k.tally.Patterns++
			clean, loaded := none, none
			if a.used || b.used {
				draws := a.draws.plus(&b.draws)
				var sure, sure2 bool
				clean, sure = k.judge(Clean, &draws, a, b)
				loaded, sure2 = k.judge(Loaded, &draws, a, b)
				if !sure || !sure2 {
					k.tally.Solved++
					clean, loaded = k.solve(a.open|b.open, Clean), k.solve(a.open|b.open, Loaded)
				}
			}
			k.tally.Clean[clean.Grade]++
			k.tally.Loaded[loaded.Grade]++
			if each != nil {
				each(a.open|b.open, clean, loaded)
			}
		}
	}
}

// judge finds a pattern's operating point and its slowest duct; false where the tables are not sure of it.
func (k *counter) judge(state State, draws *poly, a, b *stance) (Glance, bool) {
	c := k.c
	s := &c.supplies[0]
	if state == Loaded {
		s = &c.supplies[1]
	}
	t, with, ok := s.meet(draws)
	if !ok {
		return Glance{}, false
	}
	x := float64(c.root.half * t)
	z := c.root.mid * (1 + x) / (1 - x)
	l := look{c: c, least: math.MaxFloat64, near: z < a.least || z < b.least}
	if c.slowest >= 0 {
		l.least, l.weakest = with*c.per[c.slowest], int32(c.slowest)
		if !c.all {
			l.bounds(l.least*z, l.weakest)
		}
	}
	if a.used {
		for i := a.from; i < a.to; i++ {
			r := &k.racers[i]
			l.see(r.pace.at(t), z, r.duct)
		}
	}
	if b.used {
		for i := b.from; i < b.to; i++ {
			r := &k.racers[i]
			l.see(r.pace.at(t), z, r.duct)
		}
	}
	l.least *= z
	if c.all {
		l.bounds(l.least, l.weakest)
	}
	return l.glance(), !l.near
}

// meet finds the place where what is drawn is what is supplied, and the conductance there; false where the tables
// do not reach.
func (s *supply) meet(draws *poly) (t, with float64, ok bool) {
	t, _, ok = s.place(draws[0]) // within a few hundredths already
	with = draws.at(t)
	u, slope, ok2 := s.place(with)
	steep := draws.slope(t)
	step := (u - t) / (1 - float64(slope*steep))
	t += step
	return t, with + float64(steep*step), ok && ok2 && t > -1.01 && t < 1.01
}

// place looks up where a conductance puts the junction, and the slope.
func (s *supply) place(with float64) (t, slope float64, ok bool) {
	x := float64((with - s.first) * s.per)
	i := int(x)
	if !(x >= 0) || i >= len(s.at)-1 {
		return 0, 0, false
	}
	d := s.at[i+1] - s.at[i]
	return s.at[i] + float64((x-float64(i))*d), d * s.per, true
}

// look gathers the speeds of one pattern, each over its transport speed.
type look struct {
	c             *Census
	least         float64
	weakest       int32
	creeps, sinks bool
	near          bool // a bound is too near to tell
}

// see takes in a duct's speed at a place, z times pace. Where all ducts have the same bounds, those of the slowest
// will do.
func (l *look) see(pace, z float64, duct int32) {
	if pace < l.least {
		l.least, l.weakest = pace, duct
	}
	if !l.c.all {
		l.bounds(pace*z, duct)
	}
}

func (l *look) bounds(v float64, duct int32) {
	over, clear := v-l.c.need[duct], v-l.c.sinks[duct]
	l.creeps = l.creeps || over < 0
	l.sinks = l.sinks || clear < 0
	l.near = l.near || math.Abs(over) < edge || math.Abs(clear) < edge
}

func (l *look) glance() Glance {
	g := Glance{Grade: Carries, Margin: l.least - 1, Weakest: uint8(l.weakest)}
	switch {
	case l.sinks:
		g.Grade = Settles
	case l.creeps:
		g.Grade = Creeps
	}
	return g
}

// solve judges a pattern without the tables.
func (k *counter) solve(open gates.Set, state State) Glance {
	m := k.c.m
	demand := m.Demanded(open)
	v := k.s.JudgeAs(open, demand, state)
	g := Glance{Grade: v.Grade, Margin: math.NaN(), Weakest: v.Weakest}
	if margin, _, ok := m.ExactMargin(&k.s.res, demand); ok {
		g.Margin = margin
	}
	return g
}
