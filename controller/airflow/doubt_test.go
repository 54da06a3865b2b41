package airflow

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/gates"
)

// scaled is the small network with its transport speed at a share of what the planer's trunk moves.
func scaled(t *testing.T, share float64) *Model {
	n := small()
	m, err := Compile(n)
	require.NoError(t, err)
	r := NewSolver(m).Solve(gates.Of(0), Loaded)
	n.Transport = Transport{Carries: r.Velocity[0] * share, Settles: 1}
	m, err = Compile(n)
	require.NoError(t, err)
	return m
}

// Sureness falls from all draws to none as more is asked, and is about even where the nominal figure just
// carries.
func TestSureness(t *testing.T) {
	sure := func(share float64) float64 {
		return NewDoubt(scaled(t, share)).Sure(gates.Of(0), gates.Of(0), Loaded).Float()
	}
	assert.Equal(t, 1.0, sure(0.8))
	assert.Equal(t, 0.0, sure(1.3))
	assert.InDelta(t, 0.5, sure(1), 0.2)
	assert.Greater(t, sure(0.96), sure(1))
	assert.Greater(t, sure(1), sure(1.04))
}

// Equal questions have equal answers; nothing is left behind in the model.
func TestSurenessIsRepeatable(t *testing.T) {
	m := scaled(t, 1)
	a := NewDoubt(m)
	first := a.Sure(gates.Of(0), gates.Of(0), Loaded)
	a.Sure(gates.Of(1), gates.Of(1), Clean)
	assert.Equal(t, first, a.Sure(gates.Of(0), gates.Of(0), Loaded))
	assert.Equal(t, first, NewDoubt(m).Sure(gates.Of(0), gates.Of(0), Loaded))
	assert.Equal(t, first, a.SureAs(gates.Of(0), gates.Of(0), Loaded), "no hand gates: the same")
	assert.Equal(t, NoRatio, a.Sure(gates.Of(0), 0, Loaded))
}

// A curve guessed from a nameplate leaves much more open.
func TestGuessedFanIsLessSure(t *testing.T) {
	n := scaled(t, 0.94).net
	sheet, err := Compile(n)
	require.NoError(t, err)
	n.Fan.Guess = true
	guess, err := Compile(n)
	require.NoError(t, err)
	a := NewDoubt(sheet).Sure(gates.Of(0), gates.Of(0), Loaded)
	b := NewDoubt(guess).Sure(gates.Of(0), gates.Of(0), Loaded)
	assert.Greater(t, a, b+500)
}

// The factors: nineteen of twenty within the spread, none far out, the middle at one.
func TestLuck(t *testing.T) {
	l := luck{rand.New(rand.NewPCG(1, 2))}
	within, above := 0, 0
	const draws = 20000
	for range draws {
		f := l.factor(2)
		if f > 0.5 && f < 2 {
			within++
		}
		if f > 1 {
			above++
		}
		require.Greater(t, f, 0.4)
		require.Less(t, f, 2.5)
	}
	assert.InDelta(t, 0.95, float64(within)/draws, 0.01)
	assert.InDelta(t, 0.5, float64(above)/draws, 0.02)
}

// Every variant is a model that solves like any other, also with junctions leaning to the formula.
func TestVariantsSolve(t *testing.T) {
	for seed := range 60 {
		d := newDice(uint64(seed) + 9e5)
		n := d.network(1 + seed%12)
		for i := range n.Ducts {
			if n.Ducts[i].Into >= 0 {
				kind := []string{"branch_30", "branch_90", "straight_45", "straight_90"}[d.rng.IntN(4)]
				n.Ducts[i].Fittings = []Fitting{{kind, 1}}
			}
			n.Ducts[i].Wall = []string{"", "galvanized", "smooth_hose"}[d.rng.IntN(3)]
		}
		m, err := Compile(n)
		require.NoError(t, err)
		doubt := NewDoubt(m)
		require.Len(t, doubt.drawn, Draws)
		open := d.open(m)
		flow := append([]float64(nil), doubt.first.Solve(open, Loaded).Flow...)
		for k, v := range doubt.drawn[:40] {
			doubt.solver.m = v
			doubt.lean(v, flow, doubt.weight[k])
			checkResult(t, v, doubt.solver.Solve(open, Loaded))
		}
	}
}

// A junction's own coefficient follows the split: negative for a branch that a fast main draws along.
func TestJunctionLeans(t *testing.T) {
	n := small()
	n.Ducts[1].Fittings = []Fitting{{"straight_45", 1}}
	n.Ducts[2].Fittings = []Fitting{{"branch_45", 1}}
	m, err := Compile(n)
	require.NoError(t, err)
	joins := m.joinings()
	require.Len(t, joins, 2)
	k, ok := m.own(joins[1], []float64{1, 0.9, 0.1})
	require.True(t, ok)
	assert.Negative(t, k)
	k, ok = m.own(joins[1], []float64{1, 0, 1})
	require.True(t, ok)
	branch, _ := Junction(1, joins[1].area, 45)
	assert.InDelta(t, branch*joins[1].area*joins[1].area, k, 1e-12)
	_, ok = m.own(joins[1], []float64{1, 1, 0})
	assert.False(t, ok)
	k, ok = m.own(joins[0], []float64{1, 1, 0})
	require.True(t, ok)
	assert.InDelta(t, 0, k, 1e-12, "nothing joins: the straight run costs nothing")
}
