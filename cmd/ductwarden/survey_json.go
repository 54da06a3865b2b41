package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"io"
	"math"
	"strconv"
	"strings"

	"ductwarden/controller/airflow"
)

// figure is a number with nine significant digits; null where it is undefined.
type figure float64

// MarshalJSON writes the number.
func (f figure) MarshalJSON() ([]byte, error) {
	if math.IsNaN(float64(f)) || math.IsInf(float64(f), 0) {
		return []byte("null"), nil
	}
	return strconv.AppendFloat(nil, float64(f)+0, 'g', 9, 64), nil
}

type ductRow struct {
	Duct     string `json:"duct"`
	Flow     figure `json:"flow_m3_s"`
	Velocity figure `json:"velocity_m_s"`
	Static   figure `json:"static_pressure_pa"` // gauge, at the downstream end
}

type portRow struct {
	Port  string `json:"port"`
	Flow  figure `json:"flow_m3_s"`
	Share figure `json:"share"`
}

type patternRow struct {
	Collector   string    `json:"collector,omitempty"` // only where a shop has several
	Open        []string  `json:"open"`
	Filter      string    `json:"filter"`
	Carries     bool      `json:"carries"`
	Transport   string    `json:"transport"`
	Margin      figure    `json:"margin"`
	Weakest     *string   `json:"weakest_duct"`
	FanFlow     figure    `json:"fan_flow_m3_s"`
	FanPressure figure    `json:"fan_pressure_pa"`
	Ducts       []ductRow `json:"ducts"`
	Ports       []portRow `json:"ports"`
}

type demandRow struct {
	Collector string   `json:"collector,omitempty"`
	Machines  []string `json:"machines"`
	Filter    string   `json:"filter"`
	Open      []string `json:"open"`
	Carries   bool     `json:"carries"`
	Transport string   `json:"transport"`
	Margin    figure   `json:"margin"`
	Weakest   *string  `json:"weakest_duct"`
	Share     figure   `json:"share"`
	Sure      figure   `json:"sure"`
}

// patternRow judges one pattern; there every open gate counts as demanded.
func (s *surveyed) patternRow(p treePattern) patternRow {
	m, n := p.tree.model, p.tree.model.Network()
	demand := m.Demanded(p.open)
	v := p.tree.solver.JudgeAs(p.open, demand, p.state)
	r := p.tree.solver.Solve(p.open, p.state)
	row := patternRow{
		Collector: s.which(p.tree), Open: s.names(p.open), Filter: p.state.String(), Carries: v.Grade == airflow.Carries,
		Transport: v.Grade.String(), Margin: figure(math.NaN()), FanFlow: figure(r.FanFlow), FanPressure: figure(r.FanPressure),
	}
	if margin, duct, ok := m.ExactMargin(r, demand); ok {
		row.Margin, row.Weakest = figure(margin), &n.Ducts[duct].Name
	}
	for i := range n.Ducts {
		row.Ducts = append(row.Ducts, ductRow{n.Ducts[i].Name, figure(r.Flow[i]), figure(r.Velocity[i]), figure(r.Static[i])})
	}
	for i := range n.Ports {
		row.Ports = append(row.Ports, portRow{n.Ports[i].Name, figure(r.PortFlow[i]), share(r, n, i)})
	}
	return row
}

// share is flow over wanted at a port, undefined where nothing is wanted.
func share(r *airflow.Result, n *airflow.Network, port int) figure {
	if n.Ports[port].Airflow <= 0 {
		return figure(math.NaN())
	}
	return figure(r.PortFlow[port] / n.Ports[port].Airflow)
}

// demandRows are the cases of a demand.
func (s *surveyed) demandRows(d treeDemand) []demandRow {
	m, n := d.tree.model, d.tree.model.Network()
	var out []demandRow
	for _, k := range d.Cases {
		r := d.tree.solver.Solve(k.Open, k.State)
		row := demandRow{
			Collector: s.which(d.tree), Machines: s.machines(d.Machines), Filter: k.State.String(), Open: s.names(k.Open),
			Carries: k.Verdict.Grade == airflow.Carries, Transport: k.Verdict.Grade.String(), Margin: figure(math.NaN()),
			Share: figure(math.NaN()), Sure: figure(k.Sure.Float()),
		}
		if margin, duct, ok := m.ExactMargin(r, d.Ports); ok {
			row.Margin, row.Weakest = figure(margin), &n.Ducts[duct].Name
		}
		for i := range d.Ports.All() {
			if x := share(r, n, i); !math.IsNaN(float64(x)) && !(float64(row.Share) <= float64(x)) {
				row.Share = x
			}
		}
		out = append(out, row)
	}
	return out
}

// which names a tree's collector where a shop has several.
func (s *surveyed) which(t *airTree) string {
	if !s.many {
		return ""
	}
	return t.model.Network().Name
}

// writeJSON writes the whole survey, a row on each line.
func (s *surveyed) writeJSON(w io.Writer, patterns []treePattern, found surveyFound) error {
	out := newLines(w)
	out.raw(`{"patterns":[`)
	for i, p := range patterns {
		out.comma(i)
		out.json(s.patternRow(p))
	}
	out.raw(`],"demands":[`)
	i := 0
	for _, d := range found.demands {
		for _, row := range s.demandRows(d) {
			out.comma(i)
			out.json(row)
			i++
		}
	}
	out.raw(`],"advice":[`)
	for i, a := range found.counsel.list {
		out.comma(i)
		out.json(adviceRow{s.which(a.tree), a.Advice})
	}
	out.raw(`],"advice_left_out":` + strconv.Itoa(found.counsel.left) + `,"make_up_air":[`)
	for i, m := range found.makeUp {
		out.comma(i)
		out.json(m)
	}
	out.raw("]}")
	return out.Flush()
}

// lines writes rows and keeps the first error.
type lines struct {
	*bufio.Writer
	err error
}

func newLines(w io.Writer) *lines { return &lines{Writer: bufio.NewWriterSize(w, 1<<16)} }

func (l *lines) raw(s string) {
	if l.err == nil {
		_, l.err = l.WriteString(s + "\n")
	}
}

func (l *lines) text(s string) { l.raw(s) }

func (l *lines) comma(i int) {
	if i > 0 && l.err == nil {
		l.err = l.WriteByte(',')
	}
}

func (l *lines) json(row any) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(row); err != nil && l.err == nil {
		l.err = err
	}
	l.raw(strings.TrimSuffix(b.String(), "\n"))
}

// Flush writes what is left and returns the first error.
func (l *lines) Flush() error {
	if err := l.Writer.Flush(); l.err == nil {
		l.err = err
	}
	return l.err
}
