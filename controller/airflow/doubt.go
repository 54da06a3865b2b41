package airflow

import (
	"math"
	"math/rand/v2"

	"ductwarden/gates"
)

// Draws is how many draws of the uncertain numbers a verdict's sureness is counted over.
const Draws = 200

// drawSeed starts the draws: always the same, so that equal questions have equal answers.
const drawSeed = 0x6475637477

// Spreads of what is not in the tables of coefficients: nineteen of twenty draws lie between 1/s and s times
// the nominal value.
const (
	frictionSpread = 1.06 // the published chart fits lie 1 to 12 % above Colebrook with the same roughness (0.09 to 0.15 mm)
	leakSpread     = 3    // no published leakage of closed blast gates was found; common practice
	sheetSpread    = 1.10 // a fan beside its maker's sheet, pressure and flow alike: 10 % is a normal tolerance (fan makers' and Eurovent papers, secondary)
	guessSpread    = 1.35 // a curve guessed from a nameplate, pressure and flow alike; common practice
	roughSpread    = 1.5  // a roughness that the person gave: hardly ever measured; common practice
	filterSpread   = 1.3  // clean and loaded differ with dust, weather and shaking; common practice
	behindSpread   = 1.2  // separator and exhaust; common practice
)

// Doubt knows how uncertain a model's numbers are: it holds Draws variants of it, and a solver. Errors of one
// kind of fitting, hood or wall are drawn together for the whole shop, for they come from the same table;
// figures that the person gave are drawn each by itself. A junction's coefficient is drawn between the constant
// and what the flow-ratio formula says of the split in the pattern at hand.
type Doubt struct {
	m      *Model
	drawn  []*Model
	weight []float64 // of the formula in each draw
	joins  []joining
	solver *Solver
	first  *Solver
}

// NewDoubt draws the variants.
func NewDoubt(m *Model) *Doubt {
	d := &Doubt{m: m, solver: NewSolver(m), first: NewSolver(m)}
	if !m.judged {
		return d
	}
	d.joins = m.joinings()
	rng, known := rand.New(rand.NewPCG(drawSeed, 1)), laws{}
	for range Draws {
		d.drawn = append(d.drawn, m.vary(rng, known))
		d.weight = append(d.weight, rng.Float64())
	}
	return d
}

// Sure is the share of the draws in which a pattern carries (grade Carries, hand gates both ways), for a set
// of demanded ports in one filter state; NoRatio where nothing is judged.
func (d *Doubt) Sure(open, demand gates.Set, state State) Ratio {
	return d.count(open, demand, state, d.solver.Judge)
}

// SureAs is Sure with the hand gates exactly as they are in open.
func (d *Doubt) SureAs(open, demand gates.Set, state State) Ratio {
	return d.count(open, demand, state, d.solver.JudgeAs)
}

func (d *Doubt) count(open, demand gates.Set, state State, judge func(open, demand gates.Set, state State) Verdict) Ratio {
	v := d.first.JudgeAs(open, demand, state)
	if v.Grade == NotJudged {
		return NoRatio
	}
	flow := d.first.res.Flow
	carried := 0
	for k, m := range d.drawn {
		d.solver.m = m
		d.lean(m, flow, d.weight[k])
		if judge(open, demand, state).Grade == Carries {
			carried++
		}
	}
	clear(d.solver.extra)
	d.solver.m = d.m
	return RatioOf(float64(carried) / float64(len(d.drawn)))
}

// lean moves the junctions' coefficients towards the formula by a weight.
func (d *Doubt) lean(m *Model, flow []float64, weight float64) {
	clear(d.solver.extra)
	for _, j := range d.joins {
		if k, ok := d.m.own(j, flow); ok {
			p := &m.pipes[j.duct]
			more := float64(weight * j.count * (k - j.value) * p.perK)
			// never so far that the loss could fall with a rising flow
			d.solver.extra[j.duct] = math.Max(d.solver.extra[j.duct]+more, -p.fixed)
		}
	}
}

// luck draws factors.
type luck struct{ rng *rand.Rand }

// factor is log-normal, cut at two and a half deviations: nineteen of twenty lie between 1/spread and spread.
// The bell is a sum of twelve uniform numbers, which is the same on every processor.
func (l luck) factor(spread float64) float64 {
	z := -6.0
	for range 12 {
		z += l.rng.Float64()
	}
	z = math.Max(-2.5, math.Min(2.5, z))
	return math.Pow(spread, z/1.96)
}

