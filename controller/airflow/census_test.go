package airflow

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/gates"
)

// compared is a census held against the solver, pattern by pattern.
type compared struct {
	worst, worstNear float64 // error of the margin; the same for margins from -50 % to +100 %
	above, flips     int     // verdicts more than 1e-5 off; grades that differ
	tally            Tally
	seen             map[gates.Set]bool
}

func compare(t *testing.T, m *Model) compared {
	t.Helper()
	c, err := NewCensus(m)
	require.NoError(t, err)
	s := NewSolver(m)
	out := compared{seen: map[gates.Set]bool{}}
	check := func(open gates.Set, state State, g Glance) {
		demand := m.Demanded(open)
		v := s.JudgeAs(open, demand, state)
		if v.Grade != g.Grade {
			out.flips++
		}
		margin, _, ok := m.ExactMargin(&s.res, demand)
		if !ok {
			require.True(t, math.IsNaN(g.Margin))
			return
		}
		e := math.Abs(g.Margin - margin)
		out.worst = max(out.worst, e)
		if margin > -0.5 && margin < 1 {
			out.worstNear = max(out.worstNear, e)
		}
		if e > 1e-5 {
			out.above++
		}
	}
	out.tally, err = c.Take(context.Background(), 1, func(open gates.Set, clean, loaded Glance) {
		require.False(t, out.seen[open], "%x comes twice", open)
		out.seen[open] = true
		check(open, Clean, clean)
		check(open, Loaded, loaded)
	})
	require.NoError(t, err)
	require.Len(t, out.seen, 1<<m.all.Len())
	require.Equal(t, len(out.seen), out.tally.Patterns)
	require.Len(t, c.counters[0].stances, c.stances(), "room for what a block takes")
	return out
}

// Every pattern of the shop of two wings, both filter states: every margin within 1e-5 of the solver's, no verdict
// different.
func TestCensusOfTwoWings(t *testing.T) {
	r := compare(t, wingModel(t))
	t.Logf("%d verdicts, worst margin error %.2g, %.2g for margins of -50 to +100 %%; left to the solver %d patterns; loaded: %v carry, creep, settle, not judged",
		2*r.tally.Patterns, r.worst, r.worstNear, r.tally.Solved, r.tally.Loaded)
	assert.Zero(t, r.flips)
	assert.Less(t, r.worst, 1e-5)
	assert.Less(t, r.tally.Solved, r.tally.Patterns/100)
	assert.Positive(t, r.tally.Loaded[Carries])
	assert.Positive(t, r.tally.Loaded[Settles])
}

// Random trees with gates in the tree, leaks, ports without a gate, choked ducts: no verdict differs. Air below Re
// 5000 is the solver's.
func TestCensusOfRandomTrees(t *testing.T) {
	shops := 60
	if testing.Short() {
		shops = 15
	}
	var sum compared
	for seed := range shops {
		d := newDice(uint64(seed) + 4e6)
		d.wild = seed%3 == 0
		n := d.network(1 + seed%7)
		if seed%2 == 0 {
			n.Ducts[d.rng.IntN(len(n.Ducts))].Transport = &Transport{Carries: 14, Settles: 11, Margin: 0.1}
		}
		m, err := Compile(n)
		require.NoError(t, err)
		if m.all.Len() > 11 {
			continue
		}
		r := compare(t, m)
		require.Zero(t, r.flips, "seed %d", seed)
		sum.worst, sum.worstNear = max(sum.worst, r.worst), max(sum.worstNear, r.worstNear)
		sum.above += r.above
		sum.tally.add(&r.tally)
	}
	t.Logf("%d verdicts, worst margin error %.2g, %.2g for margins of -50 to +100 %%, %d above 1e-5; left to the solver %d patterns",
		2*sum.tally.Patterns, sum.worst, sum.worstNear, sum.above, sum.tally.Solved)
}

// Beyond sixteen gates the patterns come in blocks, shared out among workers: the same tally, and nothing is taken
// from the heap after the first time.
func TestCensusInBlocks(t *testing.T) {
	n := moreWings(18)
	m, err := Compile(n)
	require.NoError(t, err)
	c, err := NewCensus(m)
	require.NoError(t, err)
	one, err := c.Take(context.Background(), 1, nil)
	require.NoError(t, err)
	assert.Equal(t, 1<<18, one.Patterns)
	two, err := c.Take(context.Background(), 2, nil)
	require.NoError(t, err)
	assert.Equal(t, one, two)
	s, checked := NewSolver(m), 0
	_, err = c.Take(context.Background(), 1, func(open gates.Set, clean, loaded Glance) {
		if checked++; checked%37 != 0 {
			return
		}
		require.Equal(t, s.JudgeAs(open, m.Demanded(open), Loaded).Grade, loaded.Grade)
		if margin, _, ok := m.ExactMargin(&s.res, m.Demanded(open)); ok {
			require.InDelta(t, margin, loaded.Margin, 1e-5)
		}
	})
	require.NoError(t, err)
	assert.Zero(t, testing.AllocsPerRun(1, func() { _, _ = c.Take(context.Background(), 1, nil) }))

	stopped, stop := context.WithCancel(context.Background())
	stop()
	_, err = c.Take(stopped, 2, nil)
	assert.ErrorContains(t, err, "stopped before the last pattern")
}

func TestCensusRefuses(t *testing.T) {
	n := newDice(3).network(24)
	for len(n.Gates) <= MostCounted {
		n.Gates = append(n.Gates, Gate{Name: "more", Number: len(n.Gates), Duct: 0})
	}
	m, err := Compile(n)
	require.NoError(t, err)
	_, err = NewCensus(m)
	assert.ErrorContains(t, err, "every pattern is looked at up to 24")
	n.Fan.Curve = nil
	m, err = Compile(n)
	require.NoError(t, err)
	_, err = NewCensus(m)
	assert.ErrorContains(t, err, "not judged")
}
