package plan

import (
	"math"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/airflow"
	"ductwarden/gates"
)

func TestWhatATreeRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*airflow.Network, *[]Machine)
		want   string
	}{
		"gate number":    {func(n *airflow.Network, _ *[]Machine) { n.Gates[1].Number = 64 }, `gate "lathe" has number 64: 0 to 63 are possible`},
		"same number":    {func(n *airflow.Network, _ *[]Machine) { n.Gates[1].Number = 0 }, `gate "lathe" has number 0, which another gate has: give each its own`},
		"gate's duct":    {func(n *airflow.Network, _ *[]Machine) { n.Gates[1].Duct = 7 }, `gate "lathe" names duct 7 of 7: name one that exists`},
		"no duct":        {func(n *airflow.Network, _ *[]Machine) { n.Gates[1].Duct = -1 }, `gate "lathe" names duct -1 of 7: name one that exists`},
		"duct's way":     {func(n *airflow.Network, _ *[]Machine) { n.Ducts[0].Into = 9 }, `duct "trunk" leads to duct 9 of 7: name one that exists`},
		"circle":         {func(n *airflow.Network, _ *[]Machine) { n.Ducts[0].Into = 1 }, `duct "trunk" leads in a circle: its way must end at the collector`},
		"port's duct":    {func(n *airflow.Network, _ *[]Machine) { n.Ports[2].Duct = -1 }, `port "bandsaw" names duct -1 of 7: name one that exists`},
		"machine":        {func(_ *airflow.Network, m *[]Machine) { (*m)[0].Number = -1 }, `machine "planer" has number -1: 0 to 63 are possible`},
		"same machine":   {func(_ *airflow.Network, m *[]Machine) { (*m)[1].Number = 0 }, `machine "lathe" has number 0, which another machine has: give each its own`},
		"machine's port": {func(_ *airflow.Network, m *[]Machine) { (*m)[1].Ports = []int{5} }, `machine "lathe" names port 5 of 5: name one that exists`},
	} {
		t.Run(name, func(t *testing.T) {
			n, machines := benchShop()
			m, err := airflow.Compile(n)
			require.NoError(t, err)
			c.change(&n, &machines)
			_, err = New(&n, Solved(m), machines, Options{})
			assert.EqualError(t, err, c.want)
		})
	}
}

func TestWhereNothingIsJudgedTheNeededGatesOpenAlone(t *testing.T) {
	n, machines := benchShop()
	for name, cut := range map[string]func(*airflow.Network){
		"no fan":   func(n *airflow.Network) { n.Fan = airflow.Fan{} },
		"no ducts": func(n *airflow.Network) { n.Ducts, n.Ports = nil, nil },
	} {
		t.Run(name, func(t *testing.T) {
			n := n
			cut(&n)
			machines := append([]Machine(nil), machines...)
			if n.Ducts == nil {
				n.Gates = append([]airflow.Gate(nil), n.Gates...)
				for i := range n.Gates {
					n.Gates[i].Duct = -1
				}
				for i := range machines {
					machines[i].Ports, machines[i].Needs = nil, gates.Of(i)
				}
			}
			tree, err := New(&n, Solved(nil), machines, Options{})
			require.NoError(t, err)
			tree.Prepare()
			q := healthy(lathe, planer)
			q.Usable = q.Usable.Without(planer)
			q.StuckOpen = gates.Of(sweep, 40)
			q.Down = gates.Of(mortiser, 33)
			assert.Equal(t, Answer{
				Open: gates.Of(lathe, mortiser, sweep), Needed: gates.Of(planer, lathe, mortiser), Unserved: gates.Of(planer),
				Verdict: NotJudged, Worst: NotJudged, Weakest: NoDuct, Short: NoMachine, Mend: NoMachine,
				Margin: NoRatio, WorstMargin: NoRatio, Share: NoRatio,
			}, tree.Choose(q))
			assert.Equal(t, "lathe and mortiser need their own gates, and sweep stands open anyway; "+
				"the air is not judged, for the shop file has no ducts or no fan curve; open mortiser by hand; "+
				"planer has no air, gate planer does not open: stop it", tree.Explain(q, tree.Choose(q), metric))
		})
	}
}

