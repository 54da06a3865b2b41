package airflow

import (
	"encoding/binary"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/gates"
)

// checkResult asks what every solution must be.
func checkResult(t testing.TB, m *Model, r *Result) {
	t.Helper()
	require.True(t, r.Converged, "not converged after %d passes, residual %g Pa", r.Passes, r.Residual)
	for _, list := range [][]float64{r.Flow, r.Velocity, r.Total, r.Outside, r.Static, r.PortFlow, r.PortSuction, {r.FanFlow, r.FanPressure, r.InletTotal, r.BehindLoss}} {
		for i, v := range list {
			require.False(t, math.IsNaN(v) || math.IsInf(v, 0), "entry %d is %g", i, v)
		}
	}
	shutoff, _ := m.fan.at(0)
	require.LessOrEqual(t, r.Residual, 1e-6*shutoff)
	in := make([]float64, len(m.pipes))
	for p, q := range r.PortFlow {
		require.GreaterOrEqual(t, q, 0.0)
		in[m.net.Ports[p].Duct] += q
	}
	out := 0.0
	for k := len(m.order) - 1; k >= 0; k-- {
		i := m.order[k]
		require.GreaterOrEqual(t, r.Flow[i], 0.0)
		require.InDelta(t, in[i], r.Flow[i], 1e-9*(r.FanFlow+1e-12), "air is lost in duct %d", i)
		if d := m.net.Ducts[i].Into; d >= 0 {
			in[d] += r.Flow[i]
		} else {
			out += r.Flow[i]
		}
	}
	require.InDelta(t, out, r.FanFlow, 1e-9*(r.FanFlow+1e-12))
	require.InDelta(t, r.FanPressure-r.BehindLoss, -r.InletTotal, 1e-9*shutoff)
}

func TestSolveRandomTrees(t *testing.T) {
	passes := 0
	for seed := range 3000 {
		d := newDice(uint64(seed) + 1e6)
		d.wild = seed%2 == 0
		m, err := Compile(d.network(1 + seed%24))
		require.NoError(t, err)
		s := NewSolver(m)
		for range 3 {
			open := d.open(m)
			r := s.Solve(open, State(d.rng.Float64()))
			checkResult(t, m, r)
			passes = max(passes, r.Passes)
		}
	}
	t.Logf("%d passes at most", passes)
	assert.LessOrEqual(t, passes, 30)
}

// The same question has the same answer to the last bit, whatever was asked before and by whichever solver.
func TestSolveForgets(t *testing.T) {
	d := newDice(11)
	m, err := Compile(d.network(9))
	require.NoError(t, err)
	a, b := NewSolver(m), NewSolver(m)
	for range 50 {
		open := d.open(m)
		b.Solve(d.open(m), Loaded)
		assert.Equal(t, a.Solve(open, Clean).Flow, b.Solve(open, Clean).Flow)
		assert.Equal(t, a.res.Total, b.res.Total)
	}
}

func TestSolveAllocatesNothing(t *testing.T) {
	d := newDice(3)
	n := d.network(16)
	m, err := Compile(n)
	require.NoError(t, err)
	s := NewSolver(m)
	open, demand := gates.Set(0x2b5), gates.Of(0, 2)
	assert.Zero(t, testing.AllocsPerRun(100, func() { s.Solve(open, Loaded) }))
	assert.Zero(t, testing.AllocsPerRun(100, func() { s.Judge(open, demand, Loaded) }))
}

// A state between clean and loaded lies between their flows.
func TestSolveBetweenFilterStates(t *testing.T) {
	m, err := Compile(newDice(8).network(4))
	require.NoError(t, err)
	s := NewSolver(m)
	flow := func(x State) float64 { return s.Solve(m.Gates(), x).FanFlow }
	assert.Greater(t, flow(Clean), flow(0.5))
	assert.Greater(t, flow(0.5), flow(Loaded))
	assert.InDelta(t, flow(Clean), flow(1e-9), 1e-6)
}

// Several ports behind one gate, and on one duct: they share the suction and split by their hoods.
func TestPortsOnOneDuct(t *testing.T) {
	n := onePipe(t, 0.15, 4, 0.15e-3, 0.2).net
	n.Ports = []Port{{Name: "above", Duct: 0, HoodLoss: 1}, {Name: "below", Duct: 0, HoodLoss: 4}}
	n.Gates = []Gate{{Name: "both", Number: 5, Duct: 0}}
	m, err := Compile(n)
	require.NoError(t, err)
	s := NewSolver(m)
	r := s.Solve(gates.Of(5), Clean)
	checkResult(t, m, r)
	assert.InEpsilon(t, 2*r.PortFlow[1], r.PortFlow[0], 1e-9)
	assert.InEpsilon(t, r.Flow[0], r.PortFlow[0]+r.PortFlow[1], 1e-12)
	assert.Equal(t, gates.Of(0, 1), m.OpenPorts(gates.Of(5)))
	r = s.Solve(0, Clean)
	assert.Zero(t, r.PortFlow[0]+r.PortFlow[1])
}

