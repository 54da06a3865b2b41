package plan

import (
	"cmp"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/airflow"
	"ductwarden/gates"
)

var long = flag.Bool("long", false, "try 300 random shops of 13 gates instead of 6")

// brute is a second planner that is plainly right: it looks at every pattern, with every position of the hand
// gates, and compares them by the order of choice written out once more.
type brute struct {
	n        *airflow.Network
	s        *airflow.Solver
	machines []Machine
	full     Ratio
	seen     map[[2]gates.Set]*looked // pattern and 0 or 1 for the filter
}

// looked is what the model says of one pattern, unrounded.
type looked struct{ speed, portFlow []float64 }

func newBrute(t testing.TB, n airflow.Network, machines []Machine) *brute {
	t.Helper()
	m, err := airflow.Compile(n)
	require.NoError(t, err)
	return &brute{n: m.Network(), s: airflow.NewSolver(m), machines: machines, full: DefaultFull, seen: map[[2]gates.Set]*looked{}}
}

func (b *brute) look(open gates.Set, loaded bool) *looked {
	k := [2]gates.Set{open, 0}
	state := airflow.Clean
	if loaded {
		k[1], state = 1, airflow.Loaded
	}
	if l, ok := b.seen[k]; ok {
		return l
	}
	r := b.s.Solve(open, state)
	l := &looked{append([]float64(nil), r.Velocity...), append([]float64(nil), r.PortFlow...)}
	b.seen[k] = l
	return l
}

// through is the gates on the way of a port.
func (b *brute) through(port int) (s gates.Set) {
	for d := b.n.Ports[port].Duct; d >= 0; d = b.n.Ducts[d].Into {
		for _, g := range b.n.Gates {
			if g.Duct == d {
				s = s.With(g.Number)
			}
		}
	}
	return s
}

// scored is a pattern in the order of choice.
type scored struct {
	open                       gates.Set
	short, size, prefer, moves int
	grade                      Transport
	margin                     Ratio
	lowest                     []int
	nobody                     bool
}

func (a *scored) before(b *scored) bool {
	c := cmp.Or(cmp.Compare(a.short, b.short), cmp.Compare(a.grade, b.grade))
	if c == 0 && a.grade != Carries {
		c = cmp.Compare(b.margin, a.margin)
	}
	c = cmp.Or(c, cmp.Compare(a.size, b.size), cmp.Compare(b.prefer, a.prefer), cmp.Compare(a.moves, b.moves), cmp.Compare(b.margin, a.margin))
	if c == 0 {
		for i := range min(len(a.lowest), len(b.lowest)) {
			c = cmp.Or(c, cmp.Compare(a.lowest[i], b.lowest[i]))
		}
	}
	return c < 0
}

// best looks at every pattern for a set of demanded machines. worst asks for the hand gates at their worst.
func (b *brute) best(q Question, demanded gates.Set, worst bool) scored {
	all, hand, never, prefer := gates.Set(0), gates.Set(0), gates.Set(0), gates.Set(0)
	for _, g := range b.n.Gates {
		all = all.With(g.Number)
		if g.Hand {
			hand = hand.With(g.Number)
		}
		switch g.Relief {
		case airflow.ReliefNever:
			never = never.With(g.Number)
		case airflow.ReliefPreferred:
			prefer = prefer.With(g.Number)
		}
	}
	stuck := q.StuckOpen & all
	openable := (q.Usable|q.Open)&all&^hand | stuck | hand
	base := stuck
	var ports []int
	for _, m := range b.machines {
		if demanded.Has(m.Number) {
			for _, p := range m.Ports {
				if b.through(p)&^openable == 0 {
					ports = append(ports, p)
					base |= b.through(p)
				}
			}
		}
	}
	if len(ports) == 0 {
		return scored{nobody: true, open: stuck}
	}
	free := ((q.Usable | q.Open) & all) &^ base &^ hand &^ never
	thieves := hand &^ base
	if !worst {
		thieves = 0
	}
	var best scored
	for x, first := gates.Set(0), true; first || x != 0; x, first = (x-free)&free, false {
		s := b.score(base|x, thieves, ports, q.Loaded)
		s.size = x.Len()
		s.prefer = (x & prefer).Len()
		s.moves = ((q.Open ^ s.open) &^ hand &^ stuck & all).Len()
		for g := range x.All() {
			s.lowest = append(s.lowest, g)
		}
		if first || s.before(&best) {
			best = s
		}
	}
	return best
}

