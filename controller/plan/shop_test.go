package plan

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"ductwarden/controller/airflow"
	"ductwarden/gates"
)

// Gates and machines of the bench shop, by number.
const (
	planer = iota
	lathe
	bandsaw
	mortiser
	sweep
)

// Ducts of the bench shop.
const (
	trunk = iota
	bench
)

// benchShop is a shop of two wings in code: a planer, a lathe and a bandsaw, a mortiser whose gate is moved by
// hand, and a floor sweep that is preferred for relief though its air joins below the bench run.
func benchShop() (airflow.Network, []Machine) {
	const hour = 3600.0
	n := airflow.Network{
		Name:      "collector",
		Air:       airflow.Air{Density: 1.178, Viscosity: 18e-6},
		Transport: airflow.Transport{Carries: 20, Settles: 15, Margin: 0.05},
		Fan: airflow.Fan{Kind: airflow.InletStatic, Inlet: 0.16, Density: 1.2, Curve: []airflow.Point{
			{Flow: 0, Pressure: 2900}, {Flow: 1100 / hour, Pressure: 2700}, {Flow: 2000 / hour, Pressure: 2150},
			{Flow: 2800 / hour, Pressure: 1300}, {Flow: 3400 / hour, Pressure: 350},
		}},
		Filter: airflow.Filter{Clean: airflow.LossAt(2000/hour, 250, 0.7), Loaded: airflow.LossAt(2000/hour, 700, 0.7)},
		Ducts: []airflow.Duct{
			{Name: "trunk", Into: -1, Diameter: 0.160, Length: 4.2, Roughness: 0.15e-3, Loss: 0.24},
			{Name: "bench run", Into: trunk, Diameter: 0.125, Length: 3.5, Roughness: 0.15e-3, Loss: 0.31 + 2*0.144},
			{Name: "planer drop", Into: trunk, Diameter: 0.125, Length: 2.1, Roughness: 0.15e-3, Loss: 0.23 + 0.24},
			{Name: "lathe hose", Into: bench, Diameter: 0.100, Length: 1.8, Roughness: 0.29e-3, Loss: 0.3},
			{Name: "bandsaw drop", Into: bench, Diameter: 0.100, Length: 1.2, Roughness: 0.1e-3},
			{Name: "mortiser drop", Into: bench, Diameter: 0.080, Length: 0.9, Roughness: 0.02e-3},
			{Name: "floor drop", Into: trunk, Diameter: 0.100, Length: 0.6, Roughness: 0.15e-3},
		},
		Ports: []airflow.Port{
			{Name: "planer", Duct: 2, HoodLoss: 0.5, Airflow: 820 / hour},
			{Name: "lathe", Duct: 3, HoodLoss: 0.93, Airflow: 560 / hour},
			{Name: "bandsaw", Duct: 4, HoodLoss: 0.65, Airflow: 560 / hour},
			{Name: "mortiser", Duct: 5, HoodLoss: 0.93},
			{Name: "sweep", Duct: 6, HoodLoss: 0.93},
		},
		Gates: []airflow.Gate{
			{Name: "planer", Number: planer, Duct: 2, Leak: 60e-6},
			{Name: "lathe", Number: lathe, Duct: 3},
			{Name: "bandsaw", Number: bandsaw, Duct: 4},
			{Name: "mortiser", Number: mortiser, Duct: 5, Hand: true},
			{Name: "sweep", Number: sweep, Duct: 6, Relief: airflow.ReliefPreferred},
		},
	}
	return n, []Machine{
		{Number: planer, Name: "planer", Ports: []int{0}},
		{Number: lathe, Name: "lathe", Ports: []int{1}},
		{Number: bandsaw, Name: "bandsaw", Ports: []int{2}},
		{Number: mortiser, Name: "mortiser", Ports: []int{3}},
		{Number: sweep, Name: "floor sweep", Ports: []int{4}},
	}
}

// plant makes a tree of a network, with the real model.
func plant(t testing.TB, n airflow.Network, machines []Machine, o Options) *Tree {
	t.Helper()
	m, err := airflow.Compile(n)
	require.NoError(t, err)
	tree, err := New(m.Network(), Solved(m), machines, o)
	require.NoError(t, err)
	return tree
}

