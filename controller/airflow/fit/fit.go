package fit

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/mat"

	"ductwarden/controller/airflow"
)

// Kind is what a factor stretches.
type Kind string

// The kinds of factors, as they stand in a file of fitted numbers.
const (
	FanPressure Kind = "fan_pressure"
	FanFlow     Kind = "fan_flow"
	FilterLoss  Kind = "filter"
	Hose        Kind = "hose" // friction of one duct whose wall is a hose
	Hood        Kind = "hood" // entry loss of one port
	Leaks       Kind = "leaks"
)

// Factor is one number of the model, as a factor on its default.
type Factor struct {
	Kind       Kind
	Name       string  // duct or port; "" for the whole shop
	Value      float64 // factor; 1 = the default
	Prior      float64 // nineteen of twenty: the default is right within this factor
	Known      float64 // nineteen of twenty, after the readings
	Determined bool    // the readings say more of it than the default did: its uncertainty fell to less than half
	at         int
}

// Spreads of the factors: nineteen of twenty lie between 1/s and s times the default. The airflow model's own
// spreads are of single numbers; these hold what remains once they act together.
const (
	fanSpread   = 1.15 // a fan beside its maker's sheet, its belt and the shop's supply; common practice: 5 to 10 %, in pressure twice that
	guessSpread = 1.5  // a curve guessed from a nameplate, which states the fan without anything around it
	filtSpread  = 2    // clean and loaded differ with dust, weather and shaking; common practice
	hoseSpread  = 4    // LBNL (in a secondary page): moderate compression costs 4 times the stretched loss, further compression 10
	hoodSpread  = 2    // sources disagree by up to two for fittings, and a machine's own openings are part of its hood
	leakSpread  = 3    // no published leakage of closed blast gates was found
)

// far is from where a factor is told: so many times the logarithm of its prior's spread, three deviations.
const far = 1.5

// what names a factor in a sentence.
func (f *Factor) what() string {
	switch f.Kind {
	case FanPressure:
		return "the fan's pressure"
	case FanFlow:
		return "the fan's flow"
	case FilterLoss:
		return "the filter's loss"
	case Hose:
		return "the friction of " + f.Name
	case Hood:
		return "the hood loss of port " + f.Name
	}
	return "the leaks of closed gates"
}

// Compared is one reading beside the model.
type Compared struct {
	Reading
	Before, After float64 // predicted, SI
	Weight        float64 // 1 = taken in full; far below: it does not agree with the others
}

// Result is a fit.
type Result struct {
	Factors  []Factor
	Readings []Compared
	Notes    []string
	Network  airflow.Network // with the factors worked in

	base   *airflow.Model  // as it was before the fit
	full   airflow.Network // the same with its defaults filled in
	state  airflow.State
	spread *mat.SymDense // covariance of the factors' logarithms
}

// Factors lists the uncertain numbers of a compiled network, at their defaults.
func factorsOf(n *airflow.Network) []Factor {
	var out []Factor
	add := func(k Kind, name string, at int, spread float64) {
		out = append(out, Factor{Kind: k, Name: name, Value: 1, Prior: spread, Known: spread, at: at})
	}
	fan := fanSpread
	if n.Fan.Guess {
		fan = guessSpread
	}
	add(FanPressure, "", 0, fan)
	add(FanFlow, "", 0, fan)
	if n.Filter != (airflow.Filter{}) {
		add(FilterLoss, "", 0, filtSpread)
	}
	for i, d := range n.Ducts {
		if strings.HasSuffix(d.Wall, "hose") {
			add(Hose, d.Name, i, hoseSpread)
		}
	}
	for i, p := range n.Ports {
		add(Hood, p.Name, i, hoodSpread)
	}
	for _, g := range n.Gates {
		if g.Leak > 0 {
			add(Leaks, "", 0, leakSpread)
			break
		}
	}
	return out
}

