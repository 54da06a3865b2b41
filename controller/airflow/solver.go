package airflow

import (
	"math"

	"ductwarden/gates"
)

// How hard the solver tries. A step that is small against its flow leaves an error of its square.
const (
	maxPasses  = 80
	stepEnd    = 3e-5  // largest relative change of a flow in the last pass; flows are then good to 1e-8
	fineEnd    = 1e-8  // the same where pressures are wanted: on a steep fan curve they need the flow's last digits
	bendEnd    = 1e-10 // the same where a flow lies at a bend of the friction law
	operateEnd = 1e-5  // the same of the fan's flow where curve and ducts meet
	calmStep   = 0.5   // up to which relative change a step is taken as it is,
	// in so many passes where there are bends, which a plain step might jump to and fro for ever
	calmPasses = 6
	// a flow of next to nothing (1e-13 m3/s behind a leak) trembles in its last digits: its steps get no smaller
	trembling   = 1e-6
	maxTrembles = 4
)

// Flows is the air in one pattern as far as the speeds go. Slices are by place in the network's lists.
type Flows struct {
	Flow     []float64 // of each duct, m3/s
	Velocity []float64 // of each duct, m/s
	PortFlow []float64 // of each port, m3/s
	Suction  []float64 // at each duct's upstream end, upstream of its gate, Pa, positive; 0 where no air flows
	FanFlow  float64   // m3/s
	Moving   []int32   // ducts in which air flows

	Passes    int
	Converged bool
}

// Result is the air in one pattern. Slices are by place in the network's lists. Pressures are gauge, in Pa:
// suction is negative. A solver owns its result and overwrites it with the next solution.
type Result struct {
	Flows
	Total   []float64 // total pressure at each duct's upstream end, inside its gate
	Outside []float64 // total pressure at each duct's upstream end, upstream of its gate: where other ducts join
	Static  []float64 // static pressure at each duct's downstream end

	PortSuction []float64 // static suction behind each port's hood, positive, Pa

	InletTotal  float64 // total pressure at the collector's inlet
	FanPressure float64 // the fan's static pressure at the operating point, Pa, positive
	BehindLoss  float64 // filter, separator and exhaust, Pa, what the curve includes left out
	MotorPower  float64 // W; NaN when not known

	Residual float64 // worst disagreement of the pressures along a port's way, Pa
}

// Solver finds the flows of patterns. It allocates nothing after NewSolver and is used by one goroutine.
type Solver struct {
	m     *Model
	res   Result
	extra []float64 // of each duct: what a draw of its junctions adds, Pa per (m3/s)^2
	gate  []float64 // of each duct: its closed gates' leak and extra, Pa per (m3/s)^2
	place []int32   // of each duct that has flow: its link
	net   links
}

// NewSolver makes a solver for a model.
func NewSolver(m *Model) *Solver {
	d, p := len(m.pipes), len(m.net.Ports)
	f := func(n int) []float64 { return make([]float64, n) }
	return &Solver{
		m: m, extra: f(d), gate: f(d), place: make([]int32, d), net: newLinks(d, p),
		res: Result{
			Flows: Flows{Flow: f(d), Velocity: f(d), PortFlow: f(p), Suction: f(d), Moving: make([]int32, 0, d)},
			Total: f(d), Outside: f(d), Static: f(d), PortSuction: f(p),
		},
	}
}

// Model is what the solver solves.
func (s *Solver) Model() *Model { return s.m }

// Result is the last solution. Judge leaves the flows of the last of several there, JudgeAs the one that it
// judged; only Solve works out what is not in Flows.
func (s *Solver) Result() *Result { return &s.res }

// Solve finds the flows and pressures for a set of open gates (by number; numbers of other collectors do not
// matter) and a filter state. The answer depends on nothing else, so that equal questions have equal answers to
// the last bit. It is overwritten by the next call.
//
// Method: one pass in closed form with fixed friction factors, then Newton's method eliminated leaf to root on
// the tree, with the fan's curve met exactly. Newton's step is that of a strictly convex function (the work of
// all losses less the fan's), so that shortening a step which goes too far makes it converge from anywhere.
func (s *Solver) Solve(open gates.Set, state State) *Result {
	s.flow(open, state, fineEnd)
	s.finish(open, state)
	return &s.res
}

