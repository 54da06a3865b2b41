package report

import (
	"fmt"
	"html"
	"sort"
	"strings"

	"ductwarden/controller/layout"
)

// Drawing is a collector's ducts as SVG. How a duct fares is told by its line, by its figure and by a word, never by
// colour alone.
func (c *Collector) Drawing() string {
	ducts := make([]layout.Duct, len(c.Ducts))
	for i, d := range c.Ducts {
		ducts[i].Into = d.Into
	}
	for _, p := range c.Ports {
		ducts[p.Duct].Port = true
	}
	t := layout.Place(ducts, 1)
	var b strings.Builder
	w, h := t.Size()
	fmt.Fprintf(&b, `<svg class="ducts" viewBox="0 0 %.0f %.0f" role="img" aria-label="ducts of %s">`, w, h, html.EscapeString(c.Name))
	order := make([]int, len(c.Ducts))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, z int) bool { return t.Depth[order[a]] > t.Depth[order[z]] })
	for _, i := range order {
		c.duct(&b, t, i)
	}
	x, y := t.X(0), t.Y(t.CollectorRow(0))
	b.WriteString(layout.Collector(x, y))
	for k, line := range layout.Wrap(c.Name, 13, 5) {
		fmt.Fprintf(&b, `<text class="name" x="%.0f" y="%.0f">%s</text>`, x+52, y-4+17*float64(k), html.EscapeString(line))
	}
	for _, g := range c.Gates {
		x, y := t.X(t.Depth[g.Duct]), t.Y(t.Row[g.Duct])
		b.WriteString(layout.Gate(x, y))
		if g.Hand {
			fmt.Fprintf(&b, `<text class="machine speed" x="%.0f" y="%.0f">gate by hand</text>`, x-2, y+24)
		}
	}
	at := map[int]int{} // labels already at a duct
	for _, p := range c.Ports {
		x, y := t.X(t.Depth[p.Duct])-8, t.Y(t.Row[p.Duct])+float64(at[p.Duct])*17
		at[p.Duct]++
		label := p.Name
		if len(p.Machines) > 0 {
			label = strings.Join(p.Machines, ", ")
		}
		fmt.Fprintf(&b, `<path class="mouth" d="M%.0f %.0fl-10 -9v18z"/><text class="machine" x="%.0f" y="%.0f">%s</text>`, x+4, y, x-14, y+5, html.EscapeString(layout.Short(label, 26)))
	}
	b.WriteString(`</svg>`)
	return b.String()
}

func (c *Collector) duct(b *strings.Builder, t *layout.Tree, i int) {
	d := c.Ducts[i]
	from, to, y, end := t.Run(i)
	grade := d.Grade
	if grade == "" {
		grade = "unused"
	}
	fmt.Fprintf(b, `<g class="%s"><title>%s</title>`, grade, html.EscapeString(d.Name))
	fmt.Fprintf(b, `<path class="pipe" d="M%.0f %.0fH%.0fV%.0f" stroke-width="%d"/>`, from, y, to, end, layout.Stroke(d.Diameter))
	fmt.Fprintf(b, `<path class="way" d="M%.0f %.0fl6 4l-6 4"/>`, to-24, y-4)
	fmt.Fprintf(b, `<text class="name" x="%.0f" y="%.0f">%s</text>`, from+30, y-10, html.EscapeString(layout.Short(d.Name, 20)))
	said := d.Size
	if d.Speed != "" {
		said += ", " + d.Speed
	}
	if d.Grade == Creeps || d.Grade == Settles {
		said += " " + strings.ToUpper(d.Grade)
	}
	fmt.Fprintf(b, `<text class="speed" x="%.0f" y="%.0f">%s</text></g>`, from+30, y+20, html.EscapeString(said))
}
