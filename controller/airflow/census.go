package airflow

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"sync"

	"ductwarden/gates"
)

// MostCounted is up to how many gates every pattern is looked at; a tree of more has Carrying.
const MostCounted = 24

// blockGates is how many gates' patterns are tabled at once: the room that a census takes does not grow with the
// number of patterns.
const blockGates = 16

// Glance is what a census says of one pattern in one filter state, every open gate counting as demanded.
type Glance struct {
	Grade   Grade   // as JudgeAs has it
	Margin  float64 // least air speed over transport speed, less 1, to 1e-5; for showing, not for deciding. NaN where nothing is demanded
	Weakest uint8   // duct of the margin; NoDuct
}

// Tally counts the patterns of a census.
type Tally struct {
	Patterns int    // all, each in two filter states
	Clean    Grades // by grade with the filter clean
	Loaded   Grades
	Solved   int // patterns that the tables left to the solver, both filter states: slow air, or at the edge of a verdict
}

// Grades counts patterns by Grade.
type Grades [NotJudged + 1]int

func (t *Tally) add(o *Tally) {
	t.Patterns += o.Patterns
	t.Solved += o.Solved
	for g := range t.Clean {
		t.Clean[g] += o.Clean[g]
		t.Loaded[g] += o.Loaded[g]
	}
}

// Census judges every pattern of a model's gates with the filter clean and loaded, hand gates as the pattern has
// them, in a tenth of a microsecond each. Nothing that its tables say decides where they are not sure: such
// patterns go to the solver.
//
// Method: the flow that a subtree draws over the square root of its suction hardly depends on that suction, so a
// polynomial says it for each state of the subtree's gates, and another the speed of the duct that is slowest
// there over its transport speed. Tables of subtrees are added up and carried through ducts towards the
// collector; at the first junction a pattern costs one addition, and the operating point two or three steps.
type Census struct {
	m        *Model
	spans    []span // of each duct's upstream node
	root     span   // of the junction where patterns are put together
	trunks   []int  // ducts between it and the collector
	groups   [2][]int
	mouths   []int // ports at that junction
	outer    []int // gates (numbers) that a block holds fast
	all      bool  // one comparison of speeds decides all: settling over transport speed and margin are the same everywhere
	per      []float64
	need     []float64 // of each duct: least speed over transport speed with which it carries
	sinks    []float64 // of each duct: speed over transport speed below which it settles
	perNeed  []float64 // 1/need
	perSinks []float64 // 1/sinks
	slowest  int       // duct of the trunks, -1 = there is none
	supplies [2]supply // clean, loaded
	counters []*counter
}

// NewCensus works out what all patterns share. It refuses a model whose air is not judged or with more than
// MostCounted gates.
func NewCensus(m *Model) (*Census, error) {
	switch {
	case !m.judged:
		return nil, fmt.Errorf("the air of %s is not judged: it has no ducts, ports or fan curve", m.net.Name)
	case m.all.Len() > MostCounted:
		return nil, fmt.Errorf("%s has %d gates; every pattern is looked at up to %d", m.net.Name, m.all.Len(), MostCounted)
	}
	c := &Census{m: m}
	c.limits()
	c.layOut()
	c.measure()
	return c, nil
}

// limits puts the grades' bounds on the speed over the transport speed. The verdicts round to 1/10000 first.
func (c *Census) limits() {
	c.all = true
	for i := range c.m.pipes {
		t := c.m.Transport(i)
		c.per = append(c.per, 1/(c.m.pipes[i].area*t.Carries))
		c.need = append(c.need, 1+(float64(RatioOf(t.Margin))-0.5)/1e4)
		c.sinks = append(c.sinks, (1-0.5/1e4)*t.Settles/t.Carries)
		c.perNeed, c.perSinks = append(c.perNeed, 1/c.need[i]), append(c.perSinks, 1/c.sinks[i])
		c.all = c.all && c.need[i] == c.need[0] && math.Abs(c.sinks[i]-c.sinks[0]) < 1e-12
	}
}

