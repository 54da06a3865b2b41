package airflow

import "math"

// curve is the fan's static pressure at the shop's own density: scale * sheet(Q) - inertia * Q^2. The sheet is
// straight lines or a monotone cubic through its points; beyond the points it goes on along the last piece
// (straight) or along the end tangent (cubic).
type curve struct {
	q, p, m  []float64 // flows, pressures of the sheet, slopes at the points (cubic)
	straight bool
	scale    float64 // density / density of the sheet
	inertia  float64 // Pa per (m3/s)^2: velocity pressure that turns the sheet's pressure into fan static
	pieces   []piece // of the sheet, times scale: before the first point, between points, beyond the last
}

// piece is one piece of the curve at the shop's density, inertia left out: p as a polynomial of Q - from, up to
// the flow to, where it is end.
type piece struct {
	cubic
	from, to, end float64
}

// newCurve carries a sheet to the shop's density and to fan static pressure. The points have been checked.
//
// Fan static pressure is the outlet's static less the inlet's total pressure. A sheet of static suction on the
// inlet pipe's wall shows the inlet's velocity pressure on top of the total suction, so it is taken off; a
// sheet of total pressure shows the outlet's velocity pressure, so that is taken off.
func newCurve(f Fan, density float64) curve {
	c := curve{straight: f.Straight, scale: density / f.Density}
	for _, pt := range f.Curve {
		c.q = append(c.q, pt.Flow)
		c.p = append(c.p, pt.Pressure)
	}
	d := 0.0
	switch f.Kind {
	case InletStatic:
		d = f.Inlet
	case FanTotal:
		if d = f.Outlet; d == 0 {
			d = f.Inlet
		}
	}
	if d > 0 {
		a := math.Pi / 4 * d * d
		c.inertia = density / 2 / (a * a)
	}
	if !c.straight {
		c.m = monotoneSlopes(c.q, c.p)
	}
	c.cut()
	return c
}

// cut lays the curve out in pieces.
func (c *curve) cut() {
	n := len(c.q)
	c.pieces = make([]piece, 0, n+1)
	line := func(k int, slope, to float64) {
		c.pieces = append(c.pieces, piece{cubic: cubic{c0: c.scale * c.p[k], c1: c.scale * slope}, from: c.q[k], to: to})
	}
	first, last := (c.p[1]-c.p[0])/(c.q[1]-c.q[0]), (c.p[n-1]-c.p[n-2])/(c.q[n-1]-c.q[n-2])
	if !c.straight {
		first, last = c.m[0], c.m[n-1]
	}
	line(0, first, c.q[0])
	for k := range n - 1 {
		w := c.q[k+1] - c.q[k]
		d := (c.p[k+1] - c.p[k]) / w
		line(k, d, c.q[k+1])
		if c.straight {
			continue
		}
		// cubic of Hermite's form: p_k + x (m_k + x (c2 + x c3))
		m0, m1 := c.m[k], c.m[k+1]
		h := &c.pieces[k+1]
		h.c1 = c.scale * m0
		h.c2 = c.scale * (float64(3*d) - float64(2*m0) - m1) / w
		h.c3 = c.scale * (m0 + m1 - float64(2*d)) / (w * w)
	}
	line(n-1, last, math.Inf(1))
	for k := range n {
		c.pieces[k].end = c.scale * c.p[k]
	}
}

// at is the fan's static pressure at flow q, Pa, and its slope.
func (c *curve) at(q float64) (p, slope float64) {
	k := 0
	for q > c.pieces[k].to {
		k++
	}
	p, slope = c.pieces[k].at(q)
	return p - float64(c.inertia*q*q), slope - float64(2*c.inertia*q)
}

// at is the piece's pressure and slope at flow q.
func (c *piece) at(q float64) (p, slope float64) {
	x := q - c.from
	p = c.c0 + float64(x*(c.c1+float64(x*(c.c2+float64(x*c.c3)))))
	return p, c.c1 + float64(x*(float64(2*c.c2)+float64(3*x*c.c3)))
}

