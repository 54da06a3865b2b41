package plan

import "math"

// unbounded is more air than any gate brings, small enough to be summed over all of them.
const unbounded = math.MaxInt64 / (4 * places)

// measureGates solves every gate open alone (with the gates below it): by monotonicity the most air that it
// brings in any pattern. A nested gate may bring more once its neighbour is open: nothing is known of it.
func (t *Tree) measureGates() {
	out := NewPattern(len(t.ducts), len(t.ports))
	for state := range t.alone {
		t.alone[state] = make([][places]drawn, len(t.ducts))
		for g := range t.all.All() {
			d := t.net.Gates[t.gateOf[g]].Duct
			if !t.nested.Has(g) {
				t.air.Pattern(t.ducts[d].through, state == 1, out)
			}
			for e := range t.ducts {
				switch {
				case !t.ducts[e].above.Has(g):
				case t.nested.Has(g):
					t.alone[state][e][g] = drawn{flow: unbounded}
				default:
					t.alone[state][e][g] = drawn{flow: out.Flow[d], suction: out.Suction[e]}
				}
			}
		}
	}
}

// drawn is a flow in mm3/s through some open gates, and the suction in 1/1000 Pa at the upstream end of a duct
// below them that draws it.
type drawn struct{ flow, suction int64 }

// grown is a flow with room for the rounding of the model and of the flow itself, for bounds that must not
// fall short: one part in a thousand and 1000 mm3/s.
func grown(flow int64) int64 { return min(flow+flow/1000+1000, unbounded) }

// at bounds the flow at a lesser suction, above the ducts in question: no loss grows faster than with the square
// of its flow.
func (d drawn) at(suction int64) int64 {
	switch {
	case suction <= 0:
		return 0
	case suction < d.suction && d.flow < unbounded:
		return grown(int64(float64(d.flow) * math.Sqrt(float64(suction)/float64(d.suction))))
	}
	return grown(d.flow)
}
