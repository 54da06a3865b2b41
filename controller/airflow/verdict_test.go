package airflow

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/gates"
)

func TestRatioOf(t *testing.T) {
	for _, v := range []struct {
		x    float64
		want Ratio
	}{{0, 0}, {0.05, 500}, {0.04999, 500}, {0.00005, 1}, {-0.00005, 0}, {-0.5, -5000}, {-1, -10000}, {1e9, math.MaxInt32}, {-1e9, math.MinInt32 + 1}, {math.NaN(), NoRatio}} {
		assert.Equal(t, v.want, RatioOf(v.x), "%g", v.x)
	}
	assert.True(t, math.IsNaN(NoRatio.Float()))
	assert.Equal(t, 0.05, Ratio(500).Float())
	assert.Equal(t, []string{"carries", "creeps", "settles", "not_judged"}, []string{Carries.String(), Creeps.String(), Settles.String(), NotJudged.String()})
	assert.Equal(t, []string{"clean", "loaded", "between"}, []string{Clean.String(), Loaded.String(), State(0.5).String()})
}

// A verdict looks at the ducts on the way of what is demanded and at nothing else.
func TestJudgeCarryingDucts(t *testing.T) {
	n := small()
	n.Fan.Curve = []Point{{0, 4000}, {1.2, 3000}}
	m, err := Compile(n)
	require.NoError(t, err)
	s := NewSolver(m)
	v := s.Judge(gates.Of(0, 1), gates.Of(0), Loaded)
	r := s.Result()
	assert.Equal(t, Carries, v.Grade)
	slow := math.Min(r.Velocity[0], r.Velocity[1])
	assert.InDelta(t, slow/20-1, v.Margin.Float(), 5.1e-5)
	assert.InDelta(t, r.PortFlow[0]/n.Ports[0].Airflow, v.Share.Float(), 5.1e-5)
	assert.EqualValues(t, 0, v.Short)
	assert.EqualValues(t, math.Ceil(1000*(4.2/r.Velocity[0]+2.1/r.Velocity[1])), v.Way)
	margin, duct, ok := m.ExactMargin(r, gates.Of(0))
	assert.True(t, ok)
	assert.EqualValues(t, v.Weakest, duct)
	assert.InDelta(t, slow/20-1, margin, 1e-12)
	_, _, ok = m.ExactMargin(r, 0)
	assert.False(t, ok)

	// a demanded port behind a shut gate stands still
	v = s.Judge(gates.Of(0), gates.Of(1), Loaded)
	assert.Equal(t, Settles, v.Grade)
	assert.Less(t, v.Margin, Ratio(-8000))
	assert.EqualValues(t, 2, v.Weakest)
	n.Gates[1].Leak = 0
	m, err = Compile(n)
	require.NoError(t, err)
	v = NewSolver(m).Judge(gates.Of(0), gates.Of(1), Loaded)
	assert.Equal(t, Ratio(-10000), v.Margin)
	assert.Equal(t, gates.Hour, v.Way)
	assert.Equal(t, Ratio(0), v.Share)
}

// The three grades by the speeds asked, a duct's own before the shop's.
func TestJudgeGrades(t *testing.T) {
	grade := func(carries, settles, margin float64) Grade {
		n := small()
		n.Transport = Transport{Carries: carries, Settles: settles, Margin: margin}
		m, err := Compile(n)
		require.NoError(t, err)
		return NewSolver(m).Judge(gates.Of(0), gates.Of(0), Clean).Grade
	}
	m, err := Compile(small())
	require.NoError(t, err)
	s := NewSolver(m)
	s.Solve(gates.Of(0), Clean)
	v := s.Result().Velocity[0] // the trunk is the slower one
	require.Less(t, v, s.Result().Velocity[1])
	assert.Equal(t, Carries, grade(v*0.99, 5, 0))
	assert.Equal(t, Carries, grade(v, 5, 0), "exactly at the speed")
	assert.Equal(t, Creeps, grade(v*0.99, 5, 0.05))
	assert.Equal(t, Creeps, grade(v*1.1, v*0.9, 0))
	assert.Equal(t, Creeps, grade(v*1.2, v, 0), "exactly at the settling speed")
	assert.Equal(t, Settles, grade(v*1.2, v*1.01, 0))
	n := small()
	n.Ducts[0].Transport = &Transport{Carries: 5, Settles: 3}
	m, err = Compile(n)
	require.NoError(t, err)
	got := NewSolver(m).Judge(gates.Of(0), gates.Of(0), Clean)
	assert.EqualValues(t, 1, got.Weakest, "the trunk asks little: the drop is the weakest")
}