// score judges one pattern at the worst of all positions of the thieves.
func (b *brute) score(open, thieves gates.Set, ports []int, loaded bool) scored {
	s := scored{open: open, margin: 1<<31 - 1}
	short := map[int]bool{}
	for x, first := gates.Set(0), true; first || x != 0; x, first = (x-thieves)&thieves, false {
		l := b.look(open|x, loaded)
		for _, p := range ports {
			for d := b.n.Ports[p].Duct; d >= 0; d = b.n.Ducts[d].Into {
				tr := b.n.Transport
				if own := b.n.Ducts[d].Transport; own != nil {
					tr = *own
				}
				over := airflow.RatioOf(l.speed[d]/tr.Carries - 1)
				s.margin = min(s.margin, over)
				switch {
				case airflow.RatioOf(l.speed[d]/tr.Settles-1) < 0:
					s.grade = Settles
				case over < airflow.RatioOf(tr.Margin):
					s.grade = max(s.grade, Creeps)
				}
			}
			if w := b.n.Ports[p].Airflow; w > 0 && airflow.RatioOf(l.portFlow[p]/w) < b.full {
				short[p] = true
			}
		}
	}
	for _, p := range ports {
		if short[p] {
			s.short++
		}
	}
	return s
}

// choose is the whole rule for one demand: carried whatever the hand gates do, else with them shut.
func (b *brute) choose(q Question, demanded gates.Set) scored {
	robust := b.best(q, demanded, true)
	shut := b.best(q, demanded, false)
	if !robust.nobody && robust.grade == Carries && robust.short <= shut.short {
		return robust
	}
	return shut
}

func TestNeverWorseThanLookingAtEveryPattern(t *testing.T) {
	shops := 10000
	if underRace { // nothing is shared here
		shops = 100
	}
	r := rand.New(rand.NewPCG(1, 2))
	kinds := map[Transport]int{}
	most, relieved, robust, mended := 0, 0, 0, 0
	for range shops {
		n, machines := randomShop(r, 10)
		tree, all := plant(t, n, machines, Options{}), newBrute(t, n, machines)
		for range 4 {
			q := randomQuestion(r, &n, machines)
			want := all.choose(q, q.Running)
			a := tree.Choose(q)
			require.False(t, a.Bounded, "%d solves", tree.room.solved)
			if !assert.Equal(t, want.open, a.Open, "%v\n%+v\n%+v", q, want, a) {
				t.Logf("%+v", n)
				t.FailNow()
			}
			require.Equal(t, a, tree.Choose(q), "the same question gives the same answer")
			if want.nobody {
				continue
			}
			shut := all.score(a.Open, 0, all.served(q), q.Loaded)
			require.Equal(t, shut.grade, a.Verdict)
			require.Equal(t, shut.margin, a.Margin)
			if a.Verdict != Carries {
				mended += checkSentence(t, tree, all, q, a)
			}
			kinds[a.Verdict]++
			res, _ := tree.memo.recall(tree.keyOf(q, q.Running))
			most = max(most, res.cost)
			if a.Relief != 0 {
				relieved++
			}
			if a.Worst != a.Verdict {
				robust++
			}
		}
	}
	t.Logf("carries %d, creeps %d, settles %d; with relief %d; spoilt by a hand gate %d; mended by a stop %d; most solves %d",
		kinds[Carries], kinds[Creeps], kinds[Settles], relieved, robust, mended, most)
	assert.Greater(t, mended, shops/10)
	assert.Greater(t, kinds[Carries], shops/2)
	assert.Greater(t, kinds[Creeps]+kinds[Settles], shops/2)
	assert.Greater(t, relieved, shops/10)
}

