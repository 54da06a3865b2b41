package panel

import (
	"fmt"
	"html"
	"sort"
	"strings"

	"ductwarden/controller/layout"
)

// gaugeWidth is that of a duct's gauge, in the drawing's own units.
const gaugeWidth = 92

// drawing is one shop on its layout.
type drawing struct {
	shop *Shop
	*layout.Tree
}

func layOut(s *Shop) *drawing {
	ducts := make([]layout.Duct, len(s.Ducts))
	for i, u := range s.Ducts {
		ducts[i] = layout.Duct{Into: u.Into, Collector: u.Collector}
	}
	for _, p := range s.Ports {
		ducts[p.Duct].Port = true
	}
	return &drawing{shop: s, Tree: layout.Place(ducts, len(s.Collectors))}
}

// Draw returns the shop as SVG. Each duct, gate, machine and collector is a group whose id the live page finds
// again; the drawing itself says nothing by colour alone.
func Draw(s *Shop) string {
	d := layOut(s)
	var b strings.Builder
	width, height := d.Size()
	fmt.Fprintf(&b, `<svg class="tree" viewBox="0 0 %.0f %.0f" role="group" aria-label="%s">`, width, height, html.EscapeString(s.Name))
	order := make([]int, len(s.Ducts))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, c int) bool { return d.Depth[order[a]] > d.Depth[order[c]] })
	for _, i := range order {
		d.duct(&b, i)
	}
	for c := range s.Collectors {
		d.collector(&b, c)
	}
	for i, g := range s.Gates {
		if g.Duct >= 0 {
			d.gate(&b, i)
		}
	}
	d.machines(&b)
	b.WriteString(`</svg>`)
	return b.String()
}

func (d *drawing) duct(b *strings.Builder, i int) {
	u := d.shop.Ducts[i]
	id := html.EscapeString(u.ID)
	from, to, y, end := d.Run(i)
	fmt.Fprintf(b, `<g id="duct-%s" class="duct idle" role="img"><title>%s</title>`, id, html.EscapeString(u.Name))
	fmt.Fprintf(b, `<path class="pipe" d="M%.0f %.0fH%.0fV%.0f" stroke-width="%d"/>`, from, y, to, end, layout.Stroke(u.Diameter))
	mid := to - 16
	fmt.Fprintf(b, `<path class="way" d="M%.0f %.0fl9 6l-9 6"/>`, mid-10, y-6)
	fmt.Fprintf(b, `<text class="name" x="%.0f" y="%.0f">%s</text>`, from+34, y-12, html.EscapeString(layout.Short(u.Name, 18)))
	fmt.Fprintf(b, `<rect class="gauge" x="%.0f" y="%.0f" width="%d" height="8"/>`, from+34, y+10, gaugeWidth)
	fmt.Fprintf(b, `<rect class="fill" x="%.0f" y="%.0f" width="0" height="8"/>`, from+34, y+10)
	// The mark is where the asked air speed lies: two thirds along, so that half as much again still fits.
	fmt.Fprintf(b, `<path class="mark" d="M%.0f %.0fv14"/>`, from+34+float64(gaugeWidth)*2/3, y+7)
	fmt.Fprintf(b, `<text class="speed" x="%.0f" y="%.0f"></text></g>`, from+34, y+32)
}

func (d *drawing) collector(b *strings.Builder, c int) {
	x, y := d.X(0), d.Y(d.CollectorRow(c))
	fmt.Fprintf(b, `<g id="collector-%s" class="collector off" role="img"><title>%s</title>`, html.EscapeString(d.shop.Collectors[c].ID), html.EscapeString(d.shop.Collectors[c].Name))
	b.WriteString(layout.Collector(x, y))
	name := layout.Wrap(d.shop.Collectors[c].Name, 12, 3) // above the phase, the last line nearest to it
	for k, line := range name {
		fmt.Fprintf(b, `<text class="name" x="%.0f" y="%.0f">%s</text>`, x+56, y-8-17*float64(len(name)-1-k), html.EscapeString(line))
	}
	fmt.Fprintf(b, `<text class="phase" x="%.0f" y="%.0f"></text></g>`, x+56, y+14)
}

func (d *drawing) gate(b *strings.Builder, i int) {
	g := d.shop.Gates[i]
	x, y := d.X(d.Depth[g.Duct]), d.Y(d.Row[g.Duct])
	fmt.Fprintf(b, `<g id="gate-%s" class="gate unknown" role="img"><title>%s</title>`, html.EscapeString(g.ID), html.EscapeString(g.Name))
	b.WriteString(layout.Gate(x, y))
	fmt.Fprintf(b, `<text class="doubt" x="%.0f" y="%.0f">?</text>`, x+8, y-22)
	if g.Hand {
		fmt.Fprintf(b, `<text class="hand" x="%.0f" y="%.0f">H</text>`, x+8, y+32)
	}
	b.WriteString(`</g>`)
}

// machines stand at the left, at the ports that they name.
func (d *drawing) machines(b *strings.Builder) {
	at := map[int]int{} // labels already at a duct
	for _, p := range d.shop.Ports {
		var ids, names []string
		for _, m := range d.shop.Machines {
			for _, name := range m.Ports {
				if name == p.Name {
					ids, names = append(ids, m.ID), append(names, m.Name)
				}
			}
		}
		x, y := d.X(d.Depth[p.Duct])-12, d.Y(d.Row[p.Duct])+float64(at[p.Duct])*18
		at[p.Duct]++
		label := p.Name
		if len(names) > 0 {
			label = strings.Join(names, ", ")
		}
		fmt.Fprintf(b, `<g class="machine idle" data-machines="%s" role="img"><title>%s</title><circle class="lamp" cx="%.0f" cy="%.0f" r="7"/><text class="name" x="%.0f" y="%.0f">%s</text></g>`,
			html.EscapeString(strings.Join(ids, " ")), html.EscapeString(label), x, y, x-14, y+5, html.EscapeString(layout.Short(label, 22)))
	}
}
