package airflow

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/gates"
)

// second is another solver of the same networks, slow and plain: it guesses the suction at the far end of a
// path, marches the air down the path, adds at every junction what the other branches draw at that suction,
// and finds each guess by bracketing a root. It shares no code with the first: friction by plain iteration,
// fan by its own interpolation.
type second struct {
	n     *Network // with every default filled in
	open  gates.Set
	heavy []int // of each duct: the child whose path goes on, -1 = none
	size  []int // live openings above
	flow  []float64
	port  []float64
	loss  Loss

	friction func(re, relative float64) float64
}

func newSecond(m *Model, open gates.Set, state State) *second {
	n := m.Network()
	s := &second{friction: plainFriction, n: n, open: open, heavy: make([]int, len(n.Ducts)), size: make([]int, len(n.Ducts)), flow: make([]float64, len(n.Ducts)), port: make([]float64, len(n.Ports))}
	for i := range n.Ducts {
		s.count(i)
	}
	for i := range n.Ducts {
		s.heavy[i] = -1
		for c, d := range n.Ducts {
			if d.Into == i && s.size[c] > 0 && (s.heavy[i] < 0 || s.size[c] > s.size[s.heavy[i]]) {
				s.heavy[i] = c
			}
		}
	}
	filter := n.Filter.Clean
	if state == Loaded {
		filter = n.Filter.Loaded
	}
	s.loss = Loss{filter.Linear + n.Separator.Linear + n.Exhaust.Linear, filter.Quadratic + n.Separator.Quadratic + n.Exhaust.Quadratic}
	return s
}

// count finds how many openings draw air through duct i.
func (s *second) count(i int) {
	s.size[i] = 0
	for p := range s.n.Ports {
		if s.passes(s.n.Ports[p].Duct, i) {
			s.size[i]++
		}
	}
}

// passes reports whether air that enters at duct from passes duct to, no tight gate on all of its way.
func (s *second) passes(from, to int) bool {
	on := false
	for d := from; d >= 0; d = s.n.Ducts[d].Into {
		on = on || d == to
		for _, g := range s.n.Gates {
			if g.Duct == d && !s.open.Has(g.Number) && g.Leak == 0 {
				return false
			}
		}
	}
	return on
}

func (s *second) drop(i int, q float64) float64 {
	n, d := s.n, &s.n.Ducts[i]
	area := math.Pi * d.Diameter * d.Diameter / 4
	v := q / area
	if v == 0 {
		return 0
	}
	re := n.Air.Density * v * d.Diameter / n.Air.Viscosity
	k := d.Loss
	for _, f := range d.Fittings {
		c, _ := FittingLoss(f.Kind)
		k += float64(f.Count) * c.Value
	}
	for _, g := range n.Gates {
		if g.Duct == i && !s.open.Has(g.Number) {
			k += math.Pow(area/(0.6*g.Leak), 2)
		}
	}
	return (s.friction(re, d.Roughness/d.Diameter)*d.Friction*d.Length/d.Diameter + k) * n.Air.Density / 2 * v * v
}

func plainFriction(re, relative float64) float64 {
	turbulent := func(re float64) float64 {
		x := 8.0
		for was := 0.0; math.Abs(x-was) > 1e-15*x; {
			was, x = x, -2*math.Log10(relative/3.7+2.51*x/re)
		}
		return 1 / x / x
	}
	switch {
	case re < 2000:
		return 64 / re
	case re > 4000:
		return turbulent(re)
	}
	return 0.032 + (turbulent(4000)-0.032)*(re-2000)/2000
}

// opening is what a port passes at a suction.
func (s *second) opening(p int, suction float64) float64 {
	d := s.n.Ducts[s.n.Ports[p].Duct].Diameter
	k := s.n.Ports[p].HoodLoss
	return math.Pi * d * d / 4 * math.Sqrt(2*suction/s.n.Air.Density/k)
}

// down marches along the path that ends with duct i, from a suction at its far end: the suction below the duct
// and the flow through it.
func (s *second) down(i int, far float64) (suction, flow float64) {
	at := far
	if h := s.heavy[i]; h >= 0 {
		at, flow = s.down(h, far)
	}
	for p := range s.n.Ports {
		if s.n.Ports[p].Duct == i {
			s.port[p] = s.opening(p, at)
			flow += s.port[p]
		}
	}
	for c, d := range s.n.Ducts {
		if d.Into == i && c != s.heavy[i] && s.size[c] > 0 {
			flow += s.draws(c, at)
		}
	}
	s.flow[i] = flow
	return at + s.drop(i, flow), flow
}