// monotoneSlopes gives the slopes at the points for a piecewise cubic that never overshoots: between two
// pieces of the same sign the weighted harmonic mean of their slopes, zero at a turn; at the ends the
// three-point formula, cut so that it keeps the shape. Source: Fritsch and Carlson 1980, with the means of
// Fritsch and Butland 1984, as numerical libraries implement the name PCHIP.
func monotoneSlopes(q, p []float64) []float64 {
	n := len(q)
	m := make([]float64, n)
	h := make([]float64, n-1)
	d := make([]float64, n-1)
	for k := range n - 1 {
		h[k] = q[k+1] - q[k]
		d[k] = (p[k+1] - p[k]) / h[k]
	}
	if n == 2 {
		m[0], m[1] = d[0], d[0]
		return m
	}
	for k := 1; k < n-1; k++ {
		if d[k-1]*d[k] <= 0 {
			continue
		}
		w1 := 2*h[k] + h[k-1]
		w2 := h[k] + 2*h[k-1]
		m[k] = (w1 + w2) / (w1/d[k-1] + w2/d[k])
	}
	m[0] = endSlope(h[0], h[1], d[0], d[1])
	m[n-1] = endSlope(h[n-2], h[n-3], d[n-2], d[n-3])
	return m
}

func endSlope(h0, h1, d0, d1 float64) float64 {
	m := (float64((2*h0+h1)*d0) - float64(h0*d1)) / (h0 + h1)
	switch {
	case m*d0 <= 0:
		return 0
	case d0*d1 < 0 && math.Abs(m) > 3*math.Abs(d0):
		return 3 * d0
	}
	return m
}

// GuessCurve draws a fan curve from the two numbers of a nameplate, shutoff pressure (Pa) and free flow
// (m3/s): a parabola with its top at no flow, which falls everywhere. The shape is the quadratic of NIST's
// fire model verification cases; real fans lie 20 % and more beside it, so Fan.Guess is to be set with it.
func GuessCurve(shutoff, free float64) []Point {
	const pieces = 12
	out := make([]Point, 0, pieces+1)
	for k := range pieces + 1 {
		x := float64(k) / pieces
		out = append(out, Point{Flow: free * x, Pressure: shutoff * (1 - float64(x*x))})
	}
	return out
}

// operate finds where the fan, less the loss a Q + b Q^2 behind the inlet, meets the ducts. The ducts are
// given as suction = Q^2/c2 (closed form) or, with slope > 0, as suction = (Q - from)/slope. near is a flow to
// begin at; the last step there is end of the flow at most, and leaves an error of its square.
func (c *curve) operate(loss Loss, c2, from, slope, near, end float64) float64 {
	// Everything as one falling function: net(Q) - suction(Q).
	quad, lin, off := loss.Quadratic+c.inertia, loss.Linear, 0.0
	if slope > 0 {
		lin += 1 / slope
		off = from / slope
	} else {
		quad += 1 / c2
	}
	k := 0
	for k < len(c.pieces)-1 {
		if p := &c.pieces[k]; p.end+off-float64(p.to*(lin+float64(quad*p.to))) <= 0 {
			break
		}
		k++
	}
	p := &c.pieces[k]
	if p.c2 == 0 && p.c3 == 0 {
		// top + (c1 - lin) Q - quad Q^2 = 0; the form 2c/(B + sqrt(B^2 + 4Ac)) loses no digits
		top := p.c0 - float64(p.c1*p.from) + off
		b := lin - p.c1
		return 2 * top / (b + math.Sqrt(float64(b*b)+float64(4*quad*top)))
	}
	lo, hi := p.from, p.to
	q := near
	if !(q > lo && q < hi) {
		q = (lo + hi) / 2
	}
	for range 100 {
		g, s := p.at(q)
		g += off - float64(q*(lin+float64(quad*q)))
		s -= lin + float64(2*quad*q)
		if g > 0 {
			lo = q
		} else {
			hi = q
		}
		next := q - g/s
		switch step := math.Abs(next - q); {
		case step <= 1e-15*hi, step <= end*q && next > lo && next < hi:
			return next
		case !(next > lo && next < hi):
			next = (lo + hi) / 2
		}
		q = next
	}
	return q
}

// along reads a curve of straight lines, held level beyond its ends.
func along(pts []Point, q float64) float64 {
	if q <= pts[0].Flow {
		return pts[0].Pressure
	}
	for k := 1; k < len(pts); k++ {
		if a, b := pts[k-1], pts[k]; q <= b.Flow {
			return a.Pressure + float64((b.Pressure-a.Pressure)*(q-a.Flow))/(b.Flow-a.Flow)
		}
	}
	return pts[len(pts)-1].Pressure
}