// randomShop draws a shop of up to most gates: one or two mains, some sub-mains with gates of their own, ports
// without gates, two ports behind one gate, hand gates, leaks, gates never or preferably opened for their air,
// a fan from much too weak to much too strong.
func randomShop(r *rand.Rand, most int) (airflow.Network, []Machine) {
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	pick := func(v ...float64) float64 { return v[r.IntN(len(v))] }
	n := airflow.Network{
		Air:       airflow.Air{Density: between(1.0, 1.25), Viscosity: 18e-6},
		Transport: airflow.Transport{Carries: between(14, 20), Settles: 12, Margin: pick(0, 0.05, 0.1)},
		Fan:       airflow.Fan{Kind: airflow.FanStatic, Inlet: 0.2, Density: 1.2, Straight: r.IntN(2) == 0},
	}
	shutoff, free := between(1200, 3600), between(0.4, 1.8)
	for i := range 5 {
		x := float64(i) / 4
		n.Fan.Curve = append(n.Fan.Curve, airflow.Point{Flow: free * x, Pressure: shutoff * (1 - 0.3*x - 0.7*x*x)})
	}
	n.Filter = airflow.Filter{Clean: airflow.Loss{Linear: between(0, 300), Quadratic: between(0, 200)}}
	n.Filter.Loaded = airflow.Loss{Linear: 2.5 * n.Filter.Clean.Linear, Quadratic: n.Filter.Clean.Quadratic}
	var machines []Machine
	duct := func(into int, d, l float64) int {
		var own *airflow.Transport
		if r.IntN(12) == 0 {
			own = &airflow.Transport{Carries: between(12, 22), Settles: between(5, 12), Margin: 0.05}
		}
		n.Ducts = append(n.Ducts, airflow.Duct{Name: fmt.Sprintf("duct %d", len(n.Ducts)), Into: into, Diameter: d, Length: l,
			Roughness: pick(0.01e-3, 0.15e-3, 0.4e-3), Loss: between(0.1, 1.2), Transport: own})
		return len(n.Ducts) - 1
	}
	number := 0
	gate := func(at int) {
		g := airflow.Gate{Name: fmt.Sprintf("gate %d", number), Number: number, Duct: at, Leak: pick(0, 0, 60e-6, 200e-6)}
		switch r.IntN(10) {
		case 0:
			g.Hand = true
		case 1:
			g.Relief = airflow.ReliefNever
		case 2:
			g.Relief = airflow.ReliefPreferred
		}
		n.Gates = append(n.Gates, g)
		number++
	}
	nodes := []int{duct(-1, pick(0.16, 0.18, 0.2, 0.25), between(2, 8))}
	if r.IntN(8) == 0 {
		nodes = append(nodes, duct(-1, pick(0.125, 0.16), between(2, 8)))
	}
	want := 1 + r.IntN(most)
	for number < want && len(machines) < 30 {
		switch k := r.IntN(10); {
		case k < 2 && len(nodes) < 5:
			d := duct(nodes[r.IntN(len(nodes))], pick(0.125, 0.14, 0.16), between(1, 6))
			if r.IntN(4) == 0 {
				gate(d)
			}
			nodes = append(nodes, d)
		default:
			d := duct(nodes[r.IntN(len(nodes))], pick(0.08, 0.1, 0.1, 0.125), between(0.5, 4))
			if r.IntN(15) != 0 {
				gate(d)
			}
			m := Machine{Number: len(machines), Name: fmt.Sprintf("machine %d", len(machines))}
			for range 1 + r.IntN(8)/7 {
				m.Ports = append(m.Ports, len(n.Ports))
				n.Ports = append(n.Ports, airflow.Port{Name: fmt.Sprintf("port %d", len(n.Ports)), Duct: d,
					HoodLoss: between(0.3, 1.2), Airflow: pick(0, 0.12, 0.18, 0.25) * n.Ducts[d].Diameter / 0.1})
			}
			if r.IntN(10) == 0 && len(n.Ports) > 1 {
				m.Ports = append(m.Ports, r.IntN(len(n.Ports)-1))
			}
			machines = append(machines, m)
		}
	}
	for d := range n.Ducts { // a duct that nothing leads into gets a port
		used := false
		for i := range n.Ducts {
			used = used || n.Ducts[i].Into == d
		}
		for _, p := range n.Ports {
			used = used || p.Duct == d
		}
		if !used {
			machines = append(machines, Machine{Number: len(machines), Name: fmt.Sprintf("machine %d", len(machines)), Ports: []int{len(n.Ports)}})
			n.Ports = append(n.Ports, airflow.Port{Name: fmt.Sprintf("port %d", len(n.Ports)), Duct: d, HoodLoss: 0.6})
		}
	}
	return n, machines
}