// Hand gates both ways: the worst that looking at every position finds.
func TestJudgeHandGatesBothWays(t *testing.T) {
	hands, changed := 0, 0
	for seed := range 400 {
		d := newDice(uint64(seed) + 77)
		n := d.network(2 + seed%10)
		for i := range n.Gates {
			n.Gates[i].Hand = d.chance(0.3)
		}
		m, err := Compile(n)
		require.NoError(t, err)
		s, one := NewSolver(m), NewSolver(m)
		open := d.open(m)
		demand := gates.Set(d.rng.Uint64()) & m.OpenPorts(open)
		free := m.Hand() &^ m.Needs(demand)
		if demand == 0 || free == 0 || free.Len() > 6 {
			continue
		}
		hands++
		want := nothing()
		for _, hand := range m.handWaysAll(free) {
			v := one.JudgeAs(open&^free|hand, demand, Loaded)
			if want.Grade == NotJudged || v.Grade > want.Grade {
				want.Grade = v.Grade
			}
			if want.Weakest == NoDuct || v.Margin < want.Margin {
				want.Margin, want.Weakest = v.Margin, v.Weakest
			}
			if v.Short != NoPort && (want.Short == NoPort || v.Share < want.Share) {
				want.Share, want.Short = v.Share, v.Short
			}
		}
		got := s.Judge(open, demand, Loaded)
		assert.Equal(t, want.Grade, got.Grade, "seed %d", seed)
		assert.Equal(t, want.Margin, got.Margin, "seed %d", seed)
		assert.Equal(t, want.Share, got.Share, "seed %d", seed)
		if got.Margin != one.JudgeAs(open, demand, Loaded).Margin {
			changed++
		}
	}
	t.Logf("%d patterns with hand gates, %d where they matter", hands, changed)
	assert.Greater(t, hands, 100)
	assert.Greater(t, changed, 50)
}

// handWaysAll is every subset.
func (m *Model) handWaysAll(free gates.Set) []gates.Set {
	out := []gates.Set{0}
	for sub := free & -free; sub != 0; sub = (sub - free) & free {
		out = append(out, sub)
	}
	return out
}

func TestNotes(t *testing.T) {
	n := small()
	n.Fan.Power, n.Fan.Motor, n.Fan.Least = []Point{{0, 900}, {1, 3000}}, 1000, 0.5
	m, err := Compile(n)
	require.NoError(t, err)
	s := NewSolver(m)
	kinds := map[NoteKind]Note{}
	for _, x := range s.Notes(gates.Of(1), gates.Of(1), Clean) {
		kinds[x.Kind] = x
	}
	assert.Contains(t, kinds, TooFast)
	assert.Equal(t, 2, kinds[TooFast].Place)
	assert.Greater(t, kinds[TooFast].Value, 28.0)
	assert.Contains(t, kinds, TooStrong)
	assert.Equal(t, 1, kinds[TooStrong].Place)
	assert.Contains(t, kinds, Overloaded)
	assert.Equal(t, 1000.0, kinds[Overloaded].Limit)
	assert.Contains(t, kinds, TooLittle)
	assert.InDelta(t, s.Solve(gates.Of(1), Clean).FanFlow, kinds[TooLittle].Value, 1e-12)
	assert.NotContains(t, kinds, OffSheet)
	n.Fan.Curve = []Point{{0, 2900}, {0.2, 2800}}
	n.Fan.Power, n.Fan.Motor, n.Fan.Least = nil, 0, 0
	m, err = Compile(n)
	require.NoError(t, err)
	found := NewSolver(m).Notes(gates.Of(0, 1), gates.Of(0), Clean)
	assert.Equal(t, OffSheet, found[len(found)-1].Kind)
}
