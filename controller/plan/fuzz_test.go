package plan

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/gates"
)

// FuzzChoose asks any question of any shop: the answer must hang together, and be the same again.
func FuzzChoose(f *testing.F) {
	f.Add(uint64(1), uint8(10), uint64(1), uint64(0), uint64(0), ^uint64(0), uint64(0), true)
	f.Add(uint64(2), uint8(12), uint64(6), uint64(9), uint64(5), uint64(0xf0f), uint64(0x30), false)
	f.Add(uint64(3), uint8(3), uint64(0), uint64(0), ^uint64(0), ^uint64(0), ^uint64(0), true)
	f.Fuzz(func(t *testing.T, seed uint64, most uint8, running, down, open, usable, stuck uint64, loaded bool) {
		n, machines := randomShop(rand.New(rand.NewPCG(seed, 7)), 1+int(most%14))
		tree := plant(t, n, machines, Options{Solves: 300, EverythingOpen: seed%11 == 0})
		q := Question{
			Running: gates.Set(running), Down: gates.Set(down), Open: gates.Set(open),
			Usable: gates.Set(usable) &^ tree.hand, StuckOpen: gates.Set(stuck), Loaded: loaded,
		}
		a := tree.Choose(q)
		all := tree.all
		require.Zero(t, a.Open&^all, "only gates of this tree")
		require.Zero(t, q.StuckOpen&all&^a.Open, "what is stuck is open")
		require.Zero(t, a.Relief&a.Needed&^tree.needed(a.Left|a.Unserved))
		require.Zero(t, a.Relief&q.StuckOpen)
		require.Zero(t, a.Relief&^a.Open)
		require.Zero(t, a.Open&^tree.hand&^(q.Usable|q.Open|q.StuckOpen), "nothing opens that cannot")
		require.Zero(t, a.Left&(q.Running|^q.Down))
		require.Zero(t, a.Unserved&^(q.Running|q.Down))
		if !tree.options.EverythingOpen {
			require.Zero(t, a.Relief&(tree.never|tree.hand))
			require.Zero(t, a.Open&tree.hand&^(a.Needed|q.StuckOpen), "a hand gate is only asked for when it is needed")
		}
		if a.Mend != NoMachine {
			require.True(t, q.Running.Has(int(a.Mend)))
		}
		require.GreaterOrEqual(t, a.Worst, a.Verdict)
		if a.Margin != NoRatio {
			require.LessOrEqual(t, a.WorstMargin, a.Margin)
		}
		require.GreaterOrEqual(t, a.Clear, gates.Span(0))
		require.NotEmpty(t, tree.Explain(q, a, metric))
		assert.Equal(t, a, tree.Choose(q), "asked again")
		other := plant(t, n, machines, tree.options)
		other.Demands(nil, !loaded)
		assert.Equal(t, a, other.Choose(q), "whatever was asked before")
	})
}