// draws is the flow through duct i at a suction below it.
func (s *second) draws(i int, suction float64) (flow float64) {
	far := bracket(suction, func(far float64) float64 {
		below, _ := s.down(i, far)
		return below - suction
	})
	_, flow = s.down(i, far)
	return flow
}

// solve finds everything and returns the fan's flow.
func (s *second) solve() (total float64) {
	first := -1
	for i, d := range s.n.Ducts {
		if d.Into < 0 && s.size[i] > 0 && (first < 0 || s.size[i] > s.size[first]) {
			first = i
		}
	}
	if first < 0 {
		return 0
	}
	all := func(far float64) (suction, flow float64) {
		suction, flow = s.down(first, far)
		for i, d := range s.n.Ducts {
			if d.Into < 0 && i != first && s.size[i] > 0 {
				flow += s.draws(i, suction)
			}
		}
		return suction, flow
	}
	far := bracket(s.blows(0), func(far float64) float64 {
		suction, flow := all(far)
		return suction - s.blows(flow)
	})
	_, total = all(far)
	return total
}

// blows is the total suction that the fan leaves at its inlet.
func (s *second) blows(q float64) float64 {
	f := &s.n.Fan
	k := 1
	for k < len(f.Curve)-1 && q > f.Curve[k].Flow {
		k++
	}
	a, b := f.Curve[k-1], f.Curve[k]
	p := a.Pressure + (b.Pressure-a.Pressure)*(q-a.Flow)/(b.Flow-a.Flow)
	p *= s.n.Air.Density / f.Density
	d := map[PressureKind]float64{InletStatic: f.Inlet, FanTotal: f.Outlet}[f.Kind]
	if d > 0 {
		p -= s.n.Air.Density / 2 * math.Pow(q/(math.Pi*d*d/4), 2)
	}
	return p - s.loss.Linear*q - s.loss.Quadratic*q*q
}

// bracket finds the root of a rising function between 0 and high, by false position with bisection. It works in
// the fourth root, so that a tiny root behind a leak has its digits too.
func bracket(high float64, g func(float64) float64) float64 {
	f := func(x float64) float64 { return g(x * x * x * x) }
	lo, hi := 0.0, math.Sqrt(math.Sqrt(high))
	flo, fhi := f(lo), f(hi)
	if fhi <= 0 {
		return high
	}
	side := 0
	for k := 0; k < 300 && hi-lo > 1e-15*hi; k++ {
		x := lo + (hi-lo)*-flo/(fhi-flo)
		if k%8 == 7 || !(x > lo && x < hi) {
			x = (lo + hi) / 2
		}
		y := f(x)
		switch {
		case y == 0:
			return x * x * x * x
		case y < 0:
			lo, flo = x, y
			if side < 0 {
				fhi /= 2
			}
			side = -1
		default:
			hi, fhi = x, y
			if side > 0 {
				flo /= 2
			}
			side = 1
		}
	}
	x := (lo + hi) / 2
	return x * x * x * x
}

// TestSecondSolverOnRandomTrees solves random trees of 1 to 24 ports both ways.
func TestSecondSolverOnRandomTrees(t *testing.T) {
	worst, trees, patterns := 0.0, 48, 0
	if testing.Short() {
		trees = 24
	}
	for seed := range trees {
		d := newDice(uint64(seed))
		d.wild = seed%3 == 0
		n := d.network(1 + seed%24)
		n.Fan.Straight = true
		m, err := Compile(n)
		require.NoError(t, err)
		solver := NewSolver(m)
		for range 1 + (24-seed%24)/13 { // large trees take long
			open, state := d.open(m), State(d.rng.IntN(2))
			r := solver.Solve(open, state)
			require.True(t, r.Converged, "seed %d, open %x", seed, open)
			s := newSecond(m, open, state)
			total := s.solve()
			patterns++
			near := func(want, got float64, what string, i int) {
				if want <= 1e-12*total {
					assert.LessOrEqual(t, got, 1e-11*total)
					return
				}
				e := math.Abs(got/want - 1)
				worst = math.Max(worst, e)
				require.Less(t, e, 1e-6, "seed %d, open %x, %s %d: %g against %g", seed, open, what, i, got, want)
			}
			near(total, r.FanFlow, "fan", 0)
			for i := range s.flow {
				near(s.flow[i], r.Flow[i], "duct", i)
			}
			for i := range s.port {
				near(s.port[i], r.PortFlow[i], "port", i)
			}
		}
	}
	t.Logf("%d patterns of %d random trees: worst relative flow error %.2g", patterns, trees, worst)
}