// vary draws one variant. The order of the draws is fixed: tables first, in their order, then the network's
// things in theirs.
func (m *Model) vary(rng *rand.Rand, known laws) *Model {
	l := luck{rng}
	fit, hood, wall := l.table(fittings), l.table(hoods), l.table(walls)
	friction := l.factor(frictionSpread)
	n := m.net
	v := *m
	v.pipes = append([]pipe(nil), m.pipes...)
	v.hood = append([]float64(nil), m.hood...)
	v.mouth = append([]float64(nil), m.mouth...)
	v.leak = append([]float64(nil), m.leak...)

	for i, p := range n.Ports {
		f := l.factor(givenSpread)
		if c, ok := n.Own.hood(p.Hood); ok && c.Mark != Given {
			f = hood[p.Hood]
		}
		v.hood[i] *= f
		v.mouth[i] *= f
	}
	for i := range n.Ducts {
		d := &n.Ducts[i]
		p := &v.pipes[i]
		rough, extra := l.factor(roughSpread), 1.0
		if c, ok := n.Own.wall(d.Wall); ok && c.Mark != Given {
			rough = wall[d.Wall]
			if d.Friction != 1 { // a hose: its folds are more uncertain than its skin
				rough, extra = 1, rough
			}
		}
		p.friction *= friction * extra
		p.rough = coarse(math.Min(p.rough*rough, 0.06))
		p.fixed = float64(v.drawnK(d, fit, l.factor(givenSpread)) * p.perK)
		if m.merged[i] {
			p.fixed += v.mouth[m.ports[i][0]]
		}
		if m.pipes[i].fixed >= 0 {
			p.fixed = math.Max(0, p.fixed)
		}
		p.settle(known)
	}
	for i := range n.Gates {
		f := l.factor(leakSpread)
		v.leak[i] /= f * f
	}
	v.fan = m.fan.varied(l, n.Fan.Guess)
	v.clean, v.loaded = m.behindVaried(l)
	return &v
}

// coarse keeps a number to 1 %, so that draws share their friction laws.
func coarse(x float64) float64 {
	const kept = 52 - 6
	return math.Float64frombits((math.Float64bits(x) + 1<<(kept-1)) &^ (1<<kept - 1))
}

// table draws one factor for each kind.
func (l luck) table(list []Coefficient) map[string]float64 {
	out := make(map[string]float64, len(list))
	for _, c := range list {
		out[c.Kind] = l.factor(c.Spread)
	}
	return out
}

// drawnK is the sum of a duct's coefficients with the kinds' factors, and one for what the person gave.
func (m *Model) drawnK(d *Duct, fit map[string]float64, own float64) float64 {
	k := d.Loss * own
	for _, f := range d.Fittings {
		c, _ := m.net.Own.fitting(f.Kind)
		g := own
		if c.Mark != Given {
			g = fit[f.Kind]
		}
		k += float64(float64(f.Count) * c.Value * g)
	}
	return k
}

// varied stretches the sheet in pressure and in flow.
func (c curve) varied(l luck, guess bool) curve {
	s := sheetSpread
	if guess {
		s = guessSpread
	}
	c.scale *= l.factor(s)
	wide := l.factor(s)
	q := make([]float64, len(c.q))
	m := make([]float64, len(c.m))
	for i := range q {
		q[i] = c.q[i] * wide
	}
	for i := range m {
		m[i] = c.m[i] / wide
	}
	c.q, c.m = q, m
	c.cut()
	return c
}

// behindVaried draws the losses behind the inlet: one factor for the filter in both states, one for the rest.
func (m *Model) behindVaried(l luck) (clean, loaded Loss) {
	n := m.net
	n.Filter.Clean = n.Filter.Clean.times(l.factor(filterSpread))
	more := l.factor(filterSpread)
	n.Filter.Loaded = n.Filter.Loaded.times(more)
	rest := l.factor(behindSpread)
	n.Separator, n.Exhaust = n.Separator.times(rest), n.Exhaust.times(rest)
	return n.behind()
}

func (l Loss) times(f float64) Loss { return Loss{Linear: l.Linear * f, Quadratic: l.Quadratic * f} }
