package airflow

import "math"

// A law is the friction factor of one relative roughness over Re as pieces of third degree that meet with equal
// value and slope: no logarithm is taken while a pattern is solved. Against Colebrook it is 5e-9 off at most.
type law struct{ pieces []cubic }

// cubic is c0 + t (c1 + t (c2 + t c3)).
type cubic struct{ c0, c1, c2, c3 float64 }

// A law has lawCells pieces in each doubling of Re, from lawStart on; beyond either end the equation itself is
// solved. At 40 m/s in a duct of 0.5 m Re is 1.3 million.
const (
	lawStart    = 4096
	lawDoubling = 9
	lawBits     = 5
	lawCells    = 1 << lawBits
	lawShift    = 52 - lawBits
	lawFirst    = (1023 + 12) << lawBits // of the bits of lawStart
)

// newLaw fits the pieces to Colebrook for a rough = roughness/(3.7 diameter).
func newLaw(rough float64) *law {
	l := &law{pieces: make([]cubic, lawDoubling*lawCells)}
	const width = 1.0 / lawCells
	guess := 7.0
	at := func(k int) (f, slope float64) { // slope over the mantissa
		re := math.Float64frombits(uint64(lawFirst+k) << lawShift)
		guess = colebrook(re, rough, guess)
		f = 1 / (guess * guess)
		mantissa := 1 + float64(k%lawCells)*width
		return f, f * colebrookSlope(re, rough, guess) / mantissa
	}
	f0, s0 := at(0)
	for k := range l.pieces {
		if k%lawCells == 0 && k > 0 {
			s0 *= 2 // the mantissa begins again
		}
		f1, s1 := at(k + 1)
		end := s1
		if (k+1)%lawCells == 0 {
			end /= 2
		}
		d := (f1 - f0) / width
		l.pieces[k] = cubic{f0, s0, (float64(3*d) - float64(2*s0) - end) / width, (s0 + end - float64(2*d)) / (width * width)}
		f0, s0 = f1, end
	}
	return l
}

// cell is the piece in which a Re lies, the place on it, and the mantissa of Re; nil where none reaches.
func (l *law) cell(re float64) (c *cubic, t, mantissa float64) {
	bits := math.Float64bits(re)
	i := bits>>lawShift - lawFirst
	if i >= uint64(len(l.pieces)) {
		return nil, 0, 0
	}
	const one = 1023 << 52
	t = math.Float64frombits(bits&(1<<lawShift-1)|one) - 1
	return &l.pieces[i], t, math.Float64frombits(bits&(1<<52-1) | one)
}

// loss is friction*f*q^2 + k*q^2 on the piece, and its slope.
func (c *cubic) loss(t, mantissa, friction, k, q float64) (h, slope float64) {
	f := c.c0 + float64(t*(c.c1+float64(t*(c.c2+float64(t*c.c3)))))
	df := float64(mantissa * (c.c1 + float64(t*(float64(2*c.c2)+float64(3*t*c.c3))))) // Re df/dRe
	h = float64((float64(friction*f) + k) * q)
	return float64(h * q), 2*h + float64(float64(friction*df)*q)
}

// colebrookSlope is d ln f / d ln Re where x solves the Colebrook equation.
func colebrookSlope(re, rough, x float64) float64 {
	b := 2.51 / re
	t := float64(colebrookC*b) / (rough + float64(b*x))
	return -2 * t / (1 + t)
}

// laws keeps one law for each roughness, while a model is made.
type laws map[float64]*law

func (l laws) of(rough float64) *law {
	if l[rough] == nil {
		l[rough] = newLaw(rough)
	}
	return l[rough]
}
