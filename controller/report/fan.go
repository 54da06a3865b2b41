package report

import (
	"fmt"
	"html"
	"math"
	"sort"
	"strconv"
	"strings"
)

// Size of the fan's chart, in its own units, and its margins.
const (
	chartWidth, chartHeight = 680.0, 400.0
	left, right, top, foot  = 66.0, 16.0, 18.0, 48.0
)

// Chart is the fan's curve with the operating points as SVG. Points are numbered in their order; a ring carries, a
// diamond creeps, a full square settles.
func (c *Collector) Chart() string {
	f := &c.Fan
	if len(f.Curve) == 0 {
		return ""
	}
	mostQ, mostP := 0.0, 0.0
	for _, p := range f.Curve {
		if p.Pressure >= 0 {
			mostQ, mostP = math.Max(mostQ, p.Flow), math.Max(mostP, p.Pressure)
		}
	}
	for _, p := range c.Points {
		mostQ = math.Max(mostQ, p.Flow*1.05)
	}
	stepQ, stepP := tick(mostQ), tick(mostP)
	mostQ, mostP = math.Ceil(mostQ/stepQ-1e-9)*stepQ, math.Ceil(mostP/stepP-1e-9)*stepP
	x := func(q float64) float64 { return left + q/mostQ*(chartWidth-left-right) }
	y := func(p float64) float64 { return chartHeight - foot - math.Max(0, p)/mostP*(chartHeight-top-foot) }
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="chart" viewBox="0 0 %g %g" role="img" aria-label="fan curve of %s">`, chartWidth, chartHeight, html.EscapeString(c.Name))
	for k := 0; float64(k)*stepQ <= mostQ*(1+1e-9); k++ {
		q := float64(k) * stepQ
		fmt.Fprintf(&b, `<path class="grid" d="M%.1f %gV%g"/><text x="%.1f" y="%g" text-anchor="middle">%s</text>`, x(q), top, chartHeight-foot, x(q), chartHeight-foot+18, number(q))
	}
	for k := 0; float64(k)*stepP <= mostP*(1+1e-9); k++ {
		p := float64(k) * stepP
		fmt.Fprintf(&b, `<path class="grid" d="M%g %.1fH%g"/><text x="%g" y="%.1f" text-anchor="end">%s</text>`, left, y(p), chartWidth-right, left-8, y(p)+4, number(p))
	}
	fmt.Fprintf(&b, `<path class="axis" d="M%g %gV%gH%g"/>`, left, top, chartHeight-foot, chartWidth-right)
	fmt.Fprintf(&b, `<text x="%g" y="%g" text-anchor="end">%s</text><text x="%g" y="%g">%s</text>`, chartWidth-right, chartHeight-8, html.EscapeString(f.FlowUnit), 6.0, 12.0, html.EscapeString(f.PressureUnit))
	for _, part := range []struct {
		class string
		on    bool
	}{{"curve", false}, {"curve on", true}} {
		var d []string
		for _, p := range f.Curve {
			if beyond := p.Flow > f.End*(1+1e-9); p.Pressure >= 0 && (beyond == part.on || part.on && p.Flow >= f.End*(1-1e-9)) {
				d = append(d, fmt.Sprintf("%.1f %.1f", x(p.Flow), y(p.Pressure)))
			}
		}
		if len(d) > 1 {
			fmt.Fprintf(&b, `<path class="%s" d="M%s"/>`, part.class, strings.Join(d, "L"))
		}
	}
	c.marks(&b, x, y)
	b.WriteString(`</svg>`)
	return b.String()
}

// marks draws the operating points. Points that lie on one another share a label; numbers of neighbours step up.
func (c *Collector) marks(b *strings.Builder, x, y func(float64) float64) {
	order := make([]int, len(c.Points))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, z int) bool { return c.Points[order[a]].Flow < c.Points[order[z]].Flow })
	// Labels stand above the curve and below it in turn, on each side on five steps.
	last, level := [2]float64{math.Inf(-1), math.Inf(-1)}, [2]int{}
	for side, k := 0, 0; k < len(order); side = 1 - side {
		p := c.Points[order[k]]
		px, py := x(p.Flow), y(p.Pressure)
		var label []string
		for ; k < len(order) && x(c.Points[order[k]].Flow)-px < 6; k++ {
			p = c.Points[order[k]]
			label = append(label, strconv.Itoa(order[k]+1))
			switch p.Grade {
			case Settles:
				fmt.Fprintf(b, `<rect class="mark settles" x="%.1f" y="%.1f" width="11" height="11"/>`, px-5.5, py-5.5)
			case Creeps:
				fmt.Fprintf(b, `<path class="mark creeps" d="M%.1f %.1fl7 7l-7 7l-7 -7z"/>`, px, py-7)
			default:
				fmt.Fprintf(b, `<circle class="mark carries" cx="%.1f" cy="%.1f" r="6"/>`, px, py)
			}
		}
		if px-last[side] < 60 {
			level[side]++
		} else {
			level[side] = 0
		}
		last[side] = px
		off := 16 + float64(level[side]%5)*15
		if side == 0 {
			fmt.Fprintf(b, `<path class="lead" d="M%.1f %.1fV%.1f"/><text x="%.1f" y="%.1f">%s</text>`, px, py-6, py-off, px+3, py-off+4, strings.Join(label, ", "))
		} else {
			fmt.Fprintf(b, `<path class="lead" d="M%.1f %.1fV%.1f"/><text x="%.1f" y="%.1f" text-anchor="end">%s</text>`, px, py+6, py+off, px-3, py+off+6, strings.Join(label, ", "))
		}
	}
}

// tick is a round step that divides an axis into about six.
func tick(most float64) float64 {
	if !(most > 0) {
		return 1
	}
	raw := most / 6
	power := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, m := range []float64{1, 2, 2.5, 5, 10} {
		if raw <= m*power*(1+1e-9) {
			return m * power
		}
	}
	return 10 * power
}

func number(v float64) string { return strconv.FormatFloat(math.Round(v*1e6)/1e6, 'f', -1, 64) }