func TestNothingDemandedOpensNothing(t *testing.T) {
	tree := benchTree(t, Options{})
	for _, q := range []Question{{}, healthy(), {Running: gates.Of(50), Down: gates.Of(60), Loaded: true}} {
		a := tree.Choose(q)
		assert.Equal(t, NotJudged, a.Verdict)
		assert.Zero(t, a.Open|a.Needed|a.Relief)
	}
	assert.Equal(t, gates.Of(sweep), tree.Choose(Question{StuckOpen: gates.Of(sweep, 33)}).Open, "what is stuck is open, other collectors' gates are not told")
}

func TestUsableAndStuckGatesAreHonoured(t *testing.T) {
	tree := benchTree(t, Options{})
	q := healthy(lathe)
	q.Usable = q.Usable.Without(bandsaw)
	a := tree.Choose(q)
	assert.False(t, a.Open.Has(bandsaw), "a gate that cannot be opened is not chosen")
	q.Open = gates.Of(bandsaw)
	assert.True(t, tree.Choose(q).Open.Has(bandsaw), "unless it is open already")
	q = healthy(lathe)
	q.StuckOpen = gates.Of(bandsaw)
	a = tree.Choose(q)
	assert.Equal(t, gates.Of(lathe, bandsaw), a.Open)
	assert.Zero(t, a.Relief, "what is stuck is not opened for its air")
	assert.Equal(t, Carries, a.Verdict)
	q.StuckOpen = gates.Of(mortiser)
	q.Usable = 0
	a = tree.Choose(q)
	assert.Equal(t, gates.Of(lathe), a.Unserved)
	assert.Equal(t, gates.Of(mortiser), a.Open)
	assert.Equal(t, Settles, a.Verdict)
	assert.EqualValues(t, 0, a.Share)
}

func TestAGateThatIsNeverForReliefStaysShutWhenItsMachineHasNoAirAnyway(t *testing.T) {
	n, machines := benchShop()
	n.Gates[bandsaw].Relief = airflow.ReliefNever
	n.Gates = append(n.Gates, airflow.Gate{Name: "bandsaw slide", Number: 5, Duct: 4}) // a second one on the same drop
	tree := plant(t, n, machines, Options{})
	q := healthy(lathe, bandsaw)
	a := tree.Choose(q)
	assert.Equal(t, gates.Of(bandsaw), a.Unserved)
	assert.False(t, a.Open.Has(bandsaw))
	q.Usable = q.Usable.With(5)
	a = tree.Choose(q)
	assert.Zero(t, a.Unserved)
	assert.Equal(t, gates.Of(lathe, bandsaw, 5), a.Needed)
	assert.Equal(t, a.Needed, a.Open, "both gates in series are needed")
}

func TestAPortWithoutAGateIsAlwaysOpen(t *testing.T) {
	n, machines := benchShop()
	n.Gates = n.Gates[1:] // the planer's drop has none
	tree := plant(t, n, machines, Options{})
	a := tree.Choose(healthy(planer))
	assert.Zero(t, a.Needed)
	assert.Zero(t, a.Open)
	assert.Equal(t, Carries, a.Verdict)
	assert.Contains(t, tree.Explain(healthy(planer), a, metric), "planer has no gate on the way: margin")
}

func TestClearingTimeIsTheLastChipsWay(t *testing.T) {
	n, machines := benchShop()
	m, err := airflow.Compile(n)
	require.NoError(t, err)
	s := airflow.NewSolver(m)
	tree := plant(t, n, machines, Options{Clearing: 20000})
	a := tree.Choose(healthy(lathe))
	r := s.Solve(a.Open, airflow.Loaded)
	want := 2 * (1.8/r.Velocity[3] + 3.5/r.Velocity[bench] + 4.2/r.Velocity[trunk])
	assert.InDelta(t, want*1000, float64(a.Clear), 1.01)
	assert.GreaterOrEqual(t, float64(a.Clear), want*1000, "rounded up")
	both := tree.Choose(healthy(lathe, bandsaw))
	assert.Equal(t, a.Open, both.Open)
	assert.Equal(t, a.Clear, both.Clear, "the longest way of the demanded counts")

	assert.Equal(t, longestClear, tree.clearing([]int{trunk}, make([]int32, 7)), "where the air stands")
	assert.Equal(t, longestClear, tree.clearing([]int{trunk}, []int32{1}))
	assert.Equal(t, gates.Span(1), tree.clearing([]int{trunk}, []int32{math.MaxInt32}))
}