// A gate in the tree shuts everything behind it; its leak is in series with what is behind.
func TestGateInTheTree(t *testing.T) {
	n := onePipe(t, 0.15, 4, 0.15e-3, 0.2).net
	n.Ducts = append(n.Ducts, Duct{Name: "run", Into: 0, Diameter: 0.125, Length: 3, Roughness: 1e-4},
		Duct{Name: "a", Into: 1, Diameter: 0.1, Length: 2, Roughness: 1e-4}, Duct{Name: "b", Into: 1, Diameter: 0.1, Length: 2, Roughness: 1e-4})
	n.Ports = append(n.Ports, Port{Name: "a", Duct: 2, HoodLoss: 0.5}, Port{Name: "b", Duct: 3, HoodLoss: 0.5})
	n.Gates = []Gate{{Name: "run", Number: 0, Duct: 1}, {Name: "a", Number: 1, Duct: 2}}
	m, err := Compile(n)
	require.NoError(t, err)
	s := NewSolver(m)
	open := *s.Solve(gates.Of(0, 1), Clean)
	assert.InEpsilon(t, open.PortFlow[1], open.PortFlow[2], 1e-9)
	shut := s.Solve(gates.Of(1), Clean)
	checkResult(t, m, shut)
	assert.Zero(t, shut.PortFlow[1]+shut.PortFlow[2])
	assert.Zero(t, shut.Outside[1], "the room stands behind the gate")
	assert.Positive(t, shut.PortFlow[0], "a port without a gate stays open")
	assert.Equal(t, gates.Of(0), m.OpenPorts(gates.Of(1)))
	assert.Equal(t, gates.Of(0, 1), m.GatesOnWay(1))
	assert.Equal(t, gates.Of(0, 1), m.Needs(gates.Of(1, 2)))
	assert.Equal(t, []int{2, 1, 0}, m.Way(1))
	assert.Equal(t, gates.Of(0, 1), m.GatesAbove(0))
	assert.Equal(t, gates.Of(1, 2), m.PortsAbove(1))
	assert.Zero(t, m.Demanded(gates.Of(1)), "no gated port is open")
	assert.Equal(t, gates.Of(1, 2), m.Demanded(gates.Of(0, 1)))

	n.Gates[0].Leak = 5e-5
	m, err = Compile(n)
	require.NoError(t, err)
	leak := NewSolver(m).Solve(gates.Of(1), Clean)
	checkResult(t, m, leak)
	// almost all suction stands over the leak: the orifice's own flow
	suction := -leak.Total[1]
	assert.InEpsilon(t, 0.6*5e-5*math.Sqrt(2*suction/1.2), leak.Flow[1], 1e-3)
	assert.Less(t, -leak.Outside[1], 0.02*suction)
}

// FuzzSolve: whatever passes Check is solved: no panic, no NaN, no failure to converge.
func FuzzSolve(f *testing.F) {
	for seed := range uint64(40) {
		f.Add(binary.LittleEndian.AppendUint64(nil, seed), uint64(0x35), 0.3)
	}
	f.Fuzz(func(t *testing.T, b []byte, open uint64, load float64) {
		if len(b) < 8 || !(load >= 0 && load <= 1) {
			return
		}
		d := newDice(binary.LittleEndian.Uint64(b))
		d.wild = true
		n := d.network(1 + int(b[0])%24)
		for k, c := range b[8:] { // further bytes pull single numbers to their bounds
			shove(&n, k, c)
		}
		m, err := Compile(n)
		if err != nil {
			return
		}
		checkResult(t, m, NewSolver(m).Solve(gates.Set(open), State(load)))
	})
}

// shove sets one number of a network to something at or beyond what Check accepts.
func shove(n *Network, k int, c byte) {
	u := &n.Ducts[(k+int(c))%len(n.Ducts)]
	p := &n.Ports[(k+int(c))%len(n.Ports)]
	x := []float64{0, 1e-9, 1e-4, 0.01, 0.3, 2, 100, 1e5}[c>>5]
	switch c & 15 {
	case 0:
		u.Length = x
	case 1:
		u.Diameter = x
	case 2:
		u.Roughness = x * u.Diameter
	case 3:
		u.Loss = x
	case 4:
		u.Loss = -x
	case 5:
		p.HoodLoss = x
	case 6:
		n.Separator.Linear = x
	case 7:
		n.Separator.Quadratic = x
	case 8:
		n.Air.Density = x
	case 9:
		n.Fan.Curve[0].Pressure = x * 1e4
	case 10:
		n.Fan.Curve[len(n.Fan.Curve)-1].Flow = x
	case 11:
		if len(n.Gates) > 0 {
			n.Gates[k%len(n.Gates)].Leak = x * 1e-6
		}
	case 12:
		n.Fan.Inlet = x
	case 13:
		u.Friction = x
	case 14:
		n.Fan.Straight = !n.Fan.Straight
	default:
		n.Fan.Curve[len(n.Fan.Curve)-1].Pressure = -x
	}
}

// BenchmarkSolve solves patterns of the ten-port reference shop in counting order, exactly.
func BenchmarkSolve(b *testing.B) {
	for _, c := range referenceCases(b) {
		if c.Name != "c14_shop10" {
			continue
		}
		m, err := Compile(c.network())
		require.NoError(b, err)
		s := NewSolver(m)
		open := gates.Set(0)
		b.ReportAllocs()
		for b.Loop() {
			open = (open + 1) & m.Gates()
			s.Solve(open, Clean)
		}
	}
}
