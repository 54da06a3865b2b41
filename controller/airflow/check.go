package airflow

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Bounds beyond which a number is a slip of the pen. Common practice, no source.
const (
	leastDiameter, mostDiameter = 0.01, 2.0
	mostLength                  = 500.0
	mostSpeed                   = 35.0
)

// checker gathers problems.
type checker struct {
	n    *Network
	list []Problem
}

func (c *checker) say(in string, place int, name, field, format string, args ...any) {
	c.list = append(c.list, Problem{In: in, Place: place, Name: name, Field: field, Text: fmt.Sprintf(format, args...)})
}

func check(n *Network) []Problem {
	c := &checker{n: n}
	c.shop()
	c.ducts()
	c.tree()
	c.ports()
	c.gates()
	if len(n.Fan.Curve) > 0 {
		c.fan()
	}
	return c.list
}

// good reports whether x is a number within bounds.
func good(x, least, most float64) bool { return x >= least && x <= most }

func (c *checker) shop() {
	n := c.n
	if len(n.Ducts) == 0 && len(n.Fan.Curve) == 0 {
		return
	}
	if !good(n.Air.Density, 0.3, 3) {
		c.say("air", -1, "", "density", "density %g kg/m3 is not that of air; 0.3 to 3 kg/m3 is accepted", n.Air.Density)
	}
	if !good(n.Air.Viscosity, 5e-6, 5e-5) {
		c.say("air", -1, "", "viscosity", "viscosity %g Pa s is not that of air; 5 to 50 uPa.s is accepted", n.Air.Viscosity)
	}
	c.transport("transport", -1, "", n.Transport)
	for in, l := range map[string]Loss{"separator": n.Separator, "exhaust": n.Exhaust, "filter": n.Filter.Clean} {
		c.loss(in, l)
	}
	c.loss("filter", n.Filter.Loaded)
	slices.SortStableFunc(c.list, func(a, b Problem) int { return strings.Compare(a.In, b.In) })
}

func (c *checker) transport(in string, place int, name string, t Transport) {
	switch {
	case !good(t.Carries, 1, mostSpeed):
		c.say(in, place, name, "carries", "transport speed %g m/s is outside 1 to %g m/s", t.Carries, mostSpeed)
	case !good(t.Settles, 0.1, t.Carries):
		c.say(in, place, name, "settles", "settling speed %g m/s must lie between 0.1 m/s and the transport speed, %g m/s", t.Settles, t.Carries)
	case !good(t.Margin, 0, 1):
		c.say(in, place, name, "margin", "margin %g is outside 0 to 100 %%", t.Margin)
	}
}

func (c *checker) loss(in string, l Loss) {
	if !good(l.Linear, 0, 1e9) || !good(l.Quadratic, 0, 1e9) {
		c.say(in, -1, "", "pressure", "a loss cannot be negative or endless; give a pressure above zero at a flow above zero")
	}
}

func (c *checker) ducts() {
	n := c.n
	if len(n.Ducts) > MaxDucts {
		c.say("ducts", -1, "", "", "%d ducts are more than the %d that one collector may have", len(n.Ducts), MaxDucts)
	}
	for i := range n.Ducts {
		d := &n.Ducts[i]
		at := func(field, format string, args ...any) { c.say("ducts", i, d.Name, field, format, args...) }
		if d.Length == 0 {
			at("length", "length is zero; give the length of the run")
		} else if !good(d.Length, 1e-9, mostLength) {
			at("length", "length %g m is outside 0 to %g m", d.Length, mostLength)
		}
		if d.Diameter == 0 {
			at("diameter", "diameter is zero; give the inside diameter or a pipe size")
			continue
		} else if !good(d.Diameter, leastDiameter, mostDiameter) {
			at("diameter", "inside diameter %g mm is outside %g to %g mm", d.Diameter*1e3, leastDiameter*1e3, mostDiameter*1e3)
			continue
		}
		if !good(d.Roughness, 0, d.Diameter/5) {
			at("roughness", "roughness %g mm must be between zero and a fifth of the diameter", d.Roughness*1e3)
			continue
		}
		if _, ok := n.Own.wall(d.Wall); d.Wall != "" && !ok {
			at("wall", "wall %q is not known; known are %s", d.Wall, strings.Join(WallKinds(), ", "))
		}
		if !good(d.Friction, 0.1, 50) {
			at("friction", "factor %g on the friction is outside 0.1 to 50", d.Friction)
			continue
		}
		for _, f := range d.Fittings {
			if _, ok := n.Own.fitting(f.Kind); !ok {
				at("fittings", "fitting %q is not known; known are %s", f.Kind, strings.Join(FittingKinds(), ", "))
			}
			if f.Count < 0 || f.Count > 100 {
				at("fittings", "%d times %s is outside 0 to 100", f.Count, f.Kind)
			}
		}
		if d.Transport != nil {
			c.transport("ducts", i, d.Name, *d.Transport)
		}
		c.rises(i)
	}
}

