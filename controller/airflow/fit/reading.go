package fit

import (
	"fmt"
	"math"
	"slices"

	"ductwarden/controller/airflow"
	"ductwarden/gates"
)

// Quantity is what was measured.
type Quantity uint8

// The quantities.
const (
	Speed  Quantity = iota // m/s in the duct (of a port: in the port's duct)
	Flow                   // m3/s
	Static                 // Pa of suction at the duct's downstream end, or behind a port's hood; positive
)

// String is the quantity's word in a file of readings.
func (q Quantity) String() string { return [...]string{"speed", "flow", "pressure"}[min(int(q), 2)] }

// Reading is one measured value.
type Reading struct {
	Open     gates.Set // gates that were open, all others shut
	Port     bool      // Place counts ports, else ducts
	Place    int       // in the network
	Quantity Quantity
	Value    float64 // SI
	Where    string  // line of the file, for messages
}

// Noise is the relative uncertainty of one reading: common practice for a hot-wire or Pitot traverse in a small
// duct is 3 % at best; for a wall tap as much.
const Noise = 0.03

// contradicts is how far two readings of one thing may lie apart, as the logarithm of their ratio: about a third.
// Nearer ones are averaged, each held against all the others.
const contradicts = 0.3

// duct is the duct in which a reading was taken.
func (r *Reading) duct(n *airflow.Network) int {
	if r.Port && r.Place < len(n.Ports) {
		return n.Ports[r.Place].Duct
	}
	return r.Place
}

// shares reports whether a reading's flow is one of several in its duct.
func (r *Reading) shares(n *airflow.Network) bool {
	ports := 0
	for _, p := range n.Ports {
		if p.Duct == r.duct(n) {
			ports++
		}
	}
	return ports > 1 || r.Quantity == Flow && slices.ContainsFunc(n.Ducts, func(d airflow.Duct) bool { return d.Into == r.duct(n) })
}

// asFlow brings speeds and flows to one measure; a pressure stays.
func (r *Reading) asFlow(n *airflow.Network) float64 {
	if r.Quantity != Speed {
		return r.Value
	}
	d := n.Ducts[r.duct(n)].Diameter
	return r.Value * math.Pi / 4 * d * d
}

// check says what cannot be right about the readings.
func check(m *airflow.Model, readings []Reading) error {
	n := m.Network()
	for i, r := range readings {
		name := ""
		if r.Port {
			if r.Place < 0 || r.Place >= len(n.Ports) {
				return fmt.Errorf("%s: there is no such port in this collector's ducts", r.Where)
			}
			name = n.Ports[r.Place].Name
			if closed := m.GatesOnWay(r.Place) &^ r.Open; closed != 0 {
				return fmt.Errorf("%s: port %q was measured with a gate on its way shut (%s): no air moves there; correct the pattern or leave the reading out", r.Where, name, gateNames(n, closed))
			}
		} else {
			if r.Place < 0 || r.Place >= len(n.Ducts) {
				return fmt.Errorf("%s: there is no such duct in this collector's tree", r.Where)
			}
			name = n.Ducts[r.Place].Name
			if m.PortsAbove(r.Place)&m.OpenPorts(r.Open) == 0 {
				return fmt.Errorf("%s: duct %q was measured with every way into it shut: no air moves there; correct the pattern or leave the reading out", r.Where, name)
			}
		}
		if !(r.Value > 0) || math.IsInf(r.Value, 0) {
			return fmt.Errorf("%s: a reading is a number above zero", r.Where)
		}
		for _, o := range readings[:i] {
			if o.Open != r.Open || o.duct(n) != r.duct(n) || o.Port != r.Port && (o.shares(n) || r.shares(n)) || o.Port && r.Port && o.Place != r.Place || (o.Quantity == Static) != (r.Quantity == Static) || o.Quantity == Static && o.Port != r.Port {
				continue
			}
			if a, b := o.asFlow(n), r.asFlow(n); math.Abs(math.Log(a/b)) > contradicts {
				return fmt.Errorf("%s and %s contradict each other: the same place (%s) with the same gates, and %.0f %% apart; measure once more and keep the better one", o.Where, r.Where, name, 100*(math.Max(a/b, b/a)-1))
			}
		}
	}
	return nil
}

func gateNames(n *airflow.Network, set gates.Set) string {
	s := ""
	for _, g := range n.Gates {
		if set.Has(g.Number) {
			if s != "" {
				s += ", "
			}
			s += g.Name
		}
	}
	return s
}

// Predict is what the model says of a reading, in its own quantity.
func Predict(s *airflow.Solver, r Reading, state airflow.State) float64 {
	res := s.Solve(r.Open, state)
	duct := r.Place
	if r.Port {
		duct = s.Model().Network().Ports[r.Place].Duct
	}
	switch r.Quantity {
	case Flow:
		if r.Port {
			return res.PortFlow[r.Place]
		}
		return res.Flow[duct]
	case Static:
		if r.Port {
			return res.PortSuction[r.Place]
		}
		return -res.Static[duct]
	}
	return res.Velocity[duct]
}
