package airflow

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestOpeningAGate: on a tree with fixed coefficients and a fan curve that does not rise, opening a gate lowers
// the suction everywhere, raises the flow in every duct on that gate's way to the collector and in the fan, and
// lowers it in every other duct; the gain shrinks towards the fan. The planner relies on it.
func TestOpeningAGate(t *testing.T) {
	const slack = 1e-8 // of the solutions themselves
	ducts, openings := 0, 0
	for seed := range 1500 {
		d := newDice(uint64(seed))
		d.wild = seed%2 == 0
		m, err := Compile(d.network(1 + seed%24))
		require.NoError(t, err)
		a, b := NewSolver(m), NewSolver(m)
		for range 4 {
			open, state := d.open(m), State(d.rng.Float64())
			if open == m.Gates() {
				open = 0
			}
			shut := m.Gates() &^ open
			if shut.Empty() {
				continue
			}
			g := -1
			skip := d.rng.IntN(shut.Len())
			for i := range shut.All() {
				if skip == 0 {
					g = i
					break
				}
				skip--
			}
			before, after := a.Solve(open, state), b.Solve(open.With(g), state)
			require.True(t, before.Converged && after.Converged, "seed %d", seed)
			openings++
			onWay := make([]bool, len(m.pipes))
			gain := -1.0
			for u := m.net.Gates[g].Duct; u >= 0; u = m.net.Ducts[u].Into {
				onWay[u] = true
				more := after.Flow[u] - before.Flow[u]
				require.GreaterOrEqual(t, more, -slack*after.FanFlow, "seed %d: duct %d downstream of gate %d", seed, u, g)
				if gain >= 0 {
					require.LessOrEqual(t, more, gain+slack*after.FanFlow, "seed %d: the gain grows towards the fan", seed)
				}
				gain = more
			}
			for u := range m.pipes {
				ducts++
				if onWay[u] || m.way[u].Has(g) { // upstream of the gate itself everything may change
					continue
				}
				require.LessOrEqual(t, after.Flow[u], before.Flow[u]+slack*after.FanFlow, "seed %d: duct %d beside the way of gate %d", seed, u, g)
			}
			require.GreaterOrEqual(t, after.FanFlow, before.FanFlow-slack*after.FanFlow)
			require.GreaterOrEqual(t, after.InletTotal, before.InletTotal-1e-9*-before.InletTotal)
		}
	}
	t.Logf("%d openings, %d ducts: no violation", openings, ducts)
}

// With a hump in the curve the theorem is false, which is why Compile refuses one.
func TestHumpIsRefused(t *testing.T) {
	n := newDice(5).network(3)
	n.Fan.Curve = []Point{{0, 1000}, {0.2, 1100}, {0.6, 0}}
	_, err := Compile(n)
	require.ErrorContains(t, err, "fan, entry 2: the curve rises from 1000 Pa to 1100 Pa at 0.2 m3/s")
}