// Apply works factors into a network (as Model.Network gives it: with all defaults filled in). Names that it
// does not have are passed over.
func Apply(n airflow.Network, factors []Factor) airflow.Network {
	n.Ducts = append([]airflow.Duct(nil), n.Ducts...)
	n.Ports = append([]airflow.Port(nil), n.Ports...)
	n.Gates = append([]airflow.Gate(nil), n.Gates...)
	n.Fan.Curve = append([]airflow.Point(nil), n.Fan.Curve...)
	n.Fan.Power = append([]airflow.Point(nil), n.Fan.Power...)
	for _, f := range factors {
		switch f.Kind {
		case FanPressure:
			for i := range n.Fan.Curve {
				n.Fan.Curve[i].Pressure *= f.Value
			}
		case FanFlow:
			for i := range n.Fan.Curve {
				n.Fan.Curve[i].Flow *= f.Value
			}
			for i := range n.Fan.Power {
				n.Fan.Power[i].Flow *= f.Value
			}
		case FilterLoss:
			for _, l := range []*airflow.Loss{&n.Filter.Clean, &n.Filter.Loaded} {
				l.Linear *= f.Value
				l.Quadratic *= f.Value
			}
		case Hose:
			for i := range n.Ducts {
				if n.Ducts[i].Name == f.Name {
					if n.Ducts[i].Friction == 0 {
						n.Ducts[i].Friction = 1
					}
					n.Ducts[i].Friction *= f.Value
				}
			}
		case Hood:
			for i := range n.Ports {
				if n.Ports[i].Name == f.Name {
					n.Ports[i].HoodLoss, n.Ports[i].Hood = n.Ports[i].HoodLoss*f.Value, ""
				}
			}
		case Leaks:
			for i := range n.Gates {
				n.Gates[i].Leak *= f.Value
			}
		}
	}
	return n
}

const (
	mostPasses = 25
	enough     = 1e-5 // largest step of a factor's logarithm in the last pass
	nudge      = 1e-4 // for slopes by differences
	little     = 0.03 // slopes are taken anew when the factors' logarithms have moved so far
	calm       = 8    // passes before readings that are far off lose their weight: at first all may be far off
	huber      = 1.5  // readings further off than so many deviations lose weight in proportion
	redescend  = 3.5  // and those beyond this lose it fast: one bad reading must not pull the others along
)

