package airflow

import (
	"context"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/gates"
)

// The pruned search finds exactly the patterns that carry, with far fewer solutions than patterns.
func TestCarrying(t *testing.T) {
	m := wingModel(t)
	c, err := NewCensus(m)
	require.NoError(t, err)
	var want []gates.Set
	_, err = c.Take(context.Background(), 1, func(open gates.Set, _, loaded Glance) {
		if loaded.Grade == Carries {
			want = append(want, open)
		}
	})
	require.NoError(t, err)
	share, told := 0.0, 0
	found, err := NewSolver(m).Carrying(context.Background(), Loaded, 1e6, 1e6, func(s float64, carry int) {
		assert.Greater(t, s, share)
		share, told = s, carry
	})
	require.NoError(t, err)
	assert.True(t, found.Complete)
	assert.Equal(t, 1.0, share, "every pattern is decided once")
	assert.Len(t, found.Open, told)
	slices.Sort(want)
	slices.Sort(found.Open)
	assert.Equal(t, want, found.Open)
	assert.Less(t, found.Solves, 1<<14)
	t.Logf("%d of 65,536 patterns carry, found with %d solutions", len(found.Open), found.Solves)

	few, err := NewSolver(m).Carrying(context.Background(), Loaded, 5, 1e6, nil)
	require.NoError(t, err)
	assert.False(t, few.Complete)
	assert.Len(t, few.Open, 5)
	few, err = NewSolver(m).Carrying(context.Background(), Loaded, 1e6, 100, nil)
	require.NoError(t, err)
	assert.False(t, few.Complete)
	stopped, stop := context.WithCancel(context.Background())
	stop()
	_, err = NewSolver(m).Carrying(stopped, Loaded, 1e6, 1e6, nil)
	assert.ErrorContains(t, err, "stopped before the last pattern")
}

// The same on random trees with gates in the tree, leaks and ports without a gate.
func TestCarryingOnRandomTrees(t *testing.T) {
	total := 0
	for seed := range 150 {
		d := newDice(uint64(seed) + 9e6)
		n := d.network(1 + seed%6)
		n.Transport.Carries, n.Transport.Settles = 8, 5 // random ducts fit nothing: ask little
		m, err := Compile(n)
		require.NoError(t, err)
		if m.all.Len() > 9 {
			continue
		}
		s := NewSolver(m)
		var want []gates.Set
		for open := gates.Set(0); ; open = (open - m.all) & m.all {
			if s.JudgeAs(open, m.Demanded(open), Clean).Grade == Carries {
				want = append(want, open)
			}
			if open == m.all {
				break
			}
		}
		found, err := s.Carrying(context.Background(), Clean, 1e6, 1e6, nil)
		require.NoError(t, err)
		require.ElementsMatch(t, want, found.Open, "seed %d", seed)
		total += len(want)
	}
	assert.Greater(t, total, 50)
}
