package airflow

import (
	"fmt"
	"math"
	"math/rand/v2"

	"ductwarden/gates"
)

// dice builds random networks. Everything it makes passes Check.
type dice struct {
	rng  *rand.Rand
	wild bool // the corners: choked ducts, tiny leaks, very steep and flat fans
}

func newDice(seed uint64) *dice { return &dice{rng: rand.New(rand.NewPCG(seed, 7))} }

// between draws evenly in the logarithm.
func (d *dice) between(low, high float64) float64 {
	return low * math.Pow(high/low, d.rng.Float64())
}

func (d *dice) pick(of ...float64) float64 { return of[d.rng.IntN(len(of))] }

func (d *dice) chance(p float64) bool { return d.rng.Float64() < p }

// network has the given number of ports on a random tree: each new port hangs on the collector, on a duct that
// is there, or on one that it splits off; some share a duct.
func (d *dice) network(ports int) Network {
	n := Network{
		Name:      "collector",
		Air:       Air{Density: 0.7 + 0.6*d.rng.Float64(), Viscosity: 1.6e-5 + 0.5e-5*d.rng.Float64()},
		Transport: Transport{Carries: 20, Settles: 15, Margin: 0.05},
		Fan:       d.fan(),
		Filter: Filter{
			Clean:  Loss{Linear: 500 * d.rng.Float64(), Quadratic: 500 * d.rng.Float64()},
			Loaded: Loss{Linear: 500 + 1500*d.rng.Float64(), Quadratic: 500 + 500*d.rng.Float64()},
		},
		Separator: Loss{Quadratic: 1000 * d.rng.Float64()},
	}
	n.Ducts = append(n.Ducts, d.duct("main", -1, 0.1, 0.3))
	mains := []int{0}
	if d.chance(0.3) {
		n.Ducts = append(n.Ducts, d.duct("second main", -1, 0.1, 0.2))
		mains = append(mains, 1)
	}
	for p := range ports {
		into := mains[d.rng.IntN(len(mains))]
		if d.chance(0.4) {
			n.Ducts = append(n.Ducts, d.duct(fmt.Sprintf("run %d", p), into, 0.08, 0.2))
			into = len(n.Ducts) - 1
			mains = append(mains, into)
		}
		at := into
		if !d.chance(0.1) {
			n.Ducts = append(n.Ducts, d.duct(fmt.Sprintf("drop %d", p), into, 0.04, 0.16))
			at = len(n.Ducts) - 1
		}
		n.Ports = append(n.Ports, Port{Name: fmt.Sprint("port ", p), Duct: at, HoodLoss: d.between(0.03, 4), Airflow: d.between(0.05, 0.4)})
	}
	d.complete(&n)
	d.gates(&n)
	return n
}

// complete gives a port to every duct that nothing leads into.
func (d *dice) complete(n *Network) {
	fed := make([]bool, len(n.Ducts))
	for _, u := range n.Ducts {
		if u.Into >= 0 {
			fed[u.Into] = true
		}
	}
	for _, p := range n.Ports {
		fed[p.Duct] = true
	}
	for i, ok := range fed {
		if !ok {
			n.Ports = append(n.Ports, Port{Name: fmt.Sprint("end of ", i), Duct: i, HoodLoss: 0.5})
		}
	}
}

func (d *dice) duct(name string, into int, least, most float64) Duct {
	u := Duct{Name: name, Into: into, Diameter: d.between(least, most), Length: d.between(0.2, 15), Loss: 2 * d.rng.Float64()}
	u.Roughness = d.pick(0, 1e-5, 1.5e-4, 4e-4, 2e-3)
	if d.wild && d.chance(0.15) {
		u.Diameter = d.between(0.012, 0.03)
		u.Roughness = math.Min(u.Roughness, u.Diameter/6)
	}
	if d.wild && d.chance(0.1) {
		u.Loss = d.between(10, 3000)
	}
	return u
}

func (d *dice) fan() Fan {
	shutoff, free := d.between(500, 4000), d.between(0.15, 1.5)
	power := d.pick(1, 2, 2, 4, 8) // straight, parabola, flat then steep
	if d.wild && d.chance(0.3) {
		power = d.pick(1, 40)
	}
	f := Fan{Density: 1.2, Straight: d.chance(0.5), Kind: PressureKind(d.rng.IntN(3)), Inlet: d.between(0.1, 0.3)}
	points := 2 + d.rng.IntN(10)
	for k := range points {
		x := float64(k) / float64(points-1)
		f.Curve = append(f.Curve, Point{Flow: free * x, Pressure: shutoff * (1 - math.Pow(x, power))})
	}
	if d.chance(0.2) && points > 3 {
		f.Curve[1].Pressure = f.Curve[0].Pressure // a level piece
	}
	return f
}

// gates puts gates at most ports' ducts and at some ducts in the tree, tight and leaking.
func (d *dice) gates(n *Network) {
	at := map[int]bool{}
	gate := func(duct int) {
		if at[duct] || len(n.Gates) == 64 {
			return
		}
		at[duct] = true
		leak := 0.0
		if d.chance(0.5) {
			leak = d.between(1e-6, 3e-4)
			if d.wild {
				leak = d.between(1e-9, 1e-4)
			}
			leak = math.Min(leak, 0.7*n.Ducts[duct].Diameter*n.Ducts[duct].Diameter)
		}
		n.Gates = append(n.Gates, Gate{Name: fmt.Sprint("gate ", len(n.Gates)), Number: len(n.Gates), Duct: duct, Leak: leak, Hand: d.chance(0.1)})
	}
	for _, p := range n.Ports {
		if d.chance(0.85) {
			gate(p.Duct)
		}
	}
	for i := range n.Ducts {
		if d.chance(0.08) {
			gate(i)
		}
	}
}

// open is a random pattern.
func (d *dice) open(m *Model) gates.Set {
	switch d.rng.IntN(10) {
	case 0:
		return 0
	case 1:
		return m.Gates()
	}
	return gates.Set(d.rng.Uint64()) & m.Gates()
}
