package airflow

import "math"

// Limits of the friction law: laminar below, Colebrook above, straight in Re between. A plain switch at one Re
// would make the loss jump, and no operating point might exist.
const (
	laminarEnd     = 2000
	turbulentStart = 4000
)

// colebrookC is 2/ln 10: the Colebrook equation in natural logarithms.
const colebrookC = 2 / math.Ln10

// FrictionFactor is the Darcy friction factor at Reynolds number re for a relative roughness (absolute
// roughness over inside diameter): 64/Re up to 2000, Colebrook-White solved to the last digits from 4000,
// straight in Re between. Sources: EPANET 2.2 user manual, chapter 12 (laminar); Colebrook 1939 in the form
// 1/sqrt(f) = -2 log10(e/(3.7 D) + 2.51/(Re sqrt(f))).
func FrictionFactor(re, relative float64) float64 {
	switch {
	case re <= 0:
		return math.Inf(1)
	case re <= laminarEnd:
		return 64 / re
	case re >= turbulentStart:
		x := colebrook(re, relative/3.7, 7)
		return 1 / (x * x)
	}
	x := colebrook(turbulentStart, relative/3.7, 7)
	low, high := 64.0/laminarEnd, 1/(x*x)
	return low + float64((high-low)*(re-laminarEnd))/(turbulentStart-laminarEnd)
}

// colebrook solves x + 2 log10(a + 2.51 x/Re) = 0 for x = 1/sqrt(f) by Newton's method from a guess. The
// function is increasing and concave, so that after one step the iterates rise towards the root.
func colebrook(re, a, guess float64) float64 {
	b := 2.51 / re
	x := guess
	for range 50 {
		in := a + float64(b*x)
		step := (x + float64(colebrookC*math.Log(in))) / (1 + float64(colebrookC*b)/in)
		x -= step
		if x < 0.5 { // only from a wild guess
			x = 0.5
		}
		if math.Abs(step) <= 1e-7*x { // the error left is the step squared
			break
		}
	}
	return x
}

// pipe is one resistance as the solver sees it: a duct with the hood of its only port, or the hood of a port that
// shares its duct. A loss is friction*f(Re)*Q^2 + fixed*Q^2 in Pa, Q in m3/s.
type pipe struct {
	friction float64 // factor * L/D * rho/2 / A^2
	fixed    float64 // sum of K * rho/2 / A^2, gate left out
	perK     float64 // rho/2 / A^2: what one unit of K costs
	reynolds float64 // Re per m3/s: rho D / (mu A)
	rough    float64 // e/(3.7 D)
	laminar  float64 // friction * 64 / reynolds: Pa per m3/s while laminar
	fourk    float64 // f at Re 4000
	first    float64 // friction * f at usualSpeed: where every solution begins
	open     float64 // 1/sqrt(first + fixed)
	area     float64 // m2
	perArea  float64 // 1/area
	law      *law
}

// usualSpeed is the air speed (m/s) at which a duct's first friction factor is taken.
const usualSpeed = 20

// settle works out what follows from a duct's other figures.
func (p *pipe) settle(l laws) {
	p.perArea = 1 / p.area
	p.laminar = p.friction * 64 / p.reynolds
	p.fourk = FrictionFactor(turbulentStart, p.rough*3.7)
	p.first = p.friction * FrictionFactor(math.Max(turbulentStart, float64(p.reynolds*p.area)*usualSpeed), p.rough*3.7)
	p.open = 1 / math.Sqrt(p.first+p.fixed)
	p.law = l.of(p.rough)
}

// loss is the pressure loss at flow q >= 0 with a coefficient k (Pa per (m3/s)^2) beside the friction, and its
// slope. bend tells that q lies where the law has a bend or where none of its pieces reaches.
func (p *pipe) loss(q, k float64) (h, slope float64, bend bool) {
	c, t, mantissa := p.law.cell(float64(p.reynolds * q))
	if c == nil {
		h, slope = p.exact(q, k)
		return h, slope, true
	}
	h, slope = c.loss(t, mantissa, p.friction, k, q)
	return h, slope, false
}

// exact is loss with the equations solved at q itself.
func (p *pipe) exact(q, k float64) (h, slope float64) {
	re := float64(p.reynolds * q)
	switch {
	case re <= laminarEnd:
		return float64(p.laminar*q) + float64(float64(k*q)*q), p.laminar + float64(2*k*q)
	case re < turbulentStart:
		const low = 64.0 / laminarEnd
		per := (p.fourk - low) / (turbulentStart - laminarEnd)
		f := low + float64(per*(re-laminarEnd))
		c := float64(p.friction*f) + k
		return float64(c * q * q), float64(2*c*q) + float64(p.friction*per*re*q)
	}
	x := colebrook(re, p.rough, 7)
	f := 1 / (x * x)
	c := float64(p.friction*f) + k
	return float64(c * q * q), float64(2*c*q) + float64(p.friction*f*colebrookSlope(re, p.rough, x)*q)
}