// Flows is Solve for who needs no more than speeds: it takes half the time. The rest of Result is left as an
// earlier solution had it.
func (s *Solver) Flows(open gates.Set, state State) *Flows {
	s.flow(open, state, stepEnd)
	return &s.res.Flows
}

func (s *Solver) flow(open gates.Set, state State, end float64) {
	m, r := s.m, &s.res.Flows
	clear(r.Flow)
	clear(r.Velocity)
	clear(r.PortFlow)
	clear(r.Suction)
	r.Moving = r.Moving[:0]
	r.FanFlow, r.Passes, r.Converged = 0, 0, true
	if m.judged && s.connect(open) {
		loss := m.lossAt(state)
		s.closedForm(loss)
		r.Converged = s.newton(loss, end)
		s.spread()
	}
}

// connect links the ducts and hoods that can have flow; false when none can.
func (s *Solver) connect(open gates.Set) bool {
	m, n := s.m, &s.net
	n.begin()
	drawing := m.drawing(open)
	if drawing == 0 {
		return false
	}
	leaking := m.leaking &^ open
	for i := range m.runs {
		s.join(&m.runs[i], drawing, leaking)
	}
	n.ends = len(n.all)
	for i := range (drawing & m.alone).All() {
		s.join(&m.ends[i], drawing, leaking)
	}
	n.mouths = len(n.all)
	for _, o := range m.shared {
		if drawing.Has(o) {
			duct := m.net.Ports[o].Duct
			n.add(nil, m.hood[o], s.place[duct], int32(duct), int32(o))
		}
	}
	return true
}

// join links a duct if it draws, with the leaks of its closed gates.
func (s *Solver) join(at *seat, drawing, leaking gates.Set) {
	if at.ports&drawing == 0 {
		return
	}
	p := &s.m.pipes[at.duct]
	gate := s.extra[at.duct]
	if at.gates&leaking != 0 {
		for _, g := range s.m.gatesOf[at.duct] {
			if leaking.Has(s.m.net.Gates[g].Number) {
				gate += s.m.leak[g]
			}
		}
	}
	s.gate[at.duct] = gate
	below := int32(0)
	if at.into >= 0 {
		below = s.place[at.into]
	}
	s.net.add(p, p.fixed+gate, below, at.duct, at.port)
	s.place[at.duct] = int32(len(s.net.all) - 1)
}

// closedForm solves the tree with the friction factors frozen: every loss is R Q^2, conductances 1/sqrt(R) add
// up at a node, and a duct in series with its node turns C into C/sqrt(1 + R C^2).
func (s *Solver) closedForm(loss Loss) {
	n := &s.net
	c := n.conduct()
	s.res.FanFlow = s.m.fan.operate(loss, c*c, 0, 0, c*30, 1e-2)
	n.divide(s.res.FanFlow / c)
}

// newton repeats linearised passes until no flow changes any more. A pass works from any flows, also from
// such that do not add up, and its result always adds up. A flow that would fall below a tenth of itself (or
// turn round) is only taken to that tenth; the flows then do not add up, and the next pass heals it. Where they
// add up and the step is large, it is shortened until it does not go too far.
func (s *Solver) newton(loss Loss, asked float64) bool {
	n, r := &s.net, &s.res
	sums, last, trembles := true, math.Inf(1), 0
	for r.Passes = 1; r.Passes <= maxPasses; r.Passes++ {
		a, b, bend := n.gather()
		q := s.m.fan.operate(loss, 0, a, b, r.FanFlow, operateEnd)
		end := asked
		if bend {
			end = bendEnd
		}
		went := n.hand((q-a)/b, end)
		if bend && went == calm {
			biggest := n.biggest()
			if biggest <= trembling && biggest > last/2 {
				if trembles++; trembles >= maxTrembles {
					went = ended
				}
			}
			last = biggest
		}
		switch {
		case went == ended:
			r.FanFlow = q
			return true
		case went == wild && n.falls():
			n.hold()
			r.FanFlow, sums = q, false
		case !sums || went == calm && (!bend || r.Passes < calmPasses):
			r.FanFlow, sums = q, true
		default:
			s.walk(q, loss)
		}
	}
	return false
}

