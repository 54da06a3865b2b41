package airflow

import (
	"math"

	"ductwarden/gates"
)

// Limits of one collector's tree. Ports and gates are counted in the bits of a gates.Set; duct 255 means none.
const (
	MaxPorts = 64
	MaxDucts = 250
)

// NoDuct and NoPort stand for "none" in a verdict.
const (
	NoDuct = 255
	NoPort = 255
)

// OrificeCd is the discharge coefficient of a closed gate's leak: a sharp-edged opening. Source: the usual
// 0.6 of a sharp orifice (design figure of this program; the ACGIH coefficient of entry of a sharp orifice,
// quoted in secondary sheets, is 0.60 too).
const OrificeCd = 0.6

// Model is a checked network, ready to be solved. It is never changed after Compile and may be used by any
// number of solvers at once.
type Model struct {
	net    Network
	judged bool

	pipes    []pipe
	order    []int // ducts, each after the duct that it flows into
	children [][]int
	ports    [][]int // of each duct
	merged   []bool  // duct with one port and nothing else: the hood's loss stands in fixed
	hood     []float64
	mouth    []float64 // of each port: its hood as it was given, Pa per (m3/s)^2
	into     []int     // of each duct: the duct downstream, -1 = the collector
	inlets   []int     // ducts that flow into the collector
	runs     []seat    // ducts with more upstream than one port, in order
	ends     []seat    // the others: merged, by their port
	alone    gates.Set // ports (places) of those
	shared   []int     // ports on runs

	gatesOf    [][]int     // indices into net.Gates that sit on a duct
	leak       []float64   // of each gate: Pa per (m3/s)^2 when closed; 0 = tight
	tight      gates.Set   // gates (numbers) that let nothing through when closed
	leaking    gates.Set   // the others
	on         []gates.Set // gates (numbers) on a duct itself
	portWay    []gates.Set // gates (numbers) between a port and the collector
	always     gates.Set   // ports (places) with no tight gate on their way
	shifts     []shift     // ports with one
	several    []int       // ports with several
	way        []gates.Set // gates (numbers) on a duct and downstream of it
	above      []gates.Set // gates (numbers) on a duct and upstream of it
	portsAbove []gates.Set // ports (places) that flow through a duct
	all, hand  gates.Set   // gates (numbers)

	fan           curve
	clean, loaded Loss // everything behind the inlet, in the two states of the filter
}

// seat is what a solver asks of a duct before it knows whether air flows there.
type seat struct {
	duct, into   int32
	port         int32     // its only port, where there is nothing else upstream
	ports, gates gates.Set // ports (places) above it, gates (numbers) on it
}

// shift is ports whose only tight gate has a number so much above the port's place.
type shift struct {
	by    int
	ports gates.Set
}

// Network is what the model was made of, with every default filled in. It must not be changed.
func (m *Model) Network() *Network { return &m.net }

// Judged reports whether there are ducts and a fan curve, so that air can be judged at all.
func (m *Model) Judged() bool { return m.judged }

// Gates is the set of all gate numbers; Hand the set of those moved by hand.
func (m *Model) Gates() gates.Set { return m.all }

// Hand is the set of the gates (by number) that are moved by hand.
func (m *Model) Hand() gates.Set { return m.hand }

// GatesOnWay is the set of gates (by number) between a port and the collector.
func (m *Model) GatesOnWay(port int) gates.Set { return m.way[m.net.Ports[port].Duct] }

// Needs is the set of gates (by number) on the ways of a set of ports (by place in Network.Ports).
func (m *Model) Needs(ports gates.Set) gates.Set {
	var s gates.Set
	for p := range ports.All() {
		if p < len(m.net.Ports) {
			s |= m.GatesOnWay(p)
		}
	}
	return s
}

// GatesAbove is the set of gates (by number) on a duct and upstream of it: opening one of them speeds it up.
func (m *Model) GatesAbove(duct int) gates.Set { return m.above[duct] }

// PortsAbove is the set of ports (by place in Network.Ports) whose air flows through a duct. A duct is a
// carrying duct when one of them is demanded.
func (m *Model) PortsAbove(duct int) gates.Set { return m.portsAbove[duct] }

// Way lists the ducts from a port to the collector, the port's own first.
func (m *Model) Way(port int) []int {
	var way []int
	for d := m.net.Ports[port].Duct; d >= 0; d = m.net.Ducts[d].Into {
		way = append(way, d)
	}
	return way
}

// OpenPorts is the set of ports (by place) whose way to the collector is open in a pattern.
func (m *Model) OpenPorts(open gates.Set) gates.Set {
	var s gates.Set
	for i := range m.net.Ports {
		if m.GatesOnWay(i)&^open == 0 {
			s = s.With(i)
		}
	}
	return s
}

// Demanded is what a pattern alone demands, as the survey judges patterns: the open ports with a gate on
// their way. Ports without a gate are always open and demand nothing by themselves.
func (m *Model) Demanded(open gates.Set) gates.Set {
	var s gates.Set
	for i := range m.net.Ports {
		if w := m.GatesOnWay(i); w != 0 && w&^open == 0 {
			s = s.With(i)
		}
	}
	return s
}

// Transport is the pair of speeds that holds in a duct.
func (m *Model) Transport(duct int) Transport {
	if t := m.net.Ducts[duct].Transport; t != nil {
		return *t
	}
	return m.net.Transport
}

// FanStaticAt is the fan's static pressure (Pa) at a flow (m3/s) in the shop's own air; MotorAt what its motor
// takes (W), NaN when no power curve is given.
func (m *Model) FanStaticAt(flow float64) float64 {
	if !m.judged {
		return math.NaN()
	}
	p, _ := m.fan.at(flow)
	return p
}

// MotorAt is the motor power (W) at a flow (m3/s) in the shop's own air; NaN when no power curve is given.
// Source: the fan laws, power rises with the density.
func (m *Model) MotorAt(flow float64) float64 {
	if !m.judged || len(m.net.Fan.Power) == 0 {
		return math.NaN()
	}
	return along(m.net.Fan.Power, flow) * m.fan.scale
}

// DuctLoss is the loss (Pa) of a duct's friction and fittings at a flow (m3/s), gates left out, and that of its hood
// where it has one port and nothing else upstream.
func (m *Model) DuctLoss(duct int, flow float64) (run, hood float64) {
	if flow <= 0 {
		return 0, 0
	}
	p := &m.pipes[duct]
	run, _, _ = p.loss(flow, p.fixed)
	if m.merged[duct] {
		hood = float64(m.mouth[m.ports[duct][0]] * flow * flow)
	}
	return run - hood, hood
}

// lossAt is the loss behind the inlet for a filter state between clean (0) and loaded (1).
func (m *Model) lossAt(s State) Loss {
	switch s {
	case Clean:
		return m.clean
	case Loaded:
		return m.loaded
	}
	x := float64(s)
	return Loss{
		Linear:    m.clean.Linear + float64(x*(m.loaded.Linear-m.clean.Linear)),
		Quadratic: m.clean.Quadratic + float64(x*(m.loaded.Quadratic-m.clean.Quadratic)),
	}
}

// State is how loaded the filter is, from 0 (clean) to 1 (loaded).
type State float64

// The two ends.
const (
	Clean  State = 0
	Loaded State = 1
)

// String names the two ends.
func (s State) String() string {
	switch s {
	case Clean:
		return "clean"
	case Loaded:
		return "loaded"
	}
	return "between"
}
