package airflow

import "math"

// Junction is the flow-ratio formula of Crane TP-410 for a converging branch, as an open library documents it
// (fluids, MIT licence). share is the branch's flow over the combined flow, area the branch's area over the
// combined duct's, angle between branch and run in degrees (30, 45, 60 or 90; others take the nearest). Both
// coefficients are on the combined flow's velocity pressure and may be negative: a fast main draws the branch
// along.
//
// The model does not solve with it: with coefficients that depend on the split, opening one gate may speed up
// another duct, and the planner relies on the opposite. It serves the stated uncertainty.
func Junction(share, area, angle float64) (branch, run float64) {
	x := share
	c := 1.0
	switch {
	case area <= 0.35:
	case x <= 0.4:
		c = 0.9 * (1 - x)
	default:
		c = 0.55
	}
	f := 0.0
	switch {
	case angle < 37.5:
		f = 1.74
	case angle < 52.5:
		f = 1.41
	case angle < 75:
		f = 1
	}
	rest := 1 - x
	branch = c * (1 + float64(x/area*x/area) - float64(2*rest*rest) - float64(f/area*x*x))
	if f == 0 {
		return branch, float64(1.55*x) - float64(x*x)
	}
	return branch, 1 - float64(rest*rest) - float64(f/area*x*x)
}

// Bounds of a junction coefficient on its own duct's velocity pressure in a draw: a branch that hardly flows
// has any coefficient there, and it does not matter.
const leastJunction, mostJunction = -1.0, 5.0

// joining is one branch or straight-run fitting that the formula can say something about.
type joining struct {
	duct   int
	angle  float64
	branch bool // else the straight run
	count  float64
	value  float64 // its constant coefficient
	area   float64 // branch area over the area of the duct downstream
}

// angles of the fittings that are junctions.
var junctionKinds = map[string]struct {
	angle  float64
	branch bool
}{
	"branch_30": {30, true}, "branch_45": {45, true}, "branch_60": {60, true}, "branch_90": {90, true},
	"straight_30": {30, false}, "straight_45": {45, false}, "straight_60": {60, false}, "straight_90": {90, false},
}

// joinings lists a network's junction fittings. For a straight run the branch is the widest other duct at the
// same junction.
func (m *Model) joinings() []joining {
	n := &m.net
	var out []joining
	for i := range n.Ducts {
		d := &n.Ducts[i]
		if d.Into < 0 {
			continue
		}
		for _, f := range d.Fittings {
			k, ok := junctionKinds[f.Kind]
			if !ok || f.Count == 0 {
				continue
			}
			c, _ := n.Own.fitting(f.Kind)
			j := joining{duct: i, angle: k.angle, branch: k.branch, count: float64(f.Count), value: c.Value}
			b := i
			if !k.branch {
				b = m.widestBeside(i)
				if b < 0 {
					continue
				}
			}
			j.area = math.Min(1, m.pipes[b].area/m.pipes[d.Into].area)
			out = append(out, j)
		}
	}
	return out
}

// widestBeside is the widest other duct that ends where duct i ends, -1 when there is none.
func (m *Model) widestBeside(i int) int {
	found := -1
	for _, c := range m.children[m.net.Ducts[i].Into] {
		if c != i && (found < 0 || m.pipes[c].area > m.pipes[found].area) {
			found = c
		}
	}
	return found
}

// own is the formula's coefficient on the duct's own velocity pressure at solved flows; false where a duct
// stands still.
func (m *Model) own(j joining, flow []float64) (float64, bool) {
	into := m.net.Ducts[j.duct].Into
	q, all := flow[j.duct], flow[into]
	if q <= 0 || all <= 0 {
		return 0, false
	}
	share := q / all
	if !j.branch {
		share = 1 - share
	}
	branch, run := Junction(math.Max(0, math.Min(1, share)), j.area, j.angle)
	k := branch
	if !j.branch {
		k = run
	}
	ratio := all / m.pipes[into].area * m.pipes[j.duct].area / q
	return math.Max(leastJunction, math.Min(mostJunction, k*ratio*ratio)), true
}