// Fit finds the factors with which the model agrees best with the readings, weighing each factor's default by how
// uncertain it is.
func Fit(network airflow.Network, readings []Reading, state airflow.State) (*Result, error) {
	base, err := airflow.Compile(network)
	if err != nil {
		return nil, err
	}
	if !base.Judged() {
		return nil, errors.New("there is no fan curve: the air is not judged, so there is nothing to fit; add a curve or a guess from the nameplate")
	}
	if len(readings) == 0 {
		return nil, errors.New("there are no readings: measure the air speed at a few ports with their gates open")
	}
	if err := check(base, readings); err != nil {
		return nil, err
	}
	full := *base.Network()
	out := &Result{Factors: factorsOf(&full)}
	k := len(out.Factors)
	theta, prior := make([]float64, k), make([]float64, k)
	for i, f := range out.Factors {
		prior[i] = math.Log(f.Prior) / 1.96
	}
	model := func(theta []float64) ([]float64, error) {
		fs := append([]Factor(nil), out.Factors...)
		for i := range fs {
			fs[i].Value = math.Exp(theta[i])
		}
		m, err := base.Compile(Apply(full, fs))
		if err != nil {
			return nil, err
		}
		s := airflow.NewSolver(m)
		p := make([]float64, len(readings))
		for i, r := range readings {
			p[i] = math.Log(math.Max(Predict(s, r, state), 1e-9))
		}
		return p, nil
	}
	first, err := model(theta)
	if err != nil {
		return nil, err
	}
	weights := make([]float64, len(readings))
	var normal mat.SymDense
	now := first
	slope := mat.NewDense(len(readings), k, nil)
	moved := math.Inf(1) // since the slopes were taken
	for pass := range mostPasses {
		for j := range k {
			if moved < little {
				break
			}
			theta[j] += nudge
			p, err := model(theta)
			theta[j] -= nudge
			if err != nil {
				return nil, err
			}
			for i := range p {
				slope.Set(i, j, (p[i]-now[i])/nudge)
			}
		}
		if moved >= little {
			moved = 0
		}
		normal = *mat.NewSymDense(k, nil)
		right := mat.NewVecDense(k, nil)
		for i, r := range readings {
			off := (math.Log(r.Value) - now[i]) / Noise
			weights[i] = weight(off, pass >= calm)
			for a := range k {
				sa := slope.At(i, a) / Noise
				right.SetVec(a, right.AtVec(a)+weights[i]*sa*off)
				for b := a; b < k; b++ {
					normal.SetSym(a, b, normal.At(a, b)+weights[i]*sa*slope.At(i, b)/Noise)
				}
			}
		}
		for a := range k {
			normal.SetSym(a, a, normal.At(a, a)+1/(prior[a]*prior[a]))
			right.SetVec(a, right.AtVec(a)-theta[a]/(prior[a]*prior[a]))
		}
		var chol mat.Cholesky
		if !chol.Factorize(&normal) {
			return nil, errors.New("the readings leave the numbers undetermined; measure at more places")
		}
		var step mat.VecDense
		if err := chol.SolveVecTo(&step, right); err != nil {
			return nil, fmt.Errorf("the fit did not come to an end: %w", err)
		}
		largest := 0.0
		for a := range k {
			d := math.Max(-0.4, math.Min(0.4, step.AtVec(a)))
			theta[a] += d
			largest = math.Max(largest, math.Abs(d))
		}
		moved += largest
		if now, err = model(theta); err != nil {
			return nil, err
		}
		if largest < enough && pass > calm {
			break
		}
	}
	var chol mat.Cholesky
	chol.Factorize(&normal)
	var spread mat.SymDense
	if err := chol.InverseTo(&spread); err != nil {
		return nil, fmt.Errorf("the fit did not come to an end: %w", err)
	}
	undetermined := 0
	for a := range out.Factors {
		f := &out.Factors[a]
		f.Value = math.Exp(theta[a])
		sd := math.Sqrt(spread.At(a, a))
		f.Known = math.Exp(1.96 * sd)
		f.Determined = sd < prior[a]/2
		if !f.Determined {
			undetermined++
		}
	}
	for _, f := range out.Factors {
		if math.Abs(math.Log(f.Value)) > far*math.Log(f.Prior) {
			out.Notes = append(out.Notes, fmt.Sprintf("%s came out %.2g times its default, further off than it should lie: look for a gate half open, a plug or a leak there, and measure once more", f.what(), f.Value))
		}
	}
	for i, r := range readings {
		c := Compared{Reading: r, Before: math.Exp(first[i]), After: math.Exp(now[i]), Weight: weight((math.Log(r.Value)-now[i])/Noise, true)}
		out.Readings = append(out.Readings, c)
		if c.Weight < 0.4 {
			out.Notes = append(out.Notes, fmt.Sprintf("%s does not agree with the other readings and counts little: measure it once more", r.Where))
		}
	}
	out.Network = Apply(full, out.Factors)
	if undetermined > 0 {
		few := ""
		if len(readings) < k {
			few = fmt.Sprintf("%d %s for %d uncertain numbers: ", len(readings), plural(len(readings), "reading", "readings"), k)
		}
		out.Notes = append(out.Notes, fmt.Sprintf("%s%d of %d stay near their defaults; measure at further ports, alone and together", few, undetermined, k))
	}
	out.base, out.full, out.state, out.spread = base, full, state, &spread
	return out, nil
}

// weight is Huber's; with late, it falls with the fourth power where a reading is far off.
func weight(off float64, late bool) float64 {
	off = math.Abs(off)
	switch {
	case off <= huber:
		return 1
	case off <= redescend || !late:
		return huber / off
	}
	far := redescend / off
	return huber / redescend * far * far * far * far
}
