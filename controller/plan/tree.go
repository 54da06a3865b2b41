package plan

import (
	"fmt"
	"math"

	"ductwarden/controller/airflow"
	"ductwarden/gates"
)

// Machine is one machine as a planner sees it.
type Machine struct {
	Number int       // place in the shop file: its bit in a set of machines
	Name   string    // as the person calls it
	Ports  []int     // its ports by place in the collector's network; empty when they are another collector's
	Needs  gates.Set // gates that it needs beside those on its ports' ways, by number: where no ducts are known
}

// Options are the numbers of a choice. The zero value holds the defaults.
type Options struct {
	// Solves is the most patterns that are solved to find one demand's pattern; 0 means DefaultSolves.
	Solves int
	// Full is the share of the wanted air from which a port counts as full; 0 means DefaultFull.
	Full Ratio
	// Clearing is what the clearing time is stretched by, for chips that are slower than the air; 0 means
	// DefaultClearing.
	Clearing Ratio
	// FilterSensor says that questions may come with a clean filter, so that Prepare thinks of it.
	FilterSensor bool
	// EverythingOpen is for a shop designed with all gates open: the answer is always all gates.
	EverythingOpen bool
}

// Defaults of Options.
const (
	DefaultSolves         = 2000
	DefaultFull     Ratio = 9500  // own choice: wanted air is given in round figures, and 5 % is what `margin` allows too
	DefaultClearing Ratio = 15000 // own choice, the shop file's `clearing_factor`: chips lag behind the air
)

// places is what a set of gates or machines can name.
const places = 64

// Tree plans for one collector's tree of ducts. It keeps room for a search and remembers answers, so it is
// for one goroutine at a time; Fork makes another for the same shop.
type Tree struct {
	net     *airflow.Network
	air     Air // nil: not judged
	options Options

	machines [places]*Machine // by number; nil: none
	mine     gates.Set        // machines with a port here

	all    gates.Set   // gates of this tree
	hand   gates.Set   // of them, moved by hand
	never  gates.Set   // of them, never opened for their air
	prefer gates.Set   // of them, opened for their air before others
	nested gates.Set   // of them, with another gate below or above: alone they may bring no air
	gateOf [places]int // gate number -> place in net.Gates
	ports  []port      // by place in the network
	ducts  []duct

	even bool // settling speed over transport speed is the same in all ducts

	alone [2][][places]drawn // filter clean and loaded; by duct: what each gate above draws when it is open alone

	room room // for one search after the other
	memo memo
}

// port is what is known of a port beside the network.
type port struct {
	way     []int     // ducts from the port to the collector
	through gates.Set // gates on that way
}

// duct is what is known of a duct beside the network.
type duct struct {
	above   gates.Set // gates strictly upstream: opening one raises this duct's flow
	through gates.Set // gates on the duct itself and on its way to the collector
	asked   Ratio     // least air speed over transport speed, less 1, for the duct to carry
	part    int64     // mm3/s at 1/10000 of transport speed, rounded down
	length  int64     // 0.1 mm, rounded up
	depth   int       // ducts between it and the collector
}

// New lays out one collector's tree. net is the network that air was made from; with a nil air nothing is
// judged, the needed gates alone are the answer, and a gate may have no duct (-1). The network's gates and the
// machines carry their places in the shop file, 0 to 63.
func New(net *airflow.Network, air Air, machines []Machine, options Options) (*Tree, error) {
	if options.Solves <= 0 {
		options.Solves = DefaultSolves
	}
	if options.Full == 0 {
		options.Full = DefaultFull
	}
	if options.Clearing == 0 {
		options.Clearing = DefaultClearing
	}
	t := &Tree{net: net, air: air, options: options}
	if err := t.layDucts(); err != nil {
		return nil, err
	}
	if err := t.layMachines(machines); err != nil {
		return nil, err
	}
	if air != nil {
		t.measureGates()
	}
	t.memo.init()
	return t, nil
}

// Fork is a tree for the same shop that another goroutine may use, given an Air of its own.
func (t *Tree) Fork(air Air) *Tree {
	f := *t
	f.air, f.room, f.memo = air, room{}, memo{}
	f.memo.init()
	return &f
}

