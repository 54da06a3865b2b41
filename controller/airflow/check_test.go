package airflow

import (
	"errors"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// small is a network in order: a trunk with two drops.
func small() Network {
	return Network{
		Name: "collector", Air: Air{Density: 1.2, Viscosity: 18.1e-6}, Transport: Transport{Carries: 20, Settles: 15, Margin: 0.05},
		Fan:    Fan{Density: 1.2, Inlet: 0.16, Curve: []Point{{0, 2900}, {0.3, 2700}, {0.55, 2150}, {0.78, 1300}, {0.94, 350}}},
		Filter: Filter{Clean: LossAt(0.55, 250, 0.7), Loaded: LossAt(0.55, 700, 0.7)},
		Ducts: []Duct{
			{Name: "trunk", Into: -1, Diameter: 0.16, Length: 4.2, Wall: "galvanized", Fittings: []Fitting{{"elbow_90", 1}}},
			{Name: "planer drop", Into: 0, Diameter: 0.125, Length: 2.1, Wall: "galvanized", Fittings: []Fitting{{"branch_30", 1}, {"elbow_90", 1}}},
			{Name: "lathe hose", Into: 0, Diameter: 0.1, Length: 1.8, Wall: "smooth_hose", Loss: 0.3},
		},
		Ports: []Port{{Name: "planer", Duct: 1, HoodLoss: 0.5, Airflow: 820.0 / 3600}, {Name: "lathe", Duct: 2, Hood: "plain", Airflow: 560.0 / 3600}},
		Gates: []Gate{{Name: "planer", Number: 0, Duct: 1, Leak: 60e-6}, {Name: "lathe", Number: 1, Duct: 2, Leak: GapLeak(0.1, DefaultGap)}},
	}
}

func TestCheckNamesThePlace(t *testing.T) {
	require.Empty(t, Check(small()))
	for _, c := range []struct {
		name  string
		spoil func(*Network)
		says  string
	}{
		{"ring", func(n *Network) { n.Ducts[0].Into = 1 }, `duct "trunk": the ducts lead in a ring and never reach the collector: trunk -> planer drop -> trunk; let one of them lead to the collector`},
		{"own tail", func(n *Network) { n.Ducts[2].Into = 2 }, `duct "lathe hose": the ducts lead in a ring`},
		{"orphan", func(n *Network) {
			n.Ducts = append(n.Ducts, Duct{Name: "stub", Into: 0, Diameter: 0.1, Length: 1, Roughness: 1e-4})
		}, `duct "stub": no port and no duct leads into it; give it a port or take it out`},
		{"no such duct", func(n *Network) { n.Ducts[1].Into = 9 }, `duct "planer drop": leads into a duct that does not exist; name a duct or the collector`},
		{"zero length", func(n *Network) { n.Ducts[1].Length = 0 }, `duct "planer drop": length is zero; give the length of the run`},
		{"three kilometres", func(n *Network) { n.Ducts[1].Length = 3000 }, `duct "planer drop": length 3000 m is outside 0 to 500 m`},
		{"length NaN", func(n *Network) { n.Ducts[1].Length = math.NaN() }, `duct "planer drop": length NaN m`},
		{"zero diameter", func(n *Network) { n.Ducts[1].Diameter = 0 }, `duct "planer drop": diameter is zero; give the inside diameter or a pipe size`},
		{"wide", func(n *Network) { n.Ducts[1].Diameter = 125 }, `inside diameter 125000 mm is outside 10 to 2000 mm`},
		{"rough", func(n *Network) { n.Ducts[1].Roughness = 0.03 }, `duct "planer drop": roughness 30 mm must be between zero and a fifth of the diameter`},
		{"wall", func(n *Network) { n.Ducts[1].Wall = "bamboo" }, `duct "planer drop": wall "bamboo" is not known; known are galvanized, spiral`},
		{"friction", func(n *Network) { n.Ducts[2].Friction = 80 }, `duct "lathe hose": factor 80 on the friction is outside 0.1 to 50`},
		{"fitting", func(n *Network) { n.Ducts[1].Fittings[0].Kind = "knot" }, `duct "planer drop": fitting "knot" is not known; known are elbow_90`},
		{"count", func(n *Network) { n.Ducts[1].Fittings[0].Count = -1 }, `duct "planer drop": -1 times branch_30 is outside 0 to 100`},
		{"loss", func(n *Network) { n.Ducts[2].Loss = 1e9 }, `duct "lathe hose": the loss coefficients add up to 1e+09`},
		{"negative", func(n *Network) { n.Ducts[2].Loss = -9 }, `duct "lathe hose": the loss coefficients add up to -9, more negative than the friction of 1.8 m can carry`},
		{"own speed", func(n *Network) { n.Ducts[2].Transport = &Transport{Carries: 99, Settles: 2} }, `duct "lathe hose": transport speed 99 m/s is outside 1 to 35 m/s`},
		{"speed", func(n *Network) { n.Transport.Carries = 40 }, `transport: transport speed 40 m/s is outside 1 to 35 m/s`},
		{"settles", func(n *Network) { n.Transport.Settles = 25 }, `transport: settling speed 25 m/s must lie between 0.1 m/s and the transport speed, 20 m/s`},
		{"margin", func(n *Network) { n.Transport.Margin = 5 }, `transport: margin 5 is outside 0 to 100 %`},
		{"density", func(n *Network) { n.Air.Density = 1000 }, `air: density 1000 kg/m3 is not that of air`},
		{"viscosity", func(n *Network) { n.Air.Viscosity = 1e-3 }, `air: viscosity 0.001 Pa s is not that of air`},
		{"filter", func(n *Network) { n.Filter.Loaded.Linear = -1 }, `filter: a loss cannot be negative or endless`},
		{"separator", func(n *Network) { n.Separator.Quadratic = math.Inf(1) }, `separator: a loss cannot be negative or endless`},
		{"port", func(n *Network) { n.Ports[0].Duct = 7 }, `port "planer": is on no duct; name the duct that starts at it`},
		{"hood", func(n *Network) { n.Ports[1].Hood = "funnel" }, `port "lathe": hood "funnel" is not known; known are plain, flanged`},
		{"hood loss", func(n *Network) { n.Ports[0].HoodLoss = -1 }, `port "planer": hood loss -1 is outside 0 to 100000`},
		{"airflow", func(n *Network) { n.Ports[0].Airflow = 820 }, `port "planer": wanted airflow 820 m3/s is outside 0 to 30 m3/s`},
		{"gate", func(n *Network) { n.Gates[0].Duct = -1 }, `gate "planer": is on no duct; name the duct that it shuts`},
		{"gate number", func(n *Network) { n.Gates[0].Number = 64 }, `gate "planer": is number 64; a shop has 64 gates at most`},
		{"same number", func(n *Network) { n.Gates[1].Number = 0 }, `gate "lathe": has the same number as gate "planer"`},
		{"leak", func(n *Network) { n.Gates[0].Leak = 1 }, `gate "planer": leak area 1e+06 mm2 must be between zero and the duct's own 12272 mm2`},
		{"one point", func(n *Network) { n.Fan.Curve = n.Fan.Curve[:1] }, `fan: one point is no curve; give at least two`},
		{"rising", func(n *Network) { n.Fan.Curve[2].Pressure = 2800 }, `fan, entry 3: the curve rises from 2700 Pa to 2800 Pa at 0.55 m3/s: with a rising piece there may be two operating points; leave the points of the hump out, so that the curve falls`},
		{"flows", func(n *Network) { n.Fan.Curve[2].Flow = 0.2 }, `fan, entry 3: flow 0.2 m3/s does not rise above the 0.3 m3/s before it`},
		{"absurd point", func(n *Network) { n.Fan.Curve[2].Pressure = math.NaN() }, `fan, entry 3: 0.55 m3/s and NaN Pa is outside`},
		{"no pressure", func(n *Network) { n.Fan.Curve = []Point{{0, 0}, {1, 0}} }, `fan, entry 1: the fan makes no pressure and cannot move any air`},
		{"fan density", func(n *Network) { n.Fan.Density = 0 }, `fan: density 0 kg/m3 of the curve is not that of air`},
		{"inlet", func(n *Network) { n.Fan.Kind, n.Fan.Inlet = InletStatic, 0 }, `fan: the curve's pressure needs the inside diameter where it was measured`},
		{"power", func(n *Network) { n.Fan.Power = []Point{{1, 100}, {0.5, 200}} }, `fan, entry 2: the motor's power curve needs rising flows`},
		{"least", func(n *Network) { n.Fan.Least = -1 }, `fan: least flow -1 m3/s is outside 0 to 100 m3/s`},
	} {
		n := small()
		n.Ducts[1].Fittings = append([]Fitting(nil), n.Ducts[1].Fittings...)
		c.spoil(&n)
		_, err := Compile(n)
		assert.ErrorContains(t, err, c.says, c.name)
		var p Problem
		if assert.True(t, errors.As(err, &p), c.name) {
			assert.NotEmpty(t, p.Field, c.name)
		}
	}
}

// All problems at once, in the order of the file's sections.
func TestCheckFindsEverything(t *testing.T) {
	n := small()
	n.Ducts[0].Length, n.Ports[0].HoodLoss, n.Fan.Density = 0, -2, 0
	problems := Check(n)
	require.Len(t, problems, 3)
	assert.Equal(t, []string{"ducts", "ports", "fan"}, []string{problems[0].In, problems[1].In, problems[2].In})
	assert.Equal(t, "hood_loss", problems[1].Field)
	assert.Equal(t, 0, problems[1].Place)
}

func TestTooMany(t *testing.T) {
	n := small()
	for range MaxPorts {
		n.Ports = append(n.Ports, Port{Name: "more", Duct: 1, HoodLoss: 1})
	}
	for range MaxDucts {
		n.Ducts = append(n.Ducts, Duct{Name: "more", Into: 0, Diameter: 0.1, Length: 1})
	}
	_, err := Compile(n)
	assert.ErrorContains(t, err, "66 ports are more than the 64")
	assert.ErrorContains(t, err, "253 ducts are more than the 250")
}

// Without a fan, or without anything, the network is in order and the air is not judged.
func TestNotJudged(t *testing.T) {
	n := small()
	n.Fan = Fan{}
	for _, n := range []Network{n, {}} {
		m, err := Compile(n)
		require.NoError(t, err)
		assert.False(t, m.Judged())
		s := NewSolver(m)
		r := s.Solve(3, Clean)
		assert.Zero(t, r.FanFlow)
		assert.Zero(t, r.InletTotal)
		assert.Equal(t, nothing(), s.Judge(3, 1, Clean))
		assert.Nil(t, s.Notes(3, 1, Clean))
		assert.Equal(t, NoRatio, NewDoubt(m).Sure(3, 1, Clean))
		assert.True(t, math.IsNaN(m.FanStaticAt(1)))
		assert.True(t, math.IsNaN(m.MotorAt(1)))
	}
}

// Compile keeps nothing of what it was given.
func TestCompileCopies(t *testing.T) {
	n := small()
	m, err := Compile(n)
	require.NoError(t, err)
	assert.Zero(t, n.Ducts[0].Roughness, "the caller's network is left alone")
	assert.Equal(t, 0.15e-3, m.Network().Ducts[0].Roughness)
	n.Ducts[0].Length = 99
	assert.Equal(t, 4.2, m.Network().Ducts[0].Length)
}