// walk takes the step, shortened while the slope of the convex function along it says that it went too far.
func (s *Solver) walk(q float64, loss Loss) {
	n := &s.net
	old, t := s.res.FanFlow, 1.0
	dq := q - old
	along := func() float64 { // the slope of the convex function in the direction of the step
		p, _ := s.m.fan.at(s.res.FanFlow)
		return n.work() - float64((p-loss.At(s.res.FanFlow))*dq)
	}
	n.take(0)
	n.losses()
	first := along()
	n.take(1)
	s.res.FanFlow = q
	n.losses()
	lo, hi := 0.0, 1.0
	for range 40 {
		now := along()
		if now > -0.5*first && first < 0 {
			hi = t
		} else if now < 0.9*first && t < 1 && hi-lo > 1e-3 {
			lo = t
		} else {
			return
		}
		t = (lo + hi) / 2
		n.take(t)
		s.res.FanFlow = old + float64(t*dq)
		n.losses()
	}
}

// spread writes the links' flows where they belong.
func (s *Solver) spread() {
	m, n, r := s.m, &s.net, &s.res
	for k := 1; k < n.mouths; k++ {
		l := &n.all[k]
		r.Moving = append(r.Moving, l.at)
		r.Flow[l.at], r.Velocity[l.at], r.Suction[l.at] = l.q, float64(l.q*l.p.perArea), l.suction
	}
	for k := n.ends; k < n.mouths; k++ {
		l := &n.all[k]
		r.Suction[l.at] = float64(m.mouth[l.port] * l.q * l.q)
		r.PortFlow[l.port] = l.q
	}
	for k := n.mouths; k < len(n.all); k++ {
		r.PortFlow[n.all[k].port] = n.all[k].q
	}
}

// finish lays the pressures out from the inlet to the ports.
func (s *Solver) finish(open gates.Set, state State) {
	m, r := s.m, &s.res
	r.Residual = 0
	if !m.judged {
		r.InletTotal, r.FanPressure, r.BehindLoss, r.MotorPower = 0, 0, 0, math.NaN()
		return
	}
	q := r.FanFlow
	r.FanPressure, _ = m.fan.at(q)
	r.BehindLoss = m.lossAt(state).At(q)
	r.InletTotal = r.BehindLoss - r.FanPressure
	r.MotorPower = m.MotorAt(q)
	for _, i := range m.order {
		p := &m.pipes[i]
		down := r.InletTotal
		if d := m.net.Ducts[i].Into; d >= 0 {
			down = r.Outside[d]
		}
		flow, v := r.Flow[i], r.Velocity[i]
		h, gate, hood := 0.0, 0.0, 0.0
		if flow > 0 {
			gate = float64(s.gate[i] * flow * flow)
			h, _ = p.exact(flow, p.fixed) // without the gate, and for a duct with one port its hood
			if m.merged[i] {
				hood = float64(m.mouth[m.ports[i][0]] * flow * flow)
				h -= hood
			}
		}
		r.Static[i] = down - float64(m.net.Air.Density/2*v*v)
		r.Total[i] = down + h
		r.Outside[i] = r.Total[i] + gate
		if m.on[i]&m.tight&^open != 0 {
			r.Outside[i] = 0 // the room's air stands behind a tight gate
		}
		for _, o := range m.ports[i] {
			qo := r.PortFlow[o]
			dyn := float64(p.perK * qo * qo)
			r.PortSuction[o] = math.Max(0, dyn-r.Outside[i])
			lost := hood
			if !m.merged[i] {
				lost = float64(m.hood[o] * qo * qo)
			}
			if qo > 0 {
				r.Residual = math.Max(r.Residual, math.Abs(r.Outside[i]+lost))
			}
		}
	}
}