// rises asks that a duct's loss grows with its own flow: a negative coefficient may take from its friction,
// never more. Checked where it is hardest, laminar and at very high Re.
func (c *checker) rises(i int) {
	d := &c.n.Ducts[i]
	k := c.n.ductK(d)
	if !good(k, -100, 1e5) {
		c.say("ducts", i, d.Name, "loss", "the loss coefficients add up to %g; -100 to 100000 is accepted", k)
		return
	}
	if k >= 0 {
		return
	}
	l := d.Friction * d.Length / d.Diameter
	for _, re := range []float64{laminarEnd, turbulentStart, 1e5, 1e7} {
		f := FrictionFactor(re, d.Roughness/d.Diameter) * l
		grows := 2*k + float64(1.7*f) // d ln f/d ln Re is above -0.3 from Re 4000
		if re == laminarEnd {
			grows = 2*k + f
		}
		if grows <= 0 {
			c.say("ducts", i, d.Name, "loss", "the loss coefficients add up to %.4g, more negative than the friction of %g m can carry: the pressure would fall with a rising flow; give a larger loss", k, d.Length)
			return
		}
	}
}

// tree asks that every duct's way ends at the collector.
func (c *checker) tree() {
	n := c.n
	told := make([]bool, len(n.Ducts))
	for i := range n.Ducts {
		if to := n.Ducts[i].Into; to >= len(n.Ducts) || to < -1 {
			c.say("ducts", i, n.Ducts[i].Name, "into", "leads into a duct that does not exist; name a duct or the collector")
			told[i] = true
		}
	}
	for i := range n.Ducts {
		seen := make([]bool, len(n.Ducts))
		var way []string
		for d := i; d >= 0 && d < len(n.Ducts) && !told[d]; d = n.Ducts[d].Into {
			if seen[d] {
				if d == i {
					c.say("ducts", i, n.Ducts[i].Name, "into", "the ducts lead in a ring and never reach the collector: %s; let one of them lead to the collector",
						strings.Join(append(way, n.Ducts[d].Name), " -> "))
					for k := i; !told[k]; k = n.Ducts[k].Into {
						told[k] = true
					}
				}
				break
			}
			seen[d] = true
			way = append(way, n.Ducts[d].Name)
		}
	}
	feeds := make([]bool, len(n.Ducts))
	for i := range n.Ducts {
		if to := n.Ducts[i].Into; to >= 0 && to < len(n.Ducts) {
			feeds[to] = true
		}
	}
	for _, p := range n.Ports {
		if p.Duct >= 0 && p.Duct < len(n.Ducts) {
			feeds[p.Duct] = true
		}
	}
	for i, ok := range feeds {
		if !ok {
			c.say("ducts", i, n.Ducts[i].Name, "name", "no port and no duct leads into it; give it a port or take it out")
		}
	}
}

