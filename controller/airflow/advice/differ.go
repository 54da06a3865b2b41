package advice

import (
	"fmt"
	"math"
	"strings"

	"ductwarden/controller/airflow"
)

// Difference is one thing that differs between two networks.
type Difference struct {
	Of    string `json:"of"` // duct, port, gate, fan, filter, air, transport
	Name  string `json:"name,omitempty"`
	Field string `json:"field"` // new, gone, or what differs
	Was   Figure `json:"was"`
	Is    Figure `json:"is"`
}

// Figure is a value with what it is: a length in m, a wall, a count.
type Figure struct {
	Kind  string  `json:"kind"` // length, flow, speed, density, text, none
	Value float64 `json:"value,omitempty"`
	Text  string  `json:"text,omitempty"`
}

func length(v float64) Figure { return Figure{Kind: "length", Value: v} }
func word(s string) Figure    { return Figure{Kind: "text", Text: s} }

// Differences lists what differs between two networks, by name, in the order of the new one.
func Differences(was, is *airflow.Network) []Difference {
	var out []Difference
	say := func(of, name, field string, a, b Figure) {
		if a.Text != b.Text || math.Abs(a.Value-b.Value) > 1e-9*math.Max(math.Abs(a.Value), math.Abs(b.Value)) {
			out = append(out, Difference{Of: of, Name: name, Field: field, Was: a, Is: b})
		}
	}
	none := Figure{Kind: "none"}
	ducts := func(n *airflow.Network) map[string]*airflow.Duct {
		m := map[string]*airflow.Duct{}
		for i := range n.Ducts {
			m[n.Ducts[i].Name] = &n.Ducts[i]
		}
		return m
	}
	into := func(n *airflow.Network, d *airflow.Duct) string {
		if d.Into < 0 {
			return n.Name
		}
		return n.Ducts[d.Into].Name
	}
	before, after := ducts(was), ducts(is)
	for i := range is.Ducts {
		d := &is.Ducts[i]
		o := before[d.Name]
		if o == nil {
			out = append(out, Difference{Of: "duct", Name: d.Name, Field: "new", Was: none, Is: length(d.Diameter)})
			continue
		}
		say("duct", d.Name, "diameter", length(o.Diameter), length(d.Diameter))
		say("duct", d.Name, "length", length(o.Length), length(d.Length))
		say("duct", d.Name, "wall", word(o.Wall), word(d.Wall))
		say("duct", d.Name, "into", word(into(was, o)), word(into(is, d)))
		say("duct", d.Name, "fittings", word(fittings(o)), word(fittings(d)))
	}
	for i := range was.Ducts {
		if d := &was.Ducts[i]; after[d.Name] == nil {
			out = append(out, Difference{Of: "duct", Name: d.Name, Field: "gone", Was: length(d.Diameter), Is: none})
		}
	}
	ports := map[string]airflow.Port{}
	for _, p := range was.Ports {
		ports[p.Name] = p
	}
	for _, p := range is.Ports {
		o, ok := ports[p.Name]
		if !ok {
			out = append(out, Difference{Of: "port", Name: p.Name, Field: "new", Was: none, Is: Figure{Kind: "flow", Value: p.Airflow}})
			continue
		}
		say("port", p.Name, "wanted air", Figure{Kind: "flow", Value: o.Airflow}, Figure{Kind: "flow", Value: p.Airflow})
		say("port", p.Name, "hood loss", word(fmt.Sprintf("%.3g", o.HoodLoss)), word(fmt.Sprintf("%.3g", p.HoodLoss)))
		delete(ports, p.Name)
	}
	for _, p := range was.Ports {
		if _, left := ports[p.Name]; left {
			out = append(out, Difference{Of: "port", Name: p.Name, Field: "gone", Was: none, Is: none})
		}
	}
	gate := func(g airflow.Gate) string {
		if g.Hand {
			return "by hand"
		}
		return map[airflow.Relief]string{airflow.ReliefAllowed: "opens for its air", airflow.ReliefPreferred: "opens for its air, preferred", airflow.ReliefNever: "never for its air"}[g.Relief]
	}
	gates := map[string]string{}
	for _, g := range was.Gates {
		gates[g.Name] = gate(g)
	}
	for _, g := range is.Gates {
		o, ok := gates[g.Name]
		if !ok {
			o = "none"
		}
		say("gate", g.Name, "relief", word(o), word(gate(g)))
		delete(gates, g.Name)
	}
	for _, g := range was.Gates {
		if _, left := gates[g.Name]; left {
			out = append(out, Difference{Of: "gate", Name: g.Name, Field: "gone", Was: none, Is: none})
		}
	}
	whither := func(n *airflow.Network) string {
		if n.Outdoors {
			return "outdoors"
		}
		return "into the room"
	}
	say("collector", is.Name, "blows", word(whither(was)), word(whither(is)))
	say("transport", "", "carries", Figure{Kind: "speed", Value: was.Transport.Carries}, Figure{Kind: "speed", Value: is.Transport.Carries})
	say("air", "", "density", Figure{Kind: "density", Value: was.Air.Density}, Figure{Kind: "density", Value: is.Air.Density})
	say("fan", is.Name, "curve", word(curve(was)), word(curve(is)))
	say("filter", is.Name, "loss", word(fmt.Sprint(was.Filter)), word(fmt.Sprint(is.Filter)))
	return out
}

// fittings writes a duct's fittings and its further loss, so that a difference shows.
func fittings(d *airflow.Duct) string {
	var parts []string
	for _, f := range d.Fittings {
		if f.Count > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", f.Count, strings.ReplaceAll(f.Kind, "_", " ")))
		}
	}
	if d.Loss != 0 {
		parts = append(parts, fmt.Sprintf("loss %.3g", d.Loss))
	}
	return strings.Join(parts, ", ")
}

func curve(n *airflow.Network) string { return fmt.Sprint(n.Fan.Curve, n.Fan.Density, n.Fan.Kind) }