// layOut finds the first junction and shares its ducts out in two groups of about equally many gates.
func (c *Census) layOut() {
	m := c.m
	at, kids := -1, m.inlets
	for len(kids) == 1 && m.on[kids[0]] == 0 && !m.merged[kids[0]] {
		at = kids[0]
		c.trunks = append(c.trunks, at)
		kids = m.children[at]
		if len(m.ports[at]) > 0 {
			c.mouths = m.ports[at]
			break
		}
	}
	c.slowest = -1
	for _, d := range c.trunks {
		if c.slowest < 0 || c.per[d] < c.per[c.slowest] {
			c.slowest = d
		}
	}
	kids = slices.Clone(kids)
	slices.SortStableFunc(kids, func(a, b int) int { return cmp.Compare(m.above[b].Len(), m.above[a].Len()) })
	var load [2]int
	for _, d := range kids {
		g := 0
		if load[1] < load[0] {
			g = 1
		}
		c.groups[g] = append(c.groups[g], d)
		load[g] += m.above[d].Len()
	}
	// The gates furthest from the collector are held fast: tables then grow as late as can be.
	var all []int
	depth := map[int]int{}
	for _, g := range m.net.Gates {
		all = append(all, g.Number)
		for d := g.Duct; d >= 0; d = m.into[d] {
			depth[g.Number]++
		}
	}
	slices.SortStableFunc(all, func(a, b int) int { return cmp.Compare(depth[b], depth[a]) })
	c.outer = all[:max(0, len(all)-blockGates)]
}

// measure finds between which suctions each node stands while a port above it is open: least with all gates open
// and the filter loaded, most with only one port's gates open and the filter clean (opening a gate lowers every
// suction).
func (c *Census) measure() {
	m := c.m
	s := NewSolver(m)
	n := len(m.pipes)
	least, most := make([]float64, n), make([]float64, n)
	root := func() (z, q float64) {
		if len(c.trunks) > 0 {
			return math.Sqrt(s.res.Suction[c.trunks[len(c.trunks)-1]]), s.res.FanFlow
		}
		return math.Sqrt(-s.res.InletTotal), s.res.FanFlow
	}
	s.Solve(m.all, Loaded)
	copy(least, s.res.Suction)
	low, q := root()
	high, slow, fast := low, q/low, q/low
	for _, way := range m.portWay {
		s.Solve(way, Clean)
		if s.res.FanFlow == 0 {
			continue
		}
		for i, v := range s.res.Suction {
			if m.way[i]&^way == 0 {
				most[i] = max(most[i], v)
			}
		}
		z, q := root()
		high, slow = max(high, z), min(slow, q/z)
	}
	c.spans = make([]span, n)
	for i := range n {
		c.spans[i] = newSpan(math.Sqrt(least[i]), math.Sqrt(most[i]))
	}
	c.root = newSpan(low, high)
	cells := min(4096, max(256, 1<<m.all.Len()/16))
	for k, state := range []State{Clean, Loaded} {
		c.supplies[k] = c.newSupply(state, slow*0.97, fast*1.03, cells)
	}
}

// Take looks at every pattern, in as many goroutines as workers. each may be nil; else it is told of every pattern
// and may be called by several goroutines at once. Of a census, one Take at a time.
func (c *Census) Take(ctx context.Context, workers int, each func(open gates.Set, clean, loaded Glance)) (Tally, error) {
	blocks := 1 << len(c.outer)
	workers = max(1, min(workers, blocks))
	for len(c.counters) < workers {
		c.counters = append(c.counters, &counter{c: c, s: NewSolver(c.m)})
	}
	if workers == 1 {
		c.counters[0].blocks(ctx, 0, 1, each)
	} else {
		c.share(ctx, workers, each)
	}
	var sum Tally
	for _, k := range c.counters[:workers] {
		sum.add(&k.tally)
	}
	if ctx.Err() != nil {
		return sum, fmt.Errorf("stopped before the last pattern: %w", ctx.Err())
	}
	return sum, nil
}

// share looks at the blocks in several goroutines, each at every so many.
func (c *Census) share(ctx context.Context, workers int, each func(open gates.Set, clean, loaded Glance)) {
	var wait sync.WaitGroup
	for w, k := range c.counters[:workers] {
		wait.Go(func() { k.blocks(ctx, w, workers, each) })
	}
	wait.Wait()
}

// heldIn is the outer gates that are open in a block.
func (c *Census) heldIn(block int) (open gates.Set) {
	for k, g := range c.outer {
		if block>>k&1 == 1 {
			open = open.With(g)
		}
	}
	return open
}