func (c *checker) ports() {
	n := c.n
	if len(n.Ports) > MaxPorts {
		c.say("ports", -1, "", "", "%d ports are more than the %d that one collector may have", len(n.Ports), MaxPorts)
	}
	for i, p := range n.Ports {
		at := func(field, format string, args ...any) { c.say("ports", i, p.Name, field, format, args...) }
		if p.Duct < 0 || p.Duct >= len(n.Ducts) {
			at("duct", "is on no duct; name the duct that starts at it")
		}
		if _, ok := n.Own.hood(p.Hood); p.Hood != "" && !ok {
			at("hood", "hood %q is not known; known are %s", p.Hood, strings.Join(HoodKinds(), ", "))
		}
		if !good(p.HoodLoss, 0, 1e5) {
			at("hood_loss", "hood loss %g is outside 0 to 100000", p.HoodLoss)
		}
		if !good(p.Airflow, 0, 30) {
			at("airflow", "wanted airflow %g m3/s is outside 0 to 30 m3/s", p.Airflow)
		}
	}
}

func (c *checker) gates() {
	n := c.n
	taken := map[int]string{}
	for i, g := range n.Gates {
		at := func(field, format string, args ...any) { c.say("gates", i, g.Name, field, format, args...) }
		if g.Number < 0 || g.Number > 63 {
			at("name", "is number %d; a shop has 64 gates at most", g.Number)
		} else if other, ok := taken[g.Number]; ok {
			at("name", "has the same number as gate %q", other)
		}
		taken[g.Number] = g.Name
		if g.Duct < 0 || g.Duct >= len(n.Ducts) {
			at("duct", "is on no duct; name the duct that it shuts")
			continue
		}
		d := n.Ducts[g.Duct].Diameter
		if area := math.Pi / 4 * d * d; !good(g.Leak, 0, area) {
			at("leak", "leak area %g mm2 must be between zero and the duct's own %.0f mm2", g.Leak*1e6, area*1e6)
		}
	}
}

func (c *checker) fan() {
	f := &c.n.Fan
	at := func(place int, field, format string, args ...any) { c.say("fan", place, "", field, format, args...) }
	if len(f.Curve) < 2 {
		at(-1, "curve", "one point is no curve; give at least two, or a guess from shutoff pressure and free flow")
		return
	}
	if !good(f.Density, 0.3, 3) {
		at(-1, "density", "density %g kg/m3 of the curve is not that of air; 1.2 kg/m3 is usual", f.Density)
	}
	if f.Kind != FanStatic && !good(f.Inlet, leastDiameter, mostDiameter) {
		at(-1, "inlet", "the curve's pressure needs the inside diameter where it was measured")
	}
	ok := c.falls("curve", f.Curve)
	if ok && f.Curve[0].Pressure <= 0 {
		at(0, "curve", "the fan makes no pressure and cannot move any air; give its curve from the maker's sheet")
	}
	if len(f.Power) > 0 {
		for k, p := range f.Power {
			if !good(p.Flow, 0, 100) || !good(p.Pressure, 0, 1e6) || k > 0 && p.Flow <= f.Power[k-1].Flow {
				at(k, "power", "the motor's power curve needs rising flows and powers from 0 to 1000 kW")
				break
			}
		}
	}
	if !good(f.Least, 0, 100) {
		at(-1, "least_flow", "least flow %g m3/s is outside 0 to 100 m3/s", f.Least)
	}
}

// falls asks that flows rise and pressures do not, and says where they do.
func (c *checker) falls(field string, pts []Point) bool {
	for k, p := range pts {
		switch {
		case !good(p.Flow, 0, 100) || !good(p.Pressure, -1e5, 1e5):
			c.say("fan", k, "", field, "%g m3/s and %g Pa is outside 0 to 100 m3/s and 100 kPa", p.Flow, p.Pressure)
		case k > 0 && p.Flow <= pts[k-1].Flow:
			c.say("fan", k, "", field, "flow %g m3/s does not rise above the %g m3/s before it; list the points by rising flow", p.Flow, pts[k-1].Flow)
		case k > 0 && p.Pressure > pts[k-1].Pressure:
			c.say("fan", k, "", field, "the curve rises from %g Pa to %g Pa at %g m3/s: with a rising piece there may be two operating points; leave the points of the hump out, so that the curve falls",
				pts[k-1].Pressure, p.Pressure, p.Flow)
		default:
			continue
		}
		return false
	}
	return true
}
