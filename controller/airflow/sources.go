package airflow

import "fmt"

// Source is one figure that a model was made with, and where it comes from.
type Source struct {
	About  string // "wall", "fitting", "hood", "gate leak", "transport", "air", "fan", "friction", ...
	Kind   string
	Value  float64
	Unit   string
	From   string
	Mark   Mark
	Spread float64 // 0: taken as exact
	Why    string  // of the spread
	Uses   int     // how many things in the network have it
}

// Sources lists the figures that the model was made with: tables first, in their order, each kind once.
func (m *Model) Sources() []Source {
	n := &m.net
	var out []Source
	add := func(about, kind string, value float64, unit string, c Coefficient) {
		for i := range out {
			if s := &out[i]; s.About == about && s.Kind == kind && s.Value == value {
				s.Uses++
				return
			}
		}
		out = append(out, Source{About: about, Kind: kind, Value: value, Unit: unit, From: c.Source, Mark: c.Mark, Spread: c.Spread, Why: c.Why, Uses: 1})
	}
	own := Coefficient{Source: "shop file", Mark: Given, Spread: givenSpread, Why: "common practice for a figure of one's own"}
	for i := range n.Ducts {
		d := &n.Ducts[i]
		c, ok := n.Own.wall(d.Wall)
		switch {
		case !ok || c.Value != d.Roughness:
			c := own
			c.Spread, c.Why = roughSpread, "common practice; a roughness is hardly ever measured"
			add("roughness", d.Name, d.Roughness*1e3, "mm", c)
		default:
			add("roughness", d.Wall, c.Value*1e3, "mm", c)
		}
		switch {
		case d.Friction == 1:
		case ok && d.Friction == c.Friction:
			add("friction factor", d.Wall, d.Friction, "", c)
		default:
			add("friction factor", d.Name, d.Friction, "", Coefficient{Source: "shop file, from how far the hose is compressed", Mark: Given, Spread: c.Spread, Why: c.Why})
		}
	}
	for i := range n.Ducts {
		for _, f := range n.Ducts[i].Fittings {
			c, _ := n.Own.fitting(f.Kind)
			for range f.Count {
				add("fitting", f.Kind, c.Value, "", c)
			}
		}
		if l := n.Ducts[i].Loss; l != 0 {
			add("loss", n.Ducts[i].Name, l, "", own)
		}
	}
	for _, p := range n.Ports {
		if c, ok := n.Own.hood(p.Hood); ok && c.Value == p.HoodLoss {
			add("hood", p.Hood, c.Value, "", c)
		} else {
			add("hood", p.Name, p.HoodLoss, "", own)
		}
	}
	for _, g := range n.Gates {
		c := Coefficient{Source: "shop file", Mark: Given, Spread: leakSpread, Why: "no published leakage of closed blast gates was found"}
		if near(g.Leak, GapLeak(n.Ducts[g.Duct].Diameter, DefaultGap)) {
			c.Source, c.Mark = fmt.Sprintf("a gap of %g mm all around, usual for hand-made gates", DefaultGap*1e3), Practice
		}
		add("open area when closed", g.Name, g.Leak*1e6, "mm2", c)
	}
	return append(out, n.fixedSources()...)
}

func near(a, b float64) bool { return a > b*(1-1e-9) && a < b*(1+1e-9) }

// fixedSources are the figures that every model has.
func (n *Network) fixedSources() []Source {
	fan, why := "shop file, the maker's sheet", "10 % is a normal tolerance (fan makers' and Eurovent papers, read in a secondary page)"
	spread := float64(sheetSpread)
	if n.Fan.Guess {
		fan, why, spread = "a guess: a parabola through a nameplate's shutoff pressure and free flow", "common practice; the shape is not known", guessSpread
	}
	out := []Source{
		{About: "transport speed", Value: n.Transport.Carries, Unit: "m/s", From: "shop file; 20 m/s is TRGS 553 (2022) Anhang 2", Mark: Given},
		{About: "settling speed", Value: n.Transport.Settles, Unit: "m/s", From: "shop file; ACGIH as repeated in a government guidance: 15.2 m/s for dry dust with light shavings", Mark: Given},
		{About: "air density", Value: n.Air.Density, Unit: "kg/m3", From: "US Standard Atmosphere by altitude, ideal gas; or shop file", Mark: Computed},
		{About: "air viscosity", Value: n.Air.Viscosity * 1e6, Unit: "uPa s", From: "Sutherland, constants of the US Standard Atmosphere 1976; or shop file", Mark: Computed},
		{About: "friction law", From: "64/Re to Re 2000 (EPANET 2.2 user manual), Colebrook-White solved from 4000, straight between", Mark: Read, Spread: frictionSpread, Why: "published charts lie 1 to 12 % above it"},
		{About: "leak discharge", Value: OrificeCd, From: "sharp-edged orifice, ACGIH Fig. 3-16", Mark: Secondary},
		{About: "junctions", From: "constant coefficients; Crane TP-410's flow-ratio formula in the draws", Mark: Computed},
	}
	if len(n.Fan.Curve) > 0 {
		out = append(out, Source{About: "fan curve", Kind: n.Name, From: fan, Mark: Given, Spread: spread, Why: why},
			Source{About: "fan laws", Kind: n.Name, Value: n.Air.Density / n.Fan.Density, From: "pressure and power go with the density (ORNL AMO tools)", Mark: Read})
	}
	if n.Filter != (Filter{}) {
		out = append(out, Source{About: "filter", Kind: n.Name, From: "shop file", Mark: Given, Spread: filterSpread, Why: "common practice; dust, weather and shaking"})
	}
	return append(out,
		Source{About: "too fast", Value: FastSpeed, Unit: "m/s", From: dguvSource, Mark: Read},
		Source{About: "port suction", Value: PortLimit, Unit: "Pa", From: dguvSource, Mark: Read})
}
