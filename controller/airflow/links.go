package airflow

import "math"

// link is one resistance with flow in a pattern: a duct, or the hood of a port that shares its duct.
type link struct {
	p          *pipe   // nil: a hood, a plain square law
	k          float64 // Pa per (m3/s)^2 beside the friction
	below      int32   // the link that its air goes on to, 0 = the collector
	at, port   int32   // by place in the network: its duct, and its port where it is a hood or has nothing but one upstream
	q, h, s    float64 // flow, and its loss and slope at the flow
	perB       float64 // 1/b
	a, b       float64 // what its upstream node draws: Q = a + b suction; in closed form b = Q/sqrt(suction)
	alpha, den float64 // seen from its downstream node: Q = alpha + b/den suction; in closed form den only
	was, step  float64 // flow before Newton's last step, and its change
	suction    float64 // at its upstream node
}

// links are the resistances of one pattern: 0 stands for the collector's inlet, then ducts with others upstream,
// each after its below; from ends on ducts with nothing but a port, from mouths on hoods.
type links struct {
	all          []link
	ends, mouths int
}

func newLinks(ducts, ports int) links { return links{all: make([]link, 0, ducts+ports+1)} }

// begin leaves the inlet alone.
func (n *links) begin() {
	n.all = n.all[:1]
	n.all[0] = link{}
}

func (n *links) add(p *pipe, k float64, below, at, port int32) {
	n.all = n.all[:len(n.all)+1]
	l := &n.all[len(n.all)-1]
	l.p, l.k, l.below, l.at, l.port, l.b = p, k, below, at, port, 0
}

// conduct adds up, with the friction factors of usual speed, what the inlet draws at a suction of 1 Pa.
func (n *links) conduct() float64 {
	all := n.all
	for k := len(all) - 1; k >= n.ends; k-- {
		l := &all[k]
		switch {
		case l.p == nil:
			l.alpha = 1 / math.Sqrt(l.k)
		case l.k == l.p.fixed: // no leak was added
			l.alpha = l.p.open
		default:
			l.alpha = 1 / math.Sqrt(l.k+l.p.first)
		}
		all[l.below].b += l.alpha
	}
	for k := n.ends - 1; k > 0; k-- {
		l := &all[k]
		r := l.k + l.p.first
		l.den = 1 / math.Sqrt(1+float64(r*l.b*l.b))
		l.alpha = l.b * l.den
		all[l.below].b += l.alpha
	}
	return all[0].b
}

// divide gives every link its flow, root is the square root of the suction at the inlet.
func (n *links) divide(root float64) {
	all := n.all
	all[0].suction = root
	all[0].a, all[0].b = 0, 0
	for k := 1; k < n.ends; k++ {
		l := &all[k]
		l.suction = all[l.below].suction * l.den
		l.q = all[l.below].suction * l.alpha
		l.a, l.b = 0, 0
	}
	for k := n.ends; k < len(all); k++ {
		l := &all[k]
		l.q = all[l.below].suction * l.alpha
	}
}

// gather eliminates the links, linearised at their flows, leaf to root: the inlet draws a + b suction. bend tells
// that a flow lies at a bend of the friction law.
func (n *links) gather() (a, b float64, bend bool) {
	bend = n.losses()
	all := n.all
	for k := len(all) - 1; k >= n.ends; k-- {
		l := &all[k]
		inv := 1 / l.s
		l.den = inv
		d := &all[l.below]
		d.a += l.q - float64(l.h*inv)
		d.b += inv
	}
	for k := n.ends - 1; k > 0; k-- {
		l := &all[k]
		h, s := l.h, l.s
		more := 1 + float64(l.b*s)
		both := 1 / (l.b * more)
		inv := l.b * both
		l.den, l.perB = l.b*inv, more*both
		l.alpha = float64((l.a + float64(l.b*(float64(s*l.q)-h))) * inv)
		d := &all[l.below]
		d.a += l.alpha
		d.b += l.den
	}
	return all[0].a, all[0].b, bend
}

// stride is how far a step went, against the flows.
type stride uint8

const (
	ended stride = iota // no flow changed by more than was asked
	calm                // none by more than calmStep
	wild
)

// hand takes each link's step from the suction at the inlet. end is the relative change of a flow that no longer
// counts.
func (n *links) hand(suction, end float64) stride {
	all := n.all
	all[0].suction = suction
	all[0].a, all[0].b = 0, 0
	some, far := false, false // no quotients, and branches that go the same way link for link
	for k := 1; k < n.ends; k++ {
		l := &all[k]
		was := l.q
		l.q = l.alpha + float64(l.den*all[l.below].suction)
		l.was, l.step = was, l.q-was
		l.suction = float64((l.q - l.a) * l.perB)
		l.a, l.b = 0, 0
		size := math.Abs(l.step)
		some = some || !(size <= float64(end*was))
		far = far || !(size <= float64(calmStep*was))
	}
	for k := n.ends; k < len(all); k++ {
		l := &all[k]
		was := l.q
		l.step = float64((all[l.below].suction - l.h) * l.den)
		l.was, l.q = was, was+l.step
		size := math.Abs(l.step)
		some = some || !(size <= float64(end*was))
		far = far || !(size <= float64(calmStep*was))
	}
	switch {
	case far:
		return wild
	case some:
		return calm
	}
	return ended
}

// biggest is the largest relative change of a flow in the step.
func (n *links) biggest() (most float64) {
	for k := 1; k < len(n.all); k++ {
		most = max(most, math.Abs(n.all[k].step)/n.all[k].was)
	}
	return most
}

// falls reports whether the step takes more than nine tenths of a flow.
func (n *links) falls() bool {
	for k := 1; k < len(n.all); k++ {
		if l := &n.all[k]; l.step < -0.9*l.was {
			return true
		}
	}
	return false
}

// losses works out every link's loss and slope at its flow. bend tells that a flow lies at a bend of the friction
// law.
func (n *links) losses() (bend bool) {
	all := n.all
	for k := 1; k < n.mouths; k++ {
		l := &all[k]
		p := l.p
		c, t, mantissa := p.law.cell(float64(p.reynolds * l.q))
		if c == nil {
			l.h, l.s = p.exact(l.q, l.k)
			bend = true
			continue
		}
		l.h, l.s = c.loss(t, mantissa, p.friction, l.k, l.q)
	}
	for k := n.mouths; k < len(all); k++ {
		l := &all[k]
		r := float64(l.k * l.q)
		l.h, l.s = float64(r*l.q), 2*r
	}
	return bend
}

// work is the sum of losses times steps.
func (n *links) work() (sum float64) {
	for k := 1; k < len(n.all); k++ {
		sum += float64(n.all[k].h * n.all[k].step)
	}
	return sum
}

// take puts every flow so far along the step.
func (n *links) take(part float64) {
	for k := 1; k < len(n.all); k++ {
		l := &n.all[k]
		l.q = l.was + float64(part*l.step)
	}
}

// hold leaves each flow a tenth of what it was.
func (n *links) hold() {
	for k := 1; k < len(n.all); k++ {
		l := &n.all[k]
		l.q = max(l.q, l.was/10)
	}
}