// layDucts finds the gates below, on and above each duct, and each port's way.
func (t *Tree) layDucts() error {
	n := t.net
	t.ducts = make([]duct, len(n.Ducts))
	on := make([]gates.Set, len(n.Ducts))
	for i, g := range n.Gates {
		switch {
		case g.Number < 0 || g.Number >= places:
			return fmt.Errorf("gate %q has number %d: 0 to %d are possible", g.Name, g.Number, places-1)
		case t.all.Has(g.Number):
			return fmt.Errorf("gate %q has number %d, which another gate has: give each its own", g.Name, g.Number)
		case g.Duct >= len(n.Ducts) || g.Duct < 0 && t.air != nil:
			return fmt.Errorf("gate %q names duct %d of %d: name one that exists", g.Name, g.Duct, len(n.Ducts))
		}
		t.all = t.all.With(g.Number)
		t.gateOf[g.Number] = i
		if g.Duct >= 0 {
			on[g.Duct] = on[g.Duct].With(g.Number)
		}
		if g.Hand {
			t.hand = t.hand.With(g.Number)
		}
		switch g.Relief {
		case airflow.ReliefNever:
			t.never = t.never.With(g.Number)
		case airflow.ReliefPreferred:
			t.prefer = t.prefer.With(g.Number)
		}
	}
	t.even = true
	var share Ratio
	for i := range n.Ducts {
		way, err := t.way(i)
		if err != nil {
			return err
		}
		d := &t.ducts[i]
		d.depth = len(way) - 1
		for _, w := range way {
			d.through |= on[w]
			if w != i {
				t.ducts[w].above |= on[i]
			}
		}
		speeds := n.Transport
		if own := n.Ducts[i].Transport; own != nil {
			speeds = *own
		}
		if i == 0 {
			share = airflow.RatioOf(speeds.Settles / speeds.Carries)
		}
		t.even = t.even && share == airflow.RatioOf(speeds.Settles/speeds.Carries)
		area := math.Pi / 4 * n.Ducts[i].Diameter * n.Ducts[i].Diameter
		d.part = int64(math.Floor(speeds.Carries*area*1e9)) / 10000
		d.asked = Ratio(math.Floor(float64(speeds.Margin*1e4) + 0.5))
		d.length = int64(math.Ceil(n.Ducts[i].Length * 1e4))
	}
	for i, g := range n.Gates {
		if g.Duct >= 0 && (t.ducts[g.Duct].above != 0 || t.ducts[g.Duct].through != gates.Of(n.Gates[i].Number)) {
			t.nested = t.nested.With(g.Number)
		}
	}
	for _, p := range n.Ports {
		if p.Duct < 0 || p.Duct >= len(n.Ducts) {
			return fmt.Errorf("port %q names duct %d of %d: name one that exists", p.Name, p.Duct, len(n.Ducts))
		}
		way, _ := t.way(p.Duct)
		t.ports = append(t.ports, port{way: way, through: t.ducts[p.Duct].through})
	}
	return nil
}

// way lists the ducts from duct i to the collector, duct i first.
func (t *Tree) way(i int) ([]int, error) {
	var way []int
	for d := i; d >= 0; d = t.net.Ducts[d].Into {
		if d >= len(t.net.Ducts) {
			return nil, fmt.Errorf("duct %q leads to duct %d of %d: name one that exists", t.net.Ducts[i].Name, d, len(t.net.Ducts))
		}
		if len(way) == len(t.net.Ducts) {
			return nil, fmt.Errorf("duct %q leads in a circle: its way must end at the collector", t.net.Ducts[i].Name)
		}
		way = append(way, d)
	}
	return way, nil
}

func (t *Tree) layMachines(machines []Machine) error {
	for i := range machines {
		m := &machines[i]
		if m.Number < 0 || m.Number >= places {
			return fmt.Errorf("machine %q has number %d: 0 to %d are possible", m.Name, m.Number, places-1)
		}
		if t.machines[m.Number] != nil {
			return fmt.Errorf("machine %q has number %d, which another machine has: give each its own", m.Name, m.Number)
		}
		t.machines[m.Number] = m
		if m.Needs != 0 {
			t.all |= m.Needs
			t.mine = t.mine.With(m.Number)
		}
		for _, p := range m.Ports {
			if p < 0 || p >= len(t.ports) {
				return fmt.Errorf("machine %q names port %d of %d: name one that exists", m.Name, p, len(t.ports))
			}
			t.mine = t.mine.With(m.Number)
		}
	}
	return nil
}
