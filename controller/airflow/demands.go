package airflow

import (
	"cmp"
	"slices"

	"ductwarden/gates"
)

// Crew is a set of machines that may run at once, as one collector's tree sees it.
type Crew struct {
	Machines gates.Set // by number
	Ports    gates.Set // demanded ports, by place in Network.Ports
	Asked    bool      // a single machine, or a set that the person named: the survey's answer depends on it
}

// Member is a machine with its ports (by place in Network.Ports).
type Member struct {
	Number int
	Ports  []int
}

// mostTriples is up to how many sets of three are looked at: beyond, a survey would take seconds for sets that
// hardly ever run.
const mostTriples = 120

// Crews lists which machines may run together: each alone, every pair, the sets that the person named (what of
// them is on this tree), and every three while they are few. Singles first, then by size and number.
func Crews(members []Member, together []gates.Set) []Crew {
	ports := map[int]gates.Set{}
	var all gates.Set
	for _, m := range members {
		for _, p := range m.Ports {
			ports[m.Number] = ports[m.Number].With(p)
		}
		all = all.With(m.Number)
	}
	asked := map[gates.Set]bool{}
	look := func(s gates.Set) {
		if _, known := asked[s]; !known {
			asked[s] = false
		}
	}
	n := all.Len()
	for a := range all.All() {
		one := gates.Of(a)
		asked[one] = true
		for b := range (all &^ (one<<1 - 1)).All() {
			two := one.With(b)
			look(two)
			if n*(n-1)*(n-2)/6 > mostTriples {
				continue
			}
			for c := range (all &^ (gates.Of(b)<<1 - 1)).All() {
				look(two.With(c))
			}
		}
	}
	for _, s := range together {
		if s &= all; s != 0 {
			asked[s] = true
		}
	}
	out := make([]Crew, 0, len(asked))
	for s, ok := range asked {
		c := Crew{Machines: s, Asked: ok}
		for i := range s.All() {
			c.Ports |= ports[i]
		}
		out = append(out, c)
	}
	slices.SortFunc(out, func(a, b Crew) int {
		return cmp.Or(cmp.Compare(a.Machines.Len(), b.Machines.Len()), lowestFirst(a.Machines, b.Machines))
	})
	return out
}

// lowestFirst orders sets of one size by their lowest member that differs.
func lowestFirst(a, b gates.Set) int {
	for i := range (a ^ b).All() {
		if a.Has(i) {
			return -1
		}
		return 1
	}
	return 0
}

// Demand is what the model says of a crew.
type Demand struct {
	Crew
	Cases []Case // filter clean and loaded, hand gates every way that matters; those with the hand gates shut first
	Main  int    // the case that decides: filter loaded, hand gates that nobody needs shut
	Theft int    // the worst case with the filter loaded and such a hand gate left open; -1 without one
	Notes []Note // of the clean filter, hand gates shut: fastest, strongest
}

// Case is one pattern of a demand in one filter state, hand gates as in Open.
type Case struct {
	Open    gates.Set // by number
	State   State
	Verdict Verdict
	Sure    Ratio
}

// Decisive is the case that decides.
func (d *Demand) Decisive() *Case { return &d.Cases[d.Main] }

// Clean is the same with the filter clean.
func (d *Demand) Clean() *Case { return &d.Cases[0] }

// Survey judges each crew. choose names the gates that are opened for it (by number) with the filter in a
// state; hand gates on the crew's way count as open, others as open and as shut. doubt may be nil.
func Survey(s *Solver, doubt *Doubt, crews []Crew, choose func(machines gates.Set, state State) gates.Set) []Demand {
	out := make([]Demand, 0, len(crews))
	for _, c := range crews {
		out = append(out, s.survey(doubt, c, choose))
	}
	return out
}

func (s *Solver) survey(doubt *Doubt, c Crew, choose func(gates.Set, State) gates.Set) Demand {
	d := Demand{Crew: c}
	m := s.m
	d.Main, d.Theft = -1, -1
	for _, state := range []State{Clean, Loaded} {
		open := choose(c.Machines, state)&m.all | m.Needs(c.Ports)&m.hand
		for _, hand := range m.handWays(c.Ports) {
			free := m.hand &^ m.Needs(c.Ports)
			k := Case{Open: open&^free | hand, State: state, Sure: NoRatio}
			k.Verdict = s.JudgeAs(k.Open, c.Ports, state)
			if doubt != nil {
				k.Sure = doubt.SureAs(k.Open, c.Ports, state)
			}
			d.Cases = append(d.Cases, k)
			switch last := len(d.Cases) - 1; {
			case state != Loaded:
			case d.Main < 0:
				d.Main = last
			case d.Theft < 0 || Worse(k.Verdict, d.Cases[d.Theft].Verdict):
				d.Theft = last
			}
		}
	}
	d.Notes = s.Notes(d.Cases[0].Open, c.Ports, Clean)
	return d
}

// Worse orders verdicts: settles before creeps before carries, then the smaller margin, then the smaller share.
func Worse(a, b Verdict) bool {
	return cmp.Or(cmp.Compare(b.Grade, a.Grade), cmp.Compare(a.Margin, b.Margin), cmp.Compare(a.Share, b.Share)) < 0
}

// WorstFirst orders demands with the worst first; equals keep their order.
func WorstFirst(list []Demand) []*Demand {
	out := make([]*Demand, len(list))
	for i := range list {
		out[i] = &list[i]
	}
	slices.SortStableFunc(out, func(a, b *Demand) int {
		x, y := a.Decisive().Verdict, b.Decisive().Verdict
		switch {
		case Worse(x, y):
			return -1
		case Worse(y, x):
			return 1
		}
		return 0
	})
	return out
}

// handWays lists how the hand gates beside a demand may stand: every way while they are few, else all shut, all
// open, and for each carrying duct the way in which it is slowest (those above it shut, all others open).
func (m *Model) handWays(ports gates.Set) []gates.Set {
	const few = 3
	free := m.hand &^ m.Needs(ports)
	out := []gates.Set{0}
	add := func(s gates.Set) {
		if !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	if free.Len() <= few {
		for sub := free & -free; sub != 0; sub = (sub - free) & free { // the subsets in rising order
			add(sub)
		}
		return out
	}
	add(free)
	for _, i := range m.order {
		if m.portsAbove[i]&ports != 0 {
			add(free &^ m.above[i])
		}
	}
	return out
}

// ExactMargin is the least air speed over transport speed, less 1, over the carrying ducts of a solution, and
// the duct that has it; false without a carrying duct. Unlike a verdict's it is not rounded: it is for showing,
// not for deciding. Equal speeds name the duct first in the file.
func (m *Model) ExactMargin(r *Result, demand gates.Set) (margin float64, duct int, ok bool) {
	duct = -1
	for i, v := range r.Velocity {
		if m.portsAbove[i]&demand == 0 {
			continue
		}
		over := v / m.Transport(i).Carries
		if duct < 0 || over < (margin+1)*(1-1e-9) {
			margin, duct = over-1, i
		}
	}
	return margin, duct, duct >= 0
}
