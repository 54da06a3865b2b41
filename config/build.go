package config

import (
	"fmt"
	"math"
	"time"

	"ductwarden/controller"
	"ductwarden/controller/airflow"
	"ductwarden/controller/plan"
	"ductwarden/gates"
)

// Tree is one collector's part of the shop as the air sees it: the network with its own numbering, and what the
// numbers are in the shop.
type Tree struct {
	Network  airflow.Network
	Judged   bool // there are ducts and a fan: the air can be judged
	Ducts    []int
	Ports    []int
	Machines []plan.Machine
}

// Trees builds each collector's network. A shop without collectors has one tree without anything.
func (s *Shop) Trees() []Tree {
	trees := make([]Tree, max(1, len(s.Collectors)))
	for c := range trees {
		trees[c] = s.tree(c)
	}
	return trees
}

func (s *Shop) tree(c int) Tree {
	t := Tree{Network: airflow.Network{
		Air:       airflow.Air{Density: s.Air.Density, Viscosity: s.Air.Viscosity},
		Transport: s.Transport,
		Own:       s.Own,
	}}
	n := &t.Network
	if c < len(s.Collectors) {
		s.fan(n, &s.Collectors[c])
	}
	local := make([]int, len(s.Ducts)) // place in the shop -> place in the network
	for i := range s.Ducts {
		local[i] = -1
		if s.Ducts[i].Collector == c {
			local[i] = len(t.Ducts)
			t.Ducts = append(t.Ducts, i)
		}
	}
	for _, i := range t.Ducts {
		n.Ducts = append(n.Ducts, s.duct(&s.Ducts[i], local, n))
	}
	place := make([]int, len(s.Ports))
	for i, p := range s.Ports {
		place[i] = -1
		if p.Duct >= 0 && local[p.Duct] >= 0 {
			place[i] = len(t.Ports)
			t.Ports = append(t.Ports, i)
			n.Ports = append(n.Ports, airflow.Port{Name: p.Name, Duct: local[p.Duct], HoodLoss: p.HoodLoss, Hood: p.Hood, Airflow: p.Airflow})
		}
	}
	for i, g := range s.Gates {
		if g.Duct >= 0 && local[g.Duct] >= 0 {
			n.Gates = append(n.Gates, airflow.Gate{Name: g.Name, Number: i, Duct: local[g.Duct], Leak: g.Leak, Hand: g.Actuator.Hand != nil, Relief: g.Relief})
		}
	}
	for i, m := range s.Machines {
		var ports []int
		for _, p := range m.Ports {
			if place[p] >= 0 {
				ports = append(ports, place[p])
			}
		}
		if ports != nil {
			t.Machines = append(t.Machines, plan.Machine{Number: i, Name: m.Name, Ports: ports})
		}
	}
	t.Judged = len(n.Ducts) > 0 && len(n.Fan.Curve) > 0
	if t.Judged {
		s.fitted(n)
	}
	return t
}

// fan fills in what the collector does to the air.
func (s *Shop) fan(n *airflow.Network, c *Collector) {
	n.Name, n.Outdoors = c.Name, c.Outdoors
	if f := c.Fan; f != nil {
		n.Fan = airflow.Fan{Kind: f.Pressure, Inlet: f.Inlet, Outlet: f.Outlet, Density: f.Density, Straight: f.Straight,
			Guess: f.Guess, Curve: f.Curve, Includes: f.Includes, Power: f.Power, Motor: c.Motor.Power, Least: f.LeastFlow}
		if f.Guess {
			n.Fan.Curve = airflow.GuessCurve(f.Shutoff, f.FreeFlow)
		}
	}
	if c.Filter != nil {
		n.Filter = airflow.Filter{Clean: c.Filter.Clean.split(), Loaded: c.Filter.Loaded.split()}
	}
	if c.Separator != nil {
		n.Separator = c.Separator.split()
	}
	if c.Exhaust != nil {
		n.Exhaust = c.Exhaust.split()
	}
}

// split turns a loss at one flow into its linear and quadratic parts.
func (l Loss) split() airflow.Loss {
	if l.Flow <= 0 {
		return airflow.Loss{}
	}
	return airflow.LossAt(l.Flow, l.Pressure, l.Linear)
}

func (s *Shop) duct(d *Duct, local []int, n *airflow.Network) airflow.Duct {
	into := -1
	if d.Into >= 0 {
		into = local[d.Into]
	}
	out := airflow.Duct{Name: d.Name, Into: into, Diameter: d.Diameter, Length: d.Length, Roughness: d.Roughness, Wall: d.Wall, Loss: d.Loss,
		Friction: squeezed(d.Compressed), Transport: d.Transport}
	for _, f := range d.Fittings {
		if f.Loss >= 0 { // the person's own coefficient counts for this duct alone
			out.Loss += float64(f.Loss) * float64(f.Count)
			continue
		}
		out.Fittings = append(out.Fittings, airflow.Fitting{Kind: f.Kind, Count: f.Count})
	}
	return out
}

