package airflow

import (
	"errors"
	"math"
	"slices"

	"ductwarden/gates"
)

// Compile checks a network and makes it ready to be solved. Its error joins every Problem that Check finds.
// A network without ducts or without a fan curve compiles too: its air is not judged.
func Compile(n Network) (*Model, error) { return compile(n, laws{}) }

// Compile is Compile for a network much like the model's own: friction laws are taken over where the roughness over
// the diameter is the same, which is most of the work.
func (m *Model) Compile(n Network) (*Model, error) {
	known := laws{}
	for i := range m.pipes {
		known[m.pipes[i].rough] = m.pipes[i].law
	}
	return compile(n, known)
}

func compile(n Network, known laws) (*Model, error) {
	n = n.clone()
	n.fill()
	if problems := check(&n); len(problems) > 0 {
		errs := make([]error, len(problems))
		for i, p := range problems {
			errs[i] = p
		}
		return nil, errors.Join(errs...)
	}
	return build(n, known), nil
}

// Check lists everything that is wrong with a network.
func Check(n Network) []Problem {
	n = n.clone()
	n.fill()
	return check(&n)
}

func (n Network) clone() Network {
	n.Ducts = append([]Duct(nil), n.Ducts...)
	n.Ports = append([]Port(nil), n.Ports...)
	n.Gates = append([]Gate(nil), n.Gates...)
	return n
}

// fill puts the defaults of walls, hoods and fittings where the person gave only a kind. What is not known by
// name is left for check to say.
func (n *Network) fill() {
	for i := range n.Ducts {
		d := &n.Ducts[i]
		if w, ok := n.Own.wall(d.Wall); ok {
			if d.Roughness == 0 {
				d.Roughness = w.Value
			}
			if d.Friction == 0 {
				d.Friction = w.Friction
			}
		}
		if d.Friction == 0 {
			d.Friction = 1
		}
	}
	for i := range n.Ports {
		p := &n.Ports[i]
		if h, ok := n.Own.hood(p.Hood); ok && p.HoodLoss == 0 {
			p.HoodLoss = h.Value
		}
	}
	if n.Fan.Outlet == 0 {
		n.Fan.Outlet = n.Fan.Inlet
	}
}

// leastHood is the smallest coefficient of a port that shares its duct with another opening: with none at
// all the air would not know which way to take.
const leastHood = 1e-6

func build(n Network, known laws) *Model {
	m := &Model{net: n}
	m.judged = len(n.Ducts) > 0 && len(n.Ports) > 0 && len(n.Fan.Curve) > 0
	m.topology()
	m.losses(known)
	m.shutters()
	if m.judged {
		m.fan = newCurve(n.Fan, n.Air.Density)
		m.clean, m.loaded = n.behind()
	}
	return m
}

// behind adds up the losses behind the inlet that the fan's curve does not include. A curve measured with a
// filter had a clean one on it, so a loaded filter still costs the difference.
func (n *Network) behind() (clean, loaded Loss) {
	var rest Loss
	if !n.Fan.Includes.Separator {
		rest = rest.plus(n.Separator)
	}
	if !n.Fan.Includes.Exhaust {
		rest = rest.plus(n.Exhaust)
	}
	clean, loaded = rest.plus(n.Filter.Clean), rest.plus(n.Filter.Loaded)
	if n.Fan.Includes.Filter {
		clean = rest
		loaded = Loss{
			Linear:    rest.Linear + math.Max(0, n.Filter.Loaded.Linear-n.Filter.Clean.Linear),
			Quadratic: rest.Quadratic + math.Max(0, n.Filter.Loaded.Quadratic-n.Filter.Clean.Quadratic),
		}
	}
	return clean, loaded
}

func (l Loss) plus(o Loss) Loss {
	return Loss{Linear: l.Linear + o.Linear, Quadratic: l.Quadratic + o.Quadratic}
}

// At is the loss in Pa at a flow in m3/s.
func (l Loss) At(q float64) float64 {
	return float64(l.Linear*q) + float64(l.Quadratic*q*q)
}

// LossAt makes a loss from one figure: pressure (Pa) at a flow (m3/s), of which the share linear grows with
// the flow and the rest with its square.
func LossAt(flow, pressure, linear float64) Loss {
	return Loss{Linear: pressure * linear / flow, Quadratic: pressure * (1 - linear) / (flow * flow)}
}

