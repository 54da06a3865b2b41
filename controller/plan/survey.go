package plan

import "ductwarden/gates"

// Demand is a set of machines that may run together, with the answer for it.
type Demand struct {
	Machines gates.Set
	Named    bool // the person said that they must run well together
	Question Question
	Answer   Answer
}

// Demands answers for every machine alone, every pair and the named sets (what of them is on this tree), with
// all gates in order and shut and the filter clean or loaded: who runs with whom. Singles first, then pairs,
// then named sets of other sizes in their order; each set once.
func (t *Tree) Demands(named []gates.Set, loaded bool) []Demand {
	var sets []gates.Set
	for a := range t.mine.All() {
		sets = append(sets, gates.Of(a))
	}
	for a := range t.mine.All() {
		for b := range t.mine.All() {
			if b > a {
				sets = append(sets, gates.Of(a, b))
			}
		}
	}
	wanted := map[gates.Set]bool{}
	for _, s := range named {
		s &= t.mine
		if s.Len() > 2 && !wanted[s] {
			sets = append(sets, s)
		}
		wanted[s] = true
	}
	out := make([]Demand, 0, len(sets))
	for _, s := range sets {
		q := Question{Running: s, Usable: t.all &^ t.hand, Loaded: loaded}
		out = append(out, Demand{Machines: s, Named: wanted[s], Question: q, Answer: t.Choose(q)})
	}
	return out
}
