package fit

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"ductwarden/controller/airflow"
	"ductwarden/gates"
)

// Suggestion is a reading not taken yet from which most would be learnt.
type Suggestion struct {
	Open   gates.Set
	Port   int     // air speed there
	Within float64 // nineteen of twenty: the model is right there within this factor
}

// worth is from where a further reading pays: the model's own doubt is twice what the instrument leaves.
const worth = 2

// Next looks through each port alone and each pair of ports for the air speed that the fitted model knows least; nil
// where a further reading would hardly tell more than the model does.
func (r *Result) Next() (*Suggestion, error) {
	m := r.base
	n := m.Network()
	var ways []Reading
	for a := range n.Ports {
		for b := range n.Ports { // measured at a
			ways = append(ways, Reading{Open: m.GatesOnWay(a) | m.GatesOnWay(b), Port: true, Place: a})
		}
	}
	factors := r.Factors
	k := len(factors)
	at := func(j int, more float64) ([]float64, error) {
		fs := append([]Factor(nil), factors...)
		if j >= 0 {
			fs[j].Value *= math.Exp(more)
		}
		fm, err := r.base.Compile(Apply(r.full, fs))
		if err != nil {
			return nil, err
		}
		s := airflow.NewSolver(fm)
		out := make([]float64, len(ways))
		for i, way := range ways {
			out[i] = math.Log(math.Max(Predict(s, way, r.state), 1e-9))
		}
		return out, nil
	}
	now, err := at(-1, 0)
	if err != nil {
		return nil, err
	}
	slope := mat.NewDense(len(ways), k, nil)
	for j := range k {
		p, err := at(j, nudge)
		if err != nil {
			return nil, err
		}
		for i := range p {
			slope.Set(i, j, (p[i]-now[i])/nudge)
		}
	}
	var best *Suggestion
	most := worth * Noise
	for i, way := range ways {
		if r.took(way) {
			continue
		}
		row := mat.NewVecDense(k, mat.Row(nil, i, slope))
		if sd := math.Sqrt(mat.Inner(row, r.spread, row)); sd > most*(1+1e-9) {
			most, best = sd, &Suggestion{Open: way.Open, Port: way.Place, Within: math.Exp(1.96 * sd)}
		}
	}
	return best, nil
}

// took reports whether a port was measured with those gates already.
func (r *Result) took(way Reading) bool {
	for _, t := range r.Readings {
		if t.Open == way.Open && t.Port && t.Place == way.Place && t.Quantity != Static {
			return true
		}
	}
	return false
}

func plural(n int, one, more string) string {
	if n == 1 {
		return one
	}
	return more
}
