package plan

import (
	"math"

	"ductwarden/controller/airflow"
	"ductwarden/gates"
)

// Solved is the Air of a compiled model; nil for one that is not judged. Like a Tree it is for one goroutine.
func Solved(m *airflow.Model) Air {
	if m == nil || !m.Judged() {
		return nil
	}
	s := &solved{solver: airflow.NewSolver(m)}
	n := m.Network()
	for i := range n.Ducts {
		s.transport = append(s.transport, m.Transport(i))
	}
	s.portsOn = make([][]int, len(n.Ducts))
	for i, p := range n.Ports {
		none := NoRatio
		if p.Airflow > 0 {
			none = 0
			s.portsOn[p.Duct] = append(s.portsOn[p.Duct], i)
		}
		s.wants, s.none = append(s.wants, p.Airflow), append(s.none, none)
	}
	s.least[0], s.least[1] = behind(n, airflow.Clean), behind(n, airflow.Loaded)
	return s
}

type solved struct {
	solver    *airflow.Solver
	transport []airflow.Transport // by duct
	wants     []float64           // m3/s, by port
	portsOn   [][]int             // by duct: its ports that state a wish
	none      []Ratio             // by port: no air, over what it wants
	least     [2]airflow.Loss     // behind the inlet, filter clean and loaded, at the least

	last  *Pattern // written into last
	moved []int32  // ducts that it says move
}

// still is the speed of air that stands, over any other, less 1.
const still Ratio = -10000

// Pattern rounds each figure once; from here on only whole numbers are compared. In a large shop few ducts move: what the
// pattern before wrote into the same out is taken back, the rest of it stands still already.
func (s *solved) Pattern(open gates.Set, loaded bool, out *Pattern) {
	state := airflow.Clean
	if loaded {
		state = airflow.Loaded
	}
	if s.last == out {
		for _, i := range s.moved {
			s.rest(out, i)
		}
	} else {
		for i := range s.transport {
			s.rest(out, int32(i))
		}
		copy(out.Share, s.none)
		s.last = out
	}
	r := s.solver.Flows(open, state)
	s.moved = append(s.moved[:0], r.Moving...)
	for _, i := range r.Moving {
		v := r.Velocity[i]
		out.Over[i] = airflow.RatioOf(v/s.transport[i].Carries - 1)
		out.Clear[i] = airflow.RatioOf(v/s.transport[i].Settles - 1)
		out.Speed[i] = int32(whole(v * 1e4))
		out.Flow[i] = whole(r.Flow[i] * 1e9)
		out.Suction[i] = whole(r.Suction[i] * 1e3)
		for _, p := range s.portsOn[i] {
			if flow := r.PortFlow[p]; flow > 0 {
				out.Share[p] = airflow.RatioOf(flow / s.wants[p])
			}
		}
	}
}

// rest writes that no air moves in a duct, nor at its ports.
func (s *solved) rest(out *Pattern, i int32) {
	out.Over[i], out.Clear[i], out.Speed[i], out.Flow[i], out.Suction[i] = still, still, 0, 0, 0
	for _, p := range s.portsOn[i] {
		out.Share[p] = 0
	}
}

// Inlet is the fan's pressure less the losses behind the inlet, with a tenth of a pascal for rounding.
func (s *solved) Inlet(flow int64, loaded bool) int64 {
	q := float64(flow) * 1e-9
	p := s.solver.Model().FanStaticAt(q) - s.least[stateOf(loaded)].At(q)
	return whole(math.Max(-1e9, math.Min(p*1e3, 1e9))) + 100
}

// Loss is friction and fittings on the duct's own velocity pressure.
func (s *solved) Loss(duct int, flow int64) (run, hooded int64) {
	own, hood := s.solver.Model().DuctLoss(duct, float64(flow)*1e-9)
	return whole(math.Min(own*1e3, 1e9)), whole(math.Min((own+hood)*1e3, 1e9))
}

// behind is the loss behind the inlet that the fan's curve does not include, at the least.
func behind(n *airflow.Network, state airflow.State) airflow.Loss {
	var l airflow.Loss
	add := func(o airflow.Loss) {
		l.Linear += o.Linear
		l.Quadratic += o.Quadratic
	}
	switch {
	case n.Fan.Includes.Filter: // a loaded one may cost more than the curve includes: left out of this bound
	case state == airflow.Loaded:
		add(n.Filter.Loaded)
	default:
		add(n.Filter.Clean)
	}
	if !n.Fan.Includes.Separator {
		add(n.Separator)
	}
	if !n.Fan.Includes.Exhaust {
		add(n.Exhaust)
	}
	return l
}

// whole rounds to the nearest whole number.
func whole(x float64) int64 { return int64(math.Floor(x + 0.5)) }
