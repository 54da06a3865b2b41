package airflow

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/gates"
)

// The pieces lie within 5e-9 of the equation, their slopes within 1e-5; beyond them the equation itself is used.
func TestLawInPieces(t *testing.T) {
	worst, steep := 0.0, 0.0
	for _, rough := range []float64{0, 1e-6, 1e-4, 1e-3, 1e-2, 0.05} {
		p := pipe{friction: 1, reynolds: 1, area: 1, rough: rough / 3.7}
		p.settle(laws{})
		for re := 4096.0; re < 2e6; re *= 1.00137 {
			h, slope, bend := p.loss(re, 0.1)
			require.False(t, bend, "Re %g", re)
			h2, slope2 := p.exact(re, 0.1)
			worst, steep = max(worst, math.Abs(h/h2-1)), max(steep, math.Abs(slope/slope2-1))
		}
		for _, re := range []float64{0, 100, 3000, 4050, 3e6, 1e8} {
			h, slope, bend := p.loss(re, 0.1)
			h2, slope2 := p.exact(re, 0.1)
			assert.True(t, bend)
			assert.Equal(t, []float64{h2, slope2}, []float64{h, slope}, "Re %g", re)
		}
	}
	t.Logf("loss within %.2g of the equation, slope within %.2g", worst, steep)
	assert.Less(t, worst, 5e-9)
	assert.Less(t, steep, 1e-5)
}

// Solved with the equation in every pass, to the last digits, random trees and the shop of two wings have the same
// flows within 1e-7: the pieces and the early end of the passes cost no more.
func TestFlowsAgreeWithTheEquation(t *testing.T) {
	worst, patterns := 0.0, 0
	for seed := range 120 {
		d := newDice(uint64(seed) + 3e6)
		n := d.network(1 + seed%24)
		if seed == 0 {
			n = wings()
		}
		m, err := Compile(n)
		require.NoError(t, err)
		exact := *m
		exact.pipes = append([]pipe(nil), m.pipes...)
		for i := range exact.pipes {
			exact.pipes[i].law = &law{} // without pieces the equation is solved everywhere
		}
		quick, slow := NewSolver(m), NewSolver(&exact)
		for range 6 {
			open, state := d.open(m), State(d.rng.IntN(2))
			f, r := quick.Flows(open, state), slow.Solve(open, state)
			require.True(t, f.Converged && r.Converged)
			patterns++
			for i, q := range r.Flow {
				if q <= 1e-9*r.FanFlow {
					continue
				}
				e := math.Abs(f.Flow[i]/q - 1)
				require.Less(t, e, 1e-7, "seed %d, open %x, duct %d", seed, open, i)
				worst = max(worst, e)
			}
		}
	}
	t.Logf("%d patterns: worst relative difference of a flow %.2g", patterns, worst)
}

// A network much like a model's own takes the model's friction laws over, and is solved alike to the last bit.
func TestCompileTakesFrictionOver(t *testing.T) {
	m := wingModel(t)
	n := wings()
	n.Ducts[3].Diameter, n.Ducts[4].Length = 0.11, 9
	like, err := m.Compile(n)
	require.NoError(t, err)
	own, err := Compile(n)
	require.NoError(t, err)
	for i := range n.Ducts {
		assert.Equal(t, i != 3, like.pipes[i].law == m.pipes[i].law, "duct %d", i)
	}
	a, b := NewSolver(like), NewSolver(own)
	for open := gates.Set(0); open <= m.all; open += 257 {
		require.Equal(t, a.Flows(open, Loaded), b.Flows(open, Loaded))
	}
	n.Ducts[3].Diameter = 0
	_, err = m.Compile(n)
	assert.ErrorContains(t, err, "diameter is zero")
}
