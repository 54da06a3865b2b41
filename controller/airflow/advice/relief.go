package advice

import (
	"slices"

	"ductwarden/controller/airflow"
)

// stub is what a new relief gate sits on. Common practice: a short stub with an open end and its gate, joined by a
// 45 degree branch.
const stub = 0.3 // m

// reliefs looks for a gate that opens only for its air: one that is there and may not open by itself, then a new
// one at the place where the smallest does.
func (j *job) reliefs() []Remedy {
	n := &j.shop.Network
	needs := j.now.model.Needs(j.crew.Ports)
	var there *Remedy
	for i, g := range n.Gates {
		if needs.Has(g.Number) || g.Relief != airflow.ReliefNever && !g.Hand {
			continue
		}
		r := Remedy{Kind: Relief, Relief: &ReliefGate{Gate: g.Name, Why: "never"}, net: copied(n)}
		if g.Hand {
			r.Relief.Why = "hand"
		}
		r.net.Gates[i].Hand, r.net.Gates[i].Relief = false, airflow.ReliefAllowed
		if j.mends(&r) && r.After.open.Has(g.Number) && (there == nil || j.worse(there.After.verdict, r.After.verdict)) {
			there = &r
		}
	}
	if there != nil {
		return []Remedy{*there}
	}
	number := max(j.shop.Gates, highest(n)+1)
	if number > 63 {
		return nil
	}
	var best *Remedy
	for _, d := range j.carrying() {
		ladder := j.shop.ladder(d)
		for _, p := range ladder {
			if p.Inside > n.Ducts[d].Diameter*1.005 || best != nil && p.Inside > best.Relief.Diameter*1.005 {
				break
			}
			r := j.newRelief(d, p, number)
			if !j.mends(&r) || !r.After.open.Has(number) {
				continue
			}
			if best == nil || p.Inside < best.Relief.Diameter*0.995 || airflow.Worse(best.After.verdict, r.After.verdict) {
				best = &r
			}
			break
		}
	}
	if best == nil {
		return nil
	}
	return []Remedy{*best}
}

// newRelief adds a stub with a gate at the upstream end of a duct.
func (j *job) newRelief(d int, p airflow.Pipe, number int) Remedy {
	n := copied(&j.shop.Network)
	name := free(&n, "relief")
	r := Remedy{Kind: Relief, Relief: &ReliefGate{Into: n.Ducts[d].Name, Pipe: p.Name, Diameter: p.Inside, Length: stub}}
	n.Ducts = append(n.Ducts, airflow.Duct{Name: name, Into: d, Diameter: p.Inside, Length: stub, Wall: p.Wall, Fittings: []airflow.Fitting{{Kind: "branch_45", Count: 1}}})
	n.Ports = append(n.Ports, airflow.Port{Name: name, Duct: len(n.Ducts) - 1, Hood: "plain"})
	n.Gates = append(n.Gates, airflow.Gate{Name: name, Number: number, Duct: len(n.Ducts) - 1, Leak: airflow.GapLeak(p.Inside, airflow.DefaultGap), Relief: airflow.ReliefPreferred})
	r.net = n
	return r
}

func highest(n *airflow.Network) int {
	most := -1
	for _, g := range n.Gates {
		most = max(most, g.Number)
	}
	return most
}

// free is a name that no duct, port or gate has.
func free(n *airflow.Network, name string) string {
	for slices.ContainsFunc(n.Ducts, func(d airflow.Duct) bool { return d.Name == name }) ||
		slices.ContainsFunc(n.Ports, func(p airflow.Port) bool { return p.Name == name }) ||
		slices.ContainsFunc(n.Gates, func(g airflow.Gate) bool { return g.Name == name }) {
		name = "new " + name
	}
	return name
}
