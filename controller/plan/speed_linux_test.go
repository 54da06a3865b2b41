package plan

import (
	"flag"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"ductwarden/gates"
)

var queries = flag.Int("queries", 1000, "random questions of 40 gates that the speed test asks; 30000 for the full figure")

// threadTime is the processor time that this thread has used: other work on the machine does not count.
func threadTime() time.Duration {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_THREAD_CPUTIME_ID, &ts); err != nil {
		panic(err)
	}
	return time.Duration(ts.Nano())
}

// spread is what is told of many figures.
func spread[T int | time.Duration](all []T) (p50, p90, p99, p999, most T) {
	slices.Sort(all)
	at := func(p float64) T { return all[int(p*float64(len(all)-1))] }
	return at(.5), at(.9), at(.99), at(.999), at(1)
}

// Questions at 40 gates, each searched for from nothing. Only counts are asserted; the times are printed.
func TestSpeedAtFortyGates(t *testing.T) {
	if testing.Short() {
		t.Skip("the speed of the planner is not measured in a short run")
	}
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	r := rand.New(rand.NewPCG(40, 3))
	const perShop = 100
	var took, few []time.Duration // few: those that took up to three extra gates
	var solves, fewSolves []int
	extra := map[int]int{}
	bounded, none, sum := 0, 0, 0
	for len(took) < *queries {
		n, machines := bigShop(r, 40)
		tree := plant(t, n, machines, Options{})
		for range perShop {
			q := Question{Usable: 1<<40 - 1, Loaded: true}
			for range 1 + r.IntN(3) {
				q.Running = q.Running.With(r.IntN(40))
			}
			k := tree.keyOf(q, q.Running)
			from := threadTime()
			res := tree.search(k)
			spent := threadTime() - from
			took = append(took, spent)
			if res.grade == Carries && res.size <= 3 {
				few = append(few, spent)
				fewSolves = append(fewSolves, res.cost)
			}
			solves = append(solves, res.cost)
			sum += res.cost
			if res.bounded {
				bounded++
			}
			if res.grade != Carries {
				none++
			} else {
				extra[res.size]++
			}
			require.LessOrEqual(t, res.cost, DefaultSolves+2)
		}
	}
	a, b, c, d, e := spread(took)
	t.Logf("processor time p50 %v, p90 %v, p99 %v, p99.9 %v, max %v", a, b, c, d, e)
	a, b, c, d, e = spread(few)
	t.Logf("answers with up to 3 extra gates: p50 %v, p90 %v, p99 %v, p99.9 %v, max %v", a, b, c, d, e)
	p50, p90, p99, p999, most := spread(fewSolves)
	t.Logf("their solves: p50 %d, p90 %d, p99 %d, p99.9 %d, max %d", p50, p90, p99, p999, most)
	p50, p90, p99, p999, most = spread(solves)
	t.Logf("solves p50 %d, p90 %d, p99 %d, p99.9 %d, max %d, mean %d", p50, p90, p99, p999, most, sum/len(solves))
	t.Logf("none carries %d, bounded %d, extra gates %v", none, bounded, extra)
	assert.LessOrEqual(t, p50, 20)
	assert.LessOrEqual(t, p99, 1500)
}

func BenchmarkSolve(b *testing.B) {
	n, machines := bigShop(rand.New(rand.NewPCG(40, 3)), 40)
	tree := plant(b, n, machines, Options{})
	p := NewPattern(len(n.Ducts), len(n.Ports))
	for i := range b.N {
		tree.air.Pattern(gates.Of(i%40, (i+7)%40, (i+13)%40), true, p)
	}
}

func BenchmarkChoose(b *testing.B) {
	n, machines := bigShop(rand.New(rand.NewPCG(40, 3)), 40)
	tree := plant(b, n, machines, Options{})
	r := rand.New(rand.NewPCG(1, 1))
	var keys []key
	for range 1000 {
		q := Question{Usable: 1<<40 - 1, Loaded: true}
		for range 1 + r.IntN(3) {
			q.Running = q.Running.With(r.IntN(40))
		}
		keys = append(keys, tree.keyOf(q, q.Running))
	}
	solves := 0
	b.ReportAllocs()
	for i := range b.N {
		solves += tree.search(keys[i%len(keys)]).cost
	}
	b.ReportMetric(float64(solves)/float64(b.N), "solves/op")
}

func BenchmarkPrepared(b *testing.B) {
	n, machines := benchShop()
	tree := plant(b, n, machines, Options{})
	tree.Prepare()
	b.ReportAllocs()
	for range b.N {
		tree.Choose(healthy(lathe))
	}
}

func BenchmarkPrepare(b *testing.B) {
	n, machines := bigShop(rand.New(rand.NewPCG(40, 3)), 40)
	for range b.N {
		plant(b, n, machines, Options{}).Prepare()
	}
}
