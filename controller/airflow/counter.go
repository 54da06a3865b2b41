package airflow

import (
	"context"
	"math"

	"ductwarden/gates"
)

// slowRe is the Re below which a used duct's air is left to the solver: the friction law has a bend there.
const slowRe = 5000

// stance is one state of a subtree's gates, seen from a node.
type stance struct {
	draws    poly // flow over the square root of the node's suction
	open     gates.Set
	from, to int32   // its racers
	used     bool    // a demanded port draws through it
	least    float64 // square root of the node's suction below which a used duct's air is below slowRe
}

// racer is a duct that may be the slowest of a stance: its speed over its transport speed, over the square root of
// the node's suction.
type racer struct {
	pace poly
	duct int32
}

// table is a range of a counter's stances.
type table struct{ from, to int }

// counter is the room of one goroutine of a census. It grows to its greatest use and stays.
type counter struct {
	c       *Census
	s       *Solver
	held    gates.Set // outer gates that are open in this block
	stances []stance
	racers  []racer
	paces   []pace
	tally   Tally
}

// blocks judges every so many blocks from first on.
func (k *counter) blocks(ctx context.Context, first, every int, each func(open gates.Set, clean, loaded Glance)) {
	k.tally = Tally{}
	for b := first; b < 1<<len(k.c.outer) && ctx.Err() == nil; b += every {
		k.block(k.c.heldIn(b), each)
	}
}

// block judges the patterns of all gates but the outer ones.
func (k *counter) block(held gates.Set, each func(open gates.Set, clean, loaded Glance)) {
	c := k.c
	k.held = held
	k.stances, k.racers = k.stances[:0], k.racers[:0]
	if k.stances == nil {
		n := c.stances()
		k.stances, k.racers = make([]stance, 0, n), make([]racer, 0, n+n/2)
	}
	var sides [2]table
	for g, ducts := range c.groups {
		var tables []table
		var room [MaxDucts]table
		tables = room[:0]
		for _, d := range ducts {
			tables = append(tables, k.duct(d, &c.root))
		}
		var mouths []int
		if g == 0 {
			mouths = c.mouths
		}
		sides[g] = k.node(tables, mouths, &c.root)
	}
	k.count(sides, each)
}

// stances is how many of them a block takes.
func (c *Census) stances() (n int) {
	for g, ducts := range c.groups {
		_, all := c.states(ducts, g == 0 && len(c.mouths) > 0)
		n += all
	}
	return n
}

// states is in how many states the ducts that meet at a node stand together, and how many stances it takes to find
// them.
func (c *Census) states(ducts []int, mouths bool) (together, all int) {
	together = 1
	if mouths || len(ducts) == 0 {
		all = 1
	}
	for k, d := range ducts {
		own := c.m.on[d]
		for _, g := range c.outer {
			own = own.Without(g)
		}
		above, sum := c.states(c.m.children[d], len(c.m.ports[d]) > 0)
		above <<= own.Len()
		together *= above
		all += sum + above
		if mouths || k > 0 {
			all += together
		}
	}
	return together, all
}

// duct tables what a duct draws from its downstream node, for each state of the gates on it and above it.
func (k *counter) duct(d int, below *span) table {
	m := k.c.m
	var sum table
	if m.merged[d] {
		port := m.ports[d][0]
		sum = table{len(k.stances), len(k.stances) + 1}
		k.stances = append(k.stances, stance{used: m.portWay[port] != 0, from: int32(len(k.racers)), to: int32(len(k.racers))})
	} else {
		var room [MaxDucts]table
		tables := room[:0]
		for _, c := range m.children[d] {
			tables = append(tables, k.duct(c, &k.c.spans[d]))
		}
		sum = k.node(tables, m.ports[d], &k.c.spans[d])
	}
	out := table{from: len(k.stances)}
	free := m.on[d]
	for _, g := range k.c.outer {
		free = free.Without(g)
	}
	for own := gates.Set(0); ; own = (own - free) & free {
		open := own | k.held&m.on[d]
		gate, shut, closed := 0.0, false, false
		for _, g := range m.gatesOf[d] {
			if !open.Has(m.net.Gates[g].Number) {
				gate += m.leak[g]
				shut, closed = shut || m.leak[g] == 0, true
			}
		}
		for i := sum.from; i < sum.to; i++ {
			switch {
			case shut:
				k.stances = append(k.stances, stance{open: k.stances[i].open | open, from: int32(len(k.racers)), to: int32(len(k.racers))})
			case m.merged[d]:
				k.enter(d, i, open, gate, closed, below)
			default:
				k.through(d, i, open, gate, closed, below)
			}
		}
		if own == free {
			break
		}
	}
	out.to = len(k.stances)
	return out
}

// node puts the states of the ducts that meet at a node together, with ports that open there.
func (k *counter) node(tables []table, ports []int, at *span) table {
	m := k.c.m
	sum := table{len(k.stances), len(k.stances) + 1}
	s := stance{from: int32(len(k.racers)), to: int32(len(k.racers))}
	for _, o := range ports {
		s.draws[0] += 1 / math.Sqrt(m.hood[o])
		s.used = s.used || m.portWay[o] != 0
	}
	switch {
	case len(tables) > 0 && len(ports) == 0:
		sum, tables = tables[0], tables[1:]
	default:
		k.stances = append(k.stances, s)
	}
	for _, t := range tables {
		from := len(k.stances)
		for i := sum.from; i < sum.to; i++ {
			for j := t.from; j < t.to; j++ {
				k.add(i, j, at)
			}
		}
		sum = table{from, len(k.stances)}
	}
	return sum
}