// checkSentence asks, where nothing carries, that the sentence names the duct with the least ratio, its speed, what
// is asked of it, and a machine whose stop mends it if there is one: every machine's stop is tried.
func checkSentence(t *testing.T, tree *Tree, all *brute, q Question, a Answer) (mended int) {
	t.Helper()
	var told []float64
	said := tree.Explain(q, a, func(v float64) string {
		told = append(told, v)
		return fmt.Sprintf("%.2f m/s", v)
	})
	near := func(want float64) bool {
		return slices.ContainsFunc(told, func(v float64) bool { return math.Abs(v-want) < 1e-3 })
	}
	if q.Running&^a.Unserved != 0 {
		d := &all.n.Ducts[a.Weakest]
		tr := all.n.Transport
		if d.Transport != nil {
			tr = *d.Transport
		}
		require.Contains(t, said, "the "+d.Name+" runs at ")
		require.True(t, near(all.look(a.Open, q.Loaded).speed[a.Weakest]), "%s: its speed", said)
		require.True(t, near(tr.Carries*(1+tr.Margin)), "%s: what is asked", said)
	}
	stops := gates.Set(0)
	for m := range q.Running.All() {
		if rest := q.Running.Without(m); rest != 0 {
			if c := all.choose(q, rest); !c.nobody && c.grade == Carries {
				stops = stops.With(m)
			}
		}
	}
	if stops == 0 {
		require.EqualValues(t, NoMachine, a.Mend, said)
		return 0
	}
	require.True(t, a.Mend != NoMachine && stops.Has(int(a.Mend)), "%s: %v would mend it, not %d", said, stops, a.Mend)
	if !a.Unserved.Has(int(a.Mend)) {
		require.Contains(t, said, "stop "+all.machines[a.Mend].Name+" and the rest carries")
	}
	return 1
}

// A larger shop has deeper searches; what they leave out must not matter. Where nothing carries, the search is
// cut short on purpose here, so that only the finding itself is compared.
func TestBoundsLeaveNothingOut(t *testing.T) {
	shops, size := 6, 13
	if *long {
		shops = 300
	}
	r := rand.New(rand.NewPCG(8, 1))
	carried, not, wide := 0, 0, 0
	for range shops {
		n, machines := bigShop(r, size)
		for i := range n.Gates {
			n.Gates[i].Relief = []airflow.Relief{airflow.ReliefAllowed, airflow.ReliefAllowed, airflow.ReliefPreferred, airflow.ReliefNever}[r.IntN(4)]
		}
		n.Fan.Curve = append([]airflow.Point(nil), n.Fan.Curve...)
		for i := range n.Fan.Curve {
			n.Fan.Curve[i].Flow *= 0.6
		}
		n.Ducts[0].Diameter *= 0.85
		tree, all := plant(t, n, machines, Options{}), newBrute(t, n, machines)
		for range 10 {
			q := Question{Usable: 1<<size - 1, Loaded: true, Open: some(r, 2) & (1<<size - 1)}
			for range 1 + r.IntN(3) {
				q.Running = q.Running.With(r.IntN(size))
			}
			want := all.best(q, q.Running, false)
			a := tree.Choose(q)
			require.Equal(t, want.grade == Carries, a.Verdict == Carries)
			if want.grade == Carries {
				carried++
				require.Equal(t, want.open, a.Open)
				continue
			}
			not++
			require.LessOrEqual(t, a.Margin, want.margin)
			if !a.Bounded {
				wide++
				require.Equal(t, want.open, a.Open)
			}
		}
	}
	t.Logf("carried %d, not %d, of these proved the widest %d", carried, not, wide)
	assert.Greater(t, carried, 2*shops)
	assert.Greater(t, not, shops/2)
}

// served is the demanded ports that can have air.
func (b *brute) served(q Question) (ports []int) {
	all, hand := gates.Set(0), gates.Set(0)
	for _, g := range b.n.Gates {
		all = all.With(g.Number)
		if g.Hand {
			hand = hand.With(g.Number)
		}
	}
	for _, m := range b.machines {
		for _, p := range m.Ports {
			if q.Running.Has(m.Number) && b.through(p)&^(q.Usable|q.Open|q.StuckOpen|hand) == 0 {
				ports = append(ports, p)
			}
		}
	}
	return ports
}
