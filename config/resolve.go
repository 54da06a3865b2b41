package config

import (
	"slices"

	"ductwarden/controller"
	"ductwarden/controller/airflow"
	"ductwarden/gates"
)

// resolve turns names into places and works out what follows from them: ways, gates and collectors of machines,
// leaks, the shop's air, the linger time.
func (r *reader) resolve(s *Shop) {
	for i := 0; i < len(r.later) && !r.done(); i++ {
		r.later[i](s)
	}
	for _, f := range r.last {
		f(s)
	}
	if s.linked() && r.wayOut(s) {
		r.crossTree(s)
	}
	r.crossMachines(s)
	r.crossChips(s)
	if len(r.problems) > 0 {
		return
	}
	for i := range s.Gates {
		g := &s.Gates[i]
		if g.Duct >= 0 {
			g.Collector = s.Ducts[g.Duct].Collector
		}
		if g.Leak < 0 {
			g.Leak = s.slit(g, airflow.DefaultGap)
		}
	}
	for i := range s.Machines {
		s.ways(&s.Machines[i])
	}
	s.Air.settle()
	if s.Duty.Linger < 0 {
		s.Duty.Linger = of(controller.DefaultLinger)
		for _, c := range s.Collectors {
			s.Duty.Linger = max(s.Duty.Linger, c.Motor.Rest)
		}
	}
	s.Duty.LongestLinger = max(s.Duty.LongestLinger, s.Duty.Linger)
	r.crossAir(s)
}

// wayOut follows each duct to its collector and refuses loops.
func (r *reader) wayOut(s *Shop) bool {
	good := true
	told := make([]bool, len(s.Ducts))
	for i := range s.Ducts {
		at, steps := i, 0
		for s.Ducts[at].Into >= 0 && steps <= len(s.Ducts) {
			at, steps = s.Ducts[at].Into, steps+1
		}
		if steps <= len(s.Ducts) {
			s.Ducts[i].Collector = s.Ducts[at].Collector
			continue
		}
		good = false
		if !told[i] {
			r.tellLoop(s, at, told)
		}
	}
	return good
}

// tellLoop names the ducts of a loop once, at the first of them in the file.
func (r *reader) tellLoop(s *Shop, at int, told []bool) {
	if told[at] {
		return
	}
	var loop []int
	for d := at; !slices.Contains(loop, d); d = s.Ducts[d].Into {
		loop = append(loop, d)
	}
	first := slices.Min(loop)
	names := ""
	for d := first; ; d = s.Ducts[d].Into {
		told[d] = true
		names += s.Ducts[d].Name + " into "
		if s.Ducts[d].Into == first {
			break
		}
	}
	r.at(pathOf("ducts", first, "into")).problem("these ducts run in a loop and never reach a collector", names+s.Ducts[first].Name, "into: a duct nearer to the collector, or the collector")
}

// ways gives a machine the gates on the ways of its ports, and its collectors.
func (s *Shop) ways(m *Machine) {
	var set gates.Set
	for _, g := range m.Gates {
		set = set.With(g)
	}
	collectors := map[int]bool{}
	for _, p := range m.Ports {
		d := s.Ports[p].Duct
		for ; d >= 0; d = s.Ducts[d].Into {
			for i := range s.Gates {
				if s.Gates[i].Duct == d {
					set = set.With(i)
				}
			}
			collectors[s.Ducts[d].Collector] = true
		}
	}
	m.Gates = nil
	for g := range set.All() {
		m.Gates = append(m.Gates, g)
		if c := s.Gates[g].Collector; c >= 0 {
			collectors[c] = true
		}
	}
	m.Collectors = nil
	for c := range s.Collectors {
		if collectors[c] {
			m.Collectors = append(m.Collectors, c)
		}
	}
}