// add puts two stances of one node together.
func (k *counter) add(i, j int, at *span) {
	a, b := &k.stances[i], &k.stances[j]
	s := stance{draws: a.draws.plus(&b.draws), open: a.open | b.open, used: a.used || b.used, least: max(a.least, b.least), from: int32(len(k.racers))}
	switch {
	case a.from == a.to:
		s.from, s.to = b.from, b.to
	case b.from == b.to:
		s.from, s.to = a.from, a.to
	default:
		k.racers = append(append(k.racers, k.racers[a.from:a.to]...), k.racers[b.from:b.to]...)
		s.to = int32(len(k.racers))
		k.thin(&s, at)
	}
	k.stances = append(k.stances, s)
}

// thin drops the racers of the newest stance that are nowhere the slowest.
func (k *counter) thin(s *stance, at *span) {
	k.paces = k.paces[:0]
	for r := s.from; r < s.to; r++ {
		p := &k.racers[r]
		v := pace{duct: p.duct}
		for i, t := range fitted {
			v.at[i] = p.pace.at(t)
		}
		k.paces = append(k.paces, v)
	}
	to := s.from
	for i := range k.paces {
		if k.leads(i) {
			k.racers[to] = k.racers[int(s.from)+i]
			to++
		}
	}
	s.to = to
	k.racers = k.racers[:to]
}

// pace is a racer's speed at the places of a fit.
type pace struct {
	at   [terms]float64
	duct int32
}

// leads reports whether a pace is somewhere the slowest of all, in one of the three ways that count: over the
// transport speed, over what carries, over what settles.
func (k *counter) leads(i int) bool {
	c := k.c
	v := &k.paces[i]
	ways := 3
	if c.all {
		ways = 1
	}
	for way := range ways {
		scale := func(d int32) float64 {
			switch way {
			case 1:
				return c.perNeed[d]
			case 2:
				return c.perSinks[d]
			}
			return 1
		}
		own := scale(v.duct)
		for j := range terms {
			least := true
			for o := range k.paces {
				if w := &k.paces[o]; o != i && w.at[j]*scale(w.duct) < v.at[j]*own {
					least = false
					break
				}
			}
			if least {
				return true
			}
		}
	}
	return false
}

// enter adds what a duct with nothing but a port draws.
func (k *counter) enter(d, i int, open gates.Set, gate float64, closed bool, below *span) {
	p := &k.c.m.pipes[d]
	more := p.fixed + gate
	q := below.mid / math.Sqrt(p.first+more)
	h, _, _ := p.loss(q, more)
	ratio := q / math.Sqrt(h)
	s := stance{open: open, used: k.stances[i].used && !closed, from: int32(len(k.racers))}
	if s.used {
		h, _, _ = p.loss(slowRe/p.reynolds, more)
		s.least = math.Sqrt(h)
	}
	var at places
	var v [terms]float64
	for j, z := range below.above(s.least) {
		q = ratio * z
		h, _, _ = p.loss(q, more)
		z = math.Sqrt(h)
		at.t[j], v[j] = below.place(z), q/z
	}
	at.ready()
	s.draws = at.fit(v)
	if s.used {
		k.racers = append(k.racers, racer{s.draws.times(k.c.per[d]), int32(d)})
	}
	s.to = int32(len(k.racers))
	k.stances = append(k.stances, s)
}

// through adds what a duct draws whose upstream node draws as stance i says.
func (k *counter) through(d, i int, open gates.Set, gate float64, closed bool, below *span) {
	p, node := &k.c.m.pipes[d], &k.c.spans[d]
	a := &k.stances[i]
	s := stance{open: a.open | open, used: a.used && !closed, from: int32(len(k.racers)), to: int32(len(k.racers))}
	if a.draws[0] <= 0 {
		k.stances = append(k.stances, s)
		return
	}
	more := p.fixed + gate
	q := a.draws[0] * node.mid
	h, _, _ := p.loss(q, more)
	ratio := node.mid / math.Sqrt(float64(node.mid*node.mid)+h)
	if s.used {
		// where this duct's own air gets too slow: two steps from the middle's conductance
		z := slowRe / p.reynolds / a.draws[0]
		z = slowRe / p.reynolds / a.draws.at(max(-1, min(node.place(z), 1)))
		z = max(z, a.least)
		q = a.draws.at(max(-1, min(node.place(z), 1))) * z
		h, _, _ = p.loss(q, more)
		s.least = math.Sqrt(float64(z*z) + h)
	}
	var at places
	var v, t, shrink [terms]float64
	for j, w := range below.above(s.least) {
		z := ratio * w
		t[j] = node.place(z)
		q = a.draws.at(t[j]) * z
		h, _, _ = p.loss(q, more)
		w = math.Sqrt(float64(z*z) + h)
		inv := 1 / w
		at.t[j], v[j], shrink[j] = below.place(w), float64(q*inv), float64(z*inv)
	}
	at.ready()
	s.draws = at.fit(v)
	if s.used {
		k.paces = k.paces[:0]
		for r := a.from; r < a.to; r++ {
			from := &k.racers[r]
			w := pace{duct: from.duct}
			for j := range w.at {
				w.at[j] = float64(from.pace.at(t[j]) * shrink[j])
			}
			k.paces = append(k.paces, w)
		}
		own := pace{duct: int32(d)}
		for j := range own.at {
			own.at[j] = v[j] * k.c.per[d]
		}
		k.paces = append(k.paces, own)
		for r := range k.paces {
			if !k.leads(r) {
				continue
			}
			if r == len(k.paces)-1 {
				k.racers = append(k.racers, racer{s.draws.times(k.c.per[d]), int32(d)})
			} else {
				k.racers = append(k.racers, racer{at.fit(k.paces[r].at), k.paces[r].duct})
			}
		}
		s.to = int32(len(k.racers))
	}
	k.stances = append(k.stances, s)
}