// squeezed is the factor on the friction of a hose that is shorter than when stretched by the share c: 1 when
// stretched, 2 at 30 %, 4 at 60 % (a weak page has 15 to 30 % double it and 30 to 60 % make it four times; Abushakra, Walker and Sherman (LBNL) have 4 for moderate compression). Zero leaves the wall's default.
func squeezed(c float64) float64 {
	if c <= 0 {
		return 0
	}
	return math.Exp2(c / 0.3)
}

// Core builds the pure core's view of the shop. planners has one for each tree of Trees; its answers name
// ducts by their places in the tree's network, the core's by their places in the shop.
func (s *Shop) Core(planners []plan.Planner) (*controller.Shop, error) {
	if len(planners) != max(1, len(s.Collectors)) {
		return nil, fmt.Errorf("%d planners for %d collectors", len(planners), len(s.Collectors))
	}
	out := &controller.Shop{
		Name:              s.Name,
		EverythingOpen:    s.Way == EverythingOpen,
		OnDutyAfterStart:  s.Duty.OnDutyAfterPowerUp,
		StartWhileResting: s.Duty.StartWhileResting,
		Linger:            millis(s.Duty.Linger),
		LongestLinger:     millis(s.Duty.LongestLinger),
		LeastClearing:     millis(s.Limits.LeastClearing),
		MovingAtOnce:      uint8(s.Limits.MovingAtOnce),
		MovesPerMinute:    uint8(s.Limits.MovesPerMinute),
		LongestRun:        millis(s.Limits.LongestRun),
		LongestHold:       millis(s.Limits.LongestHold),
		LongRunGrace:      controller.DefaultLongRunGrace,
		InrushSpacing:     millis(s.Duty.Spacing),
		Warning:           millis(s.Duty.Warning),
		PathLost:          controller.DefaultPathLost,
	}
	if s.MQTT != nil {
		out.Network = s.MQTT.rights()
	}
	for i := range s.Gates {
		g := &s.Gates[i]
		out.Gates = append(out.Gates, controller.Gate{ID: g.ID, Name: g.Name, Collector: uint8(max(0, g.Collector)), Motion: g.motion()})
	}
	for i := range s.Machines {
		m := &s.Machines[i]
		cm := controller.Machine{ID: m.ID, Name: m.Name, RunDown: millis(m.RunDown), LongestRun: millis(m.LongestRun)}
		for _, g := range m.Gates {
			cm.Needs = cm.Needs.With(g)
		}
		for _, c := range m.Collectors {
			cm.Collectors = cm.Collectors.With(c)
		}
		if cm.Collectors.Empty() {
			cm.Collectors = gates.Of(0)
		}
		for _, sensor := range m.Sensors {
			if sensor.Button != nil {
				cm.Button = millis(sensor.Button.For)
			} else {
				cm.Sensed = true
			}
		}
		out.Machines = append(out.Machines, cm)
	}
	trees := s.Trees()
	for c := range trees {
		var cc controller.Collector
		if c < len(s.Collectors) {
			cc = s.Collectors[c].core()
		}
		cc.Planner = s.wholeTree(planners[c], &trees[c], c)
		cc.Ways = s.waysTo(c)
		out.Collectors = append(out.Collectors, cc)
	}
	for i := range s.Ducts {
		d := &s.Ducts[i]
		t := s.Transport
		if d.Transport != nil {
			t = *d.Transport
		}
		cd := controller.Duct{ID: d.ID, Name: d.Name}
		if trees[d.Collector].Judged {
			cd.Transport = int32(math.Round(t.Carries * (1 + t.Margin) * 1000))
		}
		out.Ducts = append(out.Ducts, cd)
	}
	if err := out.Check(); err != nil {
		return nil, err
	}
	return out, nil
}

// millis is a time in wholeTree milliseconds, rounded to the nearest.
func millis(d time.Duration) controller.Span {
	return controller.Span(d.Round(time.Millisecond) / time.Millisecond)
}

// motion is what the motion machine must know of the gate.
func (g *Gate) motion() gates.Limits {
	l := gates.Limits{}
	switch a := g.Actuator; {
	case a.Servo != nil:
		l.Travel = millis(a.Servo.Travel)
	case a.Relay != nil:
		l.Travel = millis(a.Relay.Travel)
	case a.Remote != nil:
		l.Travel = millis(a.Remote.Travel)
		l.OpenSwitch, l.ClosedSwitch = true, true // the node reports both ends
	case a.Hand != nil:
		l.Hand = true
		l.OpenSwitch, l.ClosedSwitch = a.Hand.Open != nil, a.Hand.Closed != nil
	}
	if p := g.Proof; p != nil {
		l.OpenSwitch, l.ClosedSwitch = l.OpenSwitch || p.Open != nil, l.ClosedSwitch || p.Closed != nil
	}
	return l
}

