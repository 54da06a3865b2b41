package airflow

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

// wings is an invented shop of 16 ports and 30 ducts: two wings on a main, in each two sub-mains along which four
// drops join one after the other. 13 m/s in the mains, 18 m/s in the drops, as some handbooks tell them apart.
func wings() Network {
	d := newDice(16)
	branch := Transport{Carries: 18, Settles: 12, Margin: 0.05}
	mains := &Transport{Carries: 13, Settles: 13 * 12.0 / 18, Margin: 0.05}
	n := Network{
		Name: "collector", Air: Air{Density: 1.2, Viscosity: 18.1e-6}, Transport: branch,
		Fan: Fan{Density: 1.2, Straight: true},
		Filter: Filter{
			Clean:  Loss{Linear: 350, Quadratic: 200},
			Loaded: Loss{Linear: 700, Quadratic: 200},
		},
	}
	for k := range 9 {
		x := float64(k) / 8
		n.Fan.Curve = append(n.Fan.Curve, Point{Flow: 1.5 * x, Pressure: 3000 * (1 - 0.2*x - 0.8*x*x)})
	}
	run := func(into int, diameter, least, most float64) int {
		n.Ducts = append(n.Ducts, Duct{Name: fmt.Sprint("run ", len(n.Ducts)), Into: into, Diameter: diameter, Length: d.between(least, most),
			Roughness: 0.15e-3, Loss: d.between(0.1, 0.5), Transport: mains})
		return len(n.Ducts) - 1
	}
	drop := func(into int) {
		n.Ports = append(n.Ports, Port{Name: fmt.Sprint("port ", len(n.Ports)), Duct: len(n.Ducts), HoodLoss: d.between(0.4, 1)})
		n.Gates = append(n.Gates, Gate{Name: fmt.Sprint("gate ", len(n.Gates)), Number: len(n.Gates), Duct: len(n.Ducts)})
		n.Ducts = append(n.Ducts, Duct{Name: fmt.Sprint("drop ", len(n.Ports)), Into: into, Diameter: d.pick(0.1, 0.1, 0.125), Length: d.between(1, 3),
			Roughness: d.pick(0.15e-3, 0.4e-3), Loss: d.between(0.2, 0.9)})
	}
	main := run(-1, 0.2, 4, 6)
	for wing := range 2 {
		at := run(main, 0.18, 3, 6)
		for side := range 2 {
			s := run(at, 0.16, 2, 4)
			drop(s)
			s = run(s, 0.15, 1, 3)
			drop(s)
			if wing+side < 2 {
				s = run(s, 0.14, 1, 3)
			}
			drop(s)
			drop(s)
		}
	}
	return n
}

// moreWings is the same shop with more drops, to so many ports: along the runs next to the main.
func moreWings(ports int) Network {
	n := wings()
	for g := len(n.Ports); g < ports; g++ {
		n.Ports = append(n.Ports, Port{Name: fmt.Sprint("port ", g), Duct: len(n.Ducts), HoodLoss: 0.5})
		n.Gates = append(n.Gates, Gate{Name: fmt.Sprint("gate ", g), Number: g, Duct: len(n.Ducts), Leak: 1e-4})
		n.Ducts = append(n.Ducts, Duct{Name: fmt.Sprint("drop ", g), Into: g % 2, Diameter: 0.1, Length: 2, Roughness: 1e-4})
	}
	return n
}

func wingModel(t testing.TB) *Model {
	t.Helper()
	m, err := Compile(wings())
	require.NoError(t, err)
	require.Len(t, m.pipes, 30)
	require.Len(t, m.net.Ports, 16)
	return m
}

// plenum has every port on the fan.
func plenum(ports int) Network {
	n := wings()
	n.Ducts, n.Ports, n.Gates = n.Ducts[:1], nil, nil
	d := newDice(7)
	for g := range ports {
		n.Ports = append(n.Ports, Port{Name: fmt.Sprint("port ", g), Duct: g + 1, HoodLoss: d.between(0.4, 1)})
		n.Gates = append(n.Gates, Gate{Name: fmt.Sprint("gate ", g), Number: g, Duct: g + 1})
		n.Ducts = append(n.Ducts, Duct{Name: fmt.Sprint("drop ", g), Into: 0, Diameter: 0.1, Length: d.between(1, 6), Roughness: 0.15e-3})
	}
	return n
}

// longTrunk has one port after the other along one trunk.
func longTrunk(ports int) Network {
	n := plenum(ports)
	at := 0
	for g := 1; g <= ports; g++ {
		n.Ducts[g].Into = at
		if g < ports-1 {
			n.Ducts = append(n.Ducts, Duct{Name: fmt.Sprint("trunk ", g), Into: at, Diameter: 0.2 - 0.005*float64(g), Length: 1.5, Roughness: 0.15e-3, Loss: 0.2, Transport: n.Ducts[0].Transport})
			at = len(n.Ducts) - 1
		}
	}
	return n
}