// some draws a set that has each place with a chance of one in two to the power of rarity.
func some(r *rand.Rand, rarity int) gates.Set {
	s := ^gates.Set(0)
	for range rarity {
		s &= gates.Set(r.Uint64())
	}
	return s
}

// randomQuestion asks for one to three machines, now and then with some running down, gates open, broken or
// stuck.
func randomQuestion(r *rand.Rand, n *airflow.Network, machines []Machine) Question {
	all := gates.Set(0)
	hand := gates.Set(0)
	for _, g := range n.Gates {
		all = all.With(g.Number)
		if g.Hand {
			hand = hand.With(g.Number)
		}
	}
	q := Question{Usable: all &^ hand, Loaded: r.IntN(2) == 0}
	for range 1 + r.IntN(3) {
		q.Running = q.Running.With(machines[r.IntN(len(machines))].Number)
	}
	if r.IntN(2) == 0 {
		q.Open = some(r, 2) & all
	}
	if r.IntN(3) == 0 {
		q.Usable &^= some(r, 3)
	}
	if r.IntN(3) == 0 {
		q.StuckOpen = some(r, 3) & all
	}
	return q
}

// bigShop draws a shop of many gates in two to four wings: fan pressure and flow, diameters and transport speeds
// vary, so that with 40 gates about one demand in six cannot be carried at all.
func bigShop(r *rand.Rand, size int) (airflow.Network, []Machine) {
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	pick := func(v ...float64) float64 { return v[r.IntN(len(v))] }
	branches, mains := between(16, 20), between(12, 15)
	n := airflow.Network{
		Air:       airflow.Air{Density: 1.2, Viscosity: 18.1e-6},
		Transport: airflow.Transport{Carries: branches, Settles: 10},
		Fan:       airflow.Fan{Kind: airflow.FanStatic, Inlet: 0.25, Density: 1.2},
	}
	shutoff, free := 2800*between(0.7, 1.3), 1.15*between(0.8, 1.6)
	for i := range 5 {
		x := float64(i) / 4
		n.Fan.Curve = append(n.Fan.Curve, airflow.Point{Flow: free * x, Pressure: shutoff * (1 - 0.25*x - 0.75*x*x)})
	}
	n.Filter = airflow.Filter{Clean: airflow.Loss{Linear: 300, Quadratic: 100}, Loaded: airflow.Loss{Linear: 700, Quadratic: 100}}
	slow := &airflow.Transport{Carries: mains, Settles: 9}
	duct := func(into int, d, l float64, own *airflow.Transport) int {
		n.Ducts = append(n.Ducts, airflow.Duct{Name: fmt.Sprintf("duct %d", len(n.Ducts)), Into: into, Diameter: d, Length: l,
			Roughness: 0.15e-3, Loss: between(0.1, 0.6), Transport: own})
		return len(n.Ducts) - 1
	}
	main := duct(-1, between(0.2, 0.25), between(3, 8), slow)
	var nodes []int
	for range 2 + r.IntN(3) {
		at := main
		for range 2 + r.IntN(2) {
			at = duct(at, pick(0.14, 0.16, 0.18), between(2, 5), slow)
			nodes = append(nodes, at)
		}
	}
	var machines []Machine
	for g := range size {
		at := nodes[g%len(nodes)]
		if g >= len(nodes) {
			at = nodes[r.IntN(len(nodes))]
		}
		d := duct(at, pick(0.08, 0.1, 0.1, 0.125), between(1, 3), nil)
		n.Ports = append(n.Ports, airflow.Port{Name: fmt.Sprintf("port %d", g), Duct: d, HoodLoss: between(0.4, 1)})
		n.Gates = append(n.Gates, airflow.Gate{Name: fmt.Sprintf("gate %d", g), Number: g, Duct: d})
		machines = append(machines, Machine{Number: g, Name: fmt.Sprintf("machine %d", g), Ports: []int{g}})
	}
	return n, machines
}