// core is what the core must know of the collector, without planner and ways.
func (c *Collector) core() controller.Collector {
	out := controller.Collector{
		ID: c.ID, Name: c.Name, Starter: c.Starter != nil, Proof: c.Proof != nil,
		StartsPerHour: uint8(c.Motor.StartsPerHour), Rest: millis(c.Motor.Rest), LeastRun: millis(c.Motor.LeastRun),
		SpinUp: millis(c.Motor.SpinUp), Coast: millis(c.Motor.Coast),
		ProveOn: controller.DefaultProveOn, ProveOff: controller.DefaultProveOff,
	}
	if c.Filter != nil {
		out.FilterSensor = c.Filter.Sensor != nil
	}
	if p := c.Proof; p != nil {
		if p.StartWithin > 0 {
			out.ProveOn = millis(p.StartWithin)
		}
		if p.StopWithin > 0 {
			out.ProveOff = millis(p.StopWithin)
		}
	}
	return out
}

// waysTo lists the gates on the way of each port of a collector, those preferred for relief first; in a shop
// without ducts each gate is a way of its own.
func (s *Shop) waysTo(c int) []controller.Set {
	var first, then []controller.Set
	for _, p := range s.Ports {
		if p.Duct < 0 || s.Ducts[p.Duct].Collector != c {
			continue
		}
		var way controller.Set
		preferred := false
		for d := p.Duct; d >= 0; d = s.Ducts[d].Into {
			for i := range s.Gates {
				if s.Gates[i].Duct == d {
					way = way.With(i)
					preferred = preferred || s.Gates[i].Relief == airflow.ReliefPreferred
				}
			}
		}
		if preferred {
			first = append(first, way)
		} else {
			then = append(then, way)
		}
	}
	for i := range s.Gates {
		if s.Gates[i].Duct < 0 && max(0, s.Gates[i].Collector) == c {
			then = append(then, gates.Of(i))
		}
	}
	return append(first, then...)
}

// wholeTree is a tree's planner in the numbering of the shop: its answers name ducts by their places in the shop, and
// hold the gates that machines name themselves beside those on their ports' ways. A shop without ducts has no others.
type wholeTree struct {
	plan.Planner
	ducts []int
	named [64]gates.Set // by machine
}

// wholeTree wraps a collector's planner where the tree does not say everything.
func (s *Shop) wholeTree(p plan.Planner, t *Tree, c int) plan.Planner {
	w := &wholeTree{Planner: p, ducts: t.Ducts}
	plain := true
	for local, place := range t.Ducts {
		plain = plain && local == place
	}
	for m := range s.Machines {
		for _, g := range s.Machines[m].Gates {
			if s.Gates[g].Actuator.Hand != nil {
				continue // a person slides it: the core asks after it where that matters
			}
			if max(0, s.Gates[g].Collector) == c && !s.onWay(m, g) {
				w.named[m] = w.named[m].With(g)
				plain = false
			}
		}
	}
	if plain {
		return p
	}
	return w
}

// onWay reports whether a gate is on the way of one of a machine's ports.
func (s *Shop) onWay(machine, gate int) bool {
	for _, port := range s.Machines[machine].Ports {
		for d := s.Ports[port].Duct; d >= 0; d = s.Ducts[d].Into {
			if s.Gates[gate].Duct == d {
				return true
			}
		}
	}
	return false
}

// Choose asks the tree's planner with the named gates taken as open, so that their air is judged too.
func (w *wholeTree) Choose(q plan.Question) plan.Answer {
	var named, short gates.Set
	can := q.Usable | q.Open | q.StuckOpen
	for m := range (q.Running | q.Down).All() {
		named |= w.named[m]
		if w.named[m]&^can != 0 {
			short = short.With(m)
		}
	}
	q.StuckOpen |= named & can
	a := w.Planner.Choose(q)
	if a.Weakest != plan.NoDuct && int(a.Weakest) < len(w.ducts) {
		a.Weakest = uint8(w.ducts[a.Weakest])
	}
	a.Needed |= named
	a.Open |= q.StuckOpen
	a.Unserved |= short
	return a
}

// rights is what requests from the network may do.
func (m *MQTT) rights() controller.NetworkRights {
	switch m.Commands {
	case CommandsStop:
		return controller.NetworkStop
	case CommandsRequests:
		return controller.NetworkRequests
	case CommandsStart:
		return controller.NetworkStart
	}
	return controller.NetworkNone
}
