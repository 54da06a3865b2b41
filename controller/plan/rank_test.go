package plan

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/gates"
)

// fares is what the plainly right planner says of one demand, with the hand gates shut.
func (b *brute) fares(q Question, demanded gates.Set) (open gates.Set, s scored) {
	c := b.choose(q, demanded)
	q.Running = demanded
	ports := b.served(q)
	if len(ports) == 0 {
		return c.open, scored{nobody: true, grade: Settles, margin: -10000}
	}
	return c.open, b.score(c.open, 0, ports, q.Loaded)
}

// ranked is the rule of two ranks written out: all if they carry, else the fewest left for later, else whatever
// is best for those that run.
func (b *brute) ranked(q Question) (open, left gates.Set) {
	open, s := b.fares(q, q.Running|q.Down)
	if s.grade == Carries || q.Running == 0 || q.Down == 0 {
		return open, 0
	}
	better := func(a, b scored) bool { return a.short < b.short || a.short == b.short && a.margin > b.margin }
	for n := 1; n <= q.Down.Len(); n++ {
		var found gates.Set
		var best scored
		var at gates.Set
		for out := gates.Set(1); out <= q.Down; out++ {
			if out&^q.Down != 0 || out.Len() != n {
				continue
			}
			o, s := b.fares(q, (q.Running|q.Down)&^out)
			if s.grade == Carries && (found == 0 || better(s, best) || !better(best, s) && lower(out, found) < 0) {
				found, best, at = out, s, o
			}
		}
		if found != 0 {
			return at, found
		}
	}
	alone, own := b.fares(q, q.Running)
	r := q
	if ports := b.served(r); len(ports) > 0 {
		with := b.score(open, 0, ports, q.Loaded)
		if own.before(&with) {
			return alone, q.Down
		}
	}
	return open, 0
}

func TestRunningMachinesComeBeforeThoseThatRunDown(t *testing.T) {
	shops := 200
	if *long {
		shops = 3000
	}
	r := rand.New(rand.NewPCG(5, 5))
	some, none, mended := 0, 0, 0
	for range shops {
		n, machines := randomShop(r, 7)
		tree, all := plant(t, n, machines, Options{}), newBrute(t, n, machines)
		for range 3 {
			q := randomQuestion(r, &n, machines)
			q.Down = 0
			for range 1 + r.IntN(3) {
				q.Down = q.Down.With(machines[r.IntN(len(machines))].Number)
			}
			q.Down &^= q.Running
			open, left := all.ranked(q)
			a := tree.Choose(q)
			require.Equal(t, left, a.Left, "%+v %+v", q, a)
			require.Equal(t, open, a.Open, "%+v %+v", q, a)
			assert.Zero(t, a.Left&q.Running)
			if left != 0 {
				some++
			} else {
				none++
			}
			if a.Mend != NoMachine {
				mended++
				require.True(t, q.Running.Has(int(a.Mend)))
				_, rest := all.fares(q, (q.Running | q.Down&^a.Left).Without(int(a.Mend)))
				require.Equal(t, Carries, rest.grade)
			} else if a.Verdict != Carries {
				for m := range q.Running.All() {
					if rest := (q.Running | q.Down&^a.Left).Without(m); rest != 0 {
						_, s := all.fares(q, rest)
						require.NotEqual(t, Carries, s.grade)
					}
				}
			}
		}
	}
	t.Logf("some left %d, none left %d, mended %d", some, none, mended)
	assert.Greater(t, some, shops/8)
	assert.Greater(t, mended, shops/8)
}

func TestOrderOfChoice(t *testing.T) {
	base := choice{grade: Carries, margin: 500, size: 1, extra: gates.Of(3)}
	for name, change := range map[string]func(*choice){
		"fuller ports before transport": func(c *choice) { c.short, c.grade = 0, Settles },
	} {
		better, worse := base, base
		worse.short = 1
		change(&better)
		assert.Negative(t, better.compare(&worse), name)
	}
	for _, c := range []struct {
		name          string
		better, worse choice
	}{
		{"carries before creeps, whatever it takes", choice{grade: Carries, size: 5}, choice{grade: Creeps, margin: 900}},
		{"creeps before settles", choice{grade: Creeps, margin: -900, size: 4}, choice{grade: Settles, margin: -100}},
		{"fewest gates before preferred ones", choice{size: 1}, choice{size: 2, prefer: 2}},
		{"preferred gates before moves", choice{size: 2, prefer: 1}, choice{size: 2, kept: 2}},
		{"fewest moves before margin", choice{size: 2, kept: 1}, choice{size: 2, margin: 900}},
		{"margin before numbers", choice{margin: 10, extra: gates.Of(9)}, choice{margin: 9, extra: gates.Of(1)}},
		{"lowest numbers last", choice{extra: gates.Of(1, 9)}, choice{extra: gates.Of(2, 3)}},
		{"where nothing carries, margin before gates", choice{grade: Creeps, margin: 2, size: 3}, choice{grade: Creeps, margin: 1}},
		{"and then the fewest", choice{grade: Settles, margin: 2, size: 1}, choice{grade: Settles, margin: 2, size: 2, kept: 2}},
	} {
		assert.Negative(t, c.better.compare(&c.worse), c.name)
		assert.Positive(t, c.worse.compare(&c.better), c.name)
	}
	same := base
	assert.Zero(t, same.compare(&base))
}