func TestTheFiltersStateCounts(t *testing.T) {
	tree := benchTree(t, Options{})
	q := healthy(lathe)
	loaded := tree.Choose(q)
	q.Loaded = false
	clean := tree.Choose(q)
	assert.Equal(t, loaded.Open, clean.Open)
	assert.Greater(t, clean.Margin, loaded.Margin)
}

func TestFullIsAShareWithATolerance(t *testing.T) {
	n, machines := benchShop()
	q := healthy(lathe)
	share := plant(t, n, machines, Options{}).Choose(q).Share
	require.Greater(t, share, Ratio(9000))
	wants := n.Ports[lathe].Airflow
	for _, c := range []struct {
		share float64 // with the bandsaw's gate open too
		opens bool
	}{
		{0.951, true},  // still full
		{0.949, false}, // partial: the air at the hood comes before the trunk
		{0.3, true},    // partial either way: no reason to let chips settle
	} {
		n.Ports[lathe].Airflow = wants * share.Float() / c.share
		assert.Equal(t, c.opens, plant(t, n, machines, Options{}).Choose(q).Relief.Has(bandsaw), "%v", c.share)
	}
}

func TestPreparedAnswersAreLookedUp(t *testing.T) {
	tree := benchTree(t, Options{})
	tree.Prepare()
	before := len(tree.memo.results)
	fresh := benchTree(t, Options{})
	for _, d := range tree.Demands(nil, true) {
		assert.Equal(t, fresh.Choose(d.Question), d.Answer)
	}
	q := healthy(bandsaw)
	q.Open = tree.Choose(healthy(lathe)).Open
	tree.Choose(q)
	assert.Len(t, tree.memo.results, before, "nothing had to be worked out")
}

func TestTheMemoIsBoundedAndChangesNoAnswer(t *testing.T) {
	tree := benchTree(t, Options{})
	want := tree.Choose(healthy(lathe))
	for i := range gates.Set(2 * remembered) {
		tree.memo.keep(key{machines: i << 8}, result{})
	}
	assert.Len(t, tree.memo.results, remembered)
	assert.Len(t, tree.memo.order, remembered)
	_, ok := tree.memo.recall(tree.keyOf(healthy(lathe), gates.Of(lathe)))
	assert.False(t, ok, "the oldest made room")
	assert.Equal(t, want, tree.Choose(healthy(lathe)))
}

func TestAForkServesAnotherGoroutine(t *testing.T) {
	n, machines := benchShop()
	m, err := airflow.Compile(n)
	require.NoError(t, err)
	tree, err := New(m.Network(), Solved(m), machines, Options{})
	require.NoError(t, err)
	want := tree.Demands(nil, true)
	var wg sync.WaitGroup
	for range 4 {
		fork := tree.Fork(Solved(m))
		wg.Go(func() { assert.Equal(t, want, fork.Demands(nil, true)) })
	}
	assert.Equal(t, want, tree.Demands(nil, true))
	wg.Wait()
}

func TestASearchIsBoundedByCountedSolves(t *testing.T) {
	n, machines := benchShop()
	for solves := 1; solves < 30; solves++ {
		tree := plant(t, n, machines, Options{Solves: solves})
		for _, q := range []Question{healthy(lathe), healthy(planer, lathe), healthy(planer, lathe, bandsaw)} {
			a := tree.Choose(q)
			assert.Equal(t, a, plant(t, n, machines, Options{Solves: solves}).Choose(q))
			res, _ := tree.memo.recall(tree.keyOf(q, q.Running))
			assert.LessOrEqual(t, res.cost, 2*max(solves, 3)+1, "two positions of the hand gate, and one pattern at least")
		}
	}
}
