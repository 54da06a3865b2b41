package airflow

import "math"

// terms is the number of coefficients of a census' polynomials.
const terms = 6

// poly is a polynomial in the place on a span, c[0] + t (c[1] + t (...)).
type poly [terms]float64

// at adds in pairs: the processor does them side by side.
func (p *poly) at(t float64) float64 {
	u := float64(t * t)
	high := (p[2] + float64(p[3]*t)) + float64(u*(p[4]+float64(p[5]*t)))
	return (p[0] + float64(p[1]*t)) + float64(u*high)
}

// slope is the slope of the first four terms.
func (p *poly) slope(t float64) float64 {
	return p[1] + float64(t*(float64(2*p[2])+float64(3*t*p[3])))
}

func (p *poly) plus(o *poly) (sum poly) {
	for i := range sum {
		sum[i] = p[i] + o[i]
	}
	return sum
}

func (p *poly) times(f float64) (out poly) {
	for i := range out {
		out[i] = p[i] * f
	}
	return out
}

// span is the suctions between which a node stands, as places from -1 to 1: with z the square root of the
// suction, t = (z - mid)/(z + mid)/half. What flows over z is almost straight in t.
type span struct {
	mid, half, perHalf float64
	low, high          float64        // square roots of the suctions at -1 and 1
	z                  [terms]float64 // at the places where a polynomial is fitted (Chebyshev's)
}

// fitted are the places where a polynomial is fitted, falling: Chebyshev's.
var fitted = func() (t [terms]float64) {
	for k := range t {
		t[k] = math.Cos(math.Pi * (float64(k) + 0.5) / terms)
	}
	return t
}()

func newSpan(low, high float64) span {
	if !(low > 0) || !(high > low) {
		low, high = math.Max(high, 1), math.Max(high, 1)
	}
	low, high = low*0.998, high*1.002
	s := span{mid: math.Sqrt(low * high), low: low, high: high}
	s.half = (high - s.mid) / (high + s.mid)
	s.perHalf = 1 / s.half
	for k := range s.z {
		s.z[k] = s.root(fitted[k])
	}
	return s
}

// above are the places of a fit to the part of a span above a square root of suction.
func (s *span) above(z float64) [terms]float64 {
	if z <= s.low {
		return s.z
	}
	var out [terms]float64
	from := s.place(z)
	for k, t := range fitted {
		out[k] = s.root((1+from)/2 + float64(t*(1-from)/2))
	}
	return out
}

func (s *span) place(z float64) float64 { return (z - s.mid) / (z + s.mid) * s.perHalf }

func (s *span) root(t float64) float64 {
	x := float64(s.half * t)
	return s.mid * (1 + x) / (1 - x)
}

// places are the abscissas of a fit: with their inverse differences many values are fitted quickly.
type places struct {
	t   [terms]float64
	inv [terms * (terms - 1) / 2]float64 // 1/(t[j]-t[i]) for i < j, by j-i, then i
}

func (p *places) ready() {
	k := 0
	for d := 1; d < terms; d++ {
		for i := 0; i+d < terms; i++ {
			p.inv[k] = 1 / (p.t[i+d] - p.t[i])
			k++
		}
	}
}

// fit is the polynomial through values at the places: divided differences, then expanded.
func (p *places) fit(v [terms]float64) poly {
	k := 0
	for d := 1; d < terms; d++ {
		for i := terms - 1; i >= d; i-- {
			v[i] = float64((v[i] - v[i-1]) * p.inv[k+i-d])
		}
		k += terms - d
	}
	var out poly
	out[0] = v[terms-1]
	for i := terms - 2; i >= 0; i-- { // out = out (t - t_i) + v_i
		for j := terms - 1 - i; j > 0; j-- {
			out[j] = out[j-1] - float64(p.t[i]*out[j])
		}
		out[0] = v[i] - float64(p.t[i]*out[0])
	}
	return out
}