func (m *Model) topology() {
	n := &m.net
	m.children = make([][]int, len(n.Ducts))
	m.ports = make([][]int, len(n.Ducts))
	m.gatesOf = make([][]int, len(n.Ducts))
	m.way = make([]gates.Set, len(n.Ducts))
	m.above = make([]gates.Set, len(n.Ducts))
	m.portsAbove = make([]gates.Set, len(n.Ducts))
	m.merged = make([]bool, len(n.Ducts))
	for i, d := range n.Ducts {
		m.into = append(m.into, d.Into)
		if d.Into < 0 {
			m.inlets = append(m.inlets, i)
		} else {
			m.children[d.Into] = append(m.children[d.Into], i)
		}
	}
	m.order = append(m.order, m.inlets...)
	for k := 0; k < len(m.order); k++ {
		m.order = append(m.order, m.children[m.order[k]]...)
	}
	for i, p := range n.Ports {
		m.ports[p.Duct] = append(m.ports[p.Duct], i)
		m.portsAbove[p.Duct] = m.portsAbove[p.Duct].With(i)
	}
	for i, g := range n.Gates {
		m.gatesOf[g.Duct] = append(m.gatesOf[g.Duct], i)
		m.above[g.Duct] = m.above[g.Duct].With(g.Number)
		m.all = m.all.With(g.Number)
		if g.Hand {
			m.hand = m.hand.With(g.Number)
		}
	}
	m.on = slices.Clone(m.above)
	for i := range n.Ducts {
		m.way[i] = m.above[i]
		m.merged[i] = len(m.ports[i]) == 1 && len(m.children[i]) == 0
	}
	for _, i := range m.order {
		if d := n.Ducts[i].Into; d >= 0 {
			m.way[i] |= m.way[d]
		}
	}
	for k := len(m.order) - 1; k >= 0; k-- {
		i := m.order[k]
		if d := n.Ducts[i].Into; d >= 0 {
			m.above[d] |= m.above[i]
			m.portsAbove[d] |= m.portsAbove[i]
		}
	}
	m.ends = make([]seat, len(n.Ports))
	for _, i := range m.order {
		at := seat{duct: int32(i), into: int32(m.into[i]), ports: m.portsAbove[i], gates: m.on[i]}
		if m.merged[i] {
			at.port = int32(m.ports[i][0])
			m.ends[at.port] = at
			m.alone = m.alone.With(m.ports[i][0])
			continue
		}
		m.runs = append(m.runs, at)
		m.shared = append(m.shared, m.ports[i]...)
	}
	for _, p := range n.Ports {
		m.portWay = append(m.portWay, m.way[p.Duct])
	}
}

func (m *Model) losses(known laws) {
	n := &m.net
	m.pipes = make([]pipe, len(n.Ducts))
	m.hood, m.mouth = make([]float64, len(n.Ports)), make([]float64, len(n.Ports))
	m.leak = make([]float64, len(n.Gates))
	for i := range n.Ducts {
		d := &n.Ducts[i]
		p := &m.pipes[i]
		p.area = math.Pi / 4 * d.Diameter * d.Diameter
		p.perK = n.Air.Density / 2 / (p.area * p.area)
		p.friction = d.Friction * d.Length / d.Diameter * p.perK
		p.fixed = n.ductK(d) * p.perK
		p.reynolds = n.Air.Density * d.Diameter / (n.Air.Viscosity * p.area)
		p.rough = d.Roughness / d.Diameter / 3.7
		if m.merged[i] {
			p.fixed = float64(n.ductK(d)*p.perK) + float64(n.Ports[m.ports[i][0]].HoodLoss*p.perK)
		}
		p.settle(known)
	}
	for i, p := range n.Ports {
		m.mouth[i] = p.HoodLoss * m.pipes[p.Duct].perK
		m.hood[i] = math.Max(p.HoodLoss, leastHood) * m.pipes[p.Duct].perK
	}
	for i, g := range n.Gates {
		p := &m.pipes[g.Duct]
		if g.Leak <= 0 {
			m.tight = m.tight.With(g.Number)
			continue
		}
		m.leaking = m.leaking.With(g.Number)
		r := p.area / (OrificeCd * g.Leak)
		m.leak[i] = r * r * p.perK
	}
}

// shutters sorts the ports by the tight gates on their ways.
func (m *Model) shutters() {
	for i, way := range m.portWay {
		switch way &= m.tight; way.Len() {
		case 0:
			m.always = m.always.With(i)
		case 1:
			m.single(i, way)
		default:
			m.several = append(m.several, i)
		}
	}
}

// single puts a port with one tight gate to those whose gates are as many places away.
func (m *Model) single(port int, way gates.Set) {
	for g := range way.All() {
		for k := range m.shifts {
			if m.shifts[k].by == g-port {
				m.shifts[k].ports = m.shifts[k].ports.With(port)
				return
			}
		}
		m.shifts = append(m.shifts, shift{g - port, gates.Of(port)})
	}
}

// drawing is the ports (places) that no tight closed gate shuts off.
func (m *Model) drawing(open gates.Set) gates.Set {
	draw := m.always
	for _, s := range m.shifts {
		if s.by >= 0 {
			draw |= open >> uint(s.by) & s.ports
		} else {
			draw |= open << uint(-s.by) & s.ports
		}
	}
	for _, i := range m.several {
		if m.portWay[i]&m.tight&^open == 0 {
			draw = draw.With(i)
		}
	}
	return draw
}

// ductK is the sum of a duct's coefficients on its own velocity pressure, hood and gate leak left out.
func (n *Network) ductK(d *Duct) float64 {
	k := d.Loss
	for _, f := range d.Fittings {
		c, _ := n.Own.fitting(f.Kind)
		k += float64(float64(f.Count) * c.Value)
	}
	return k
}
