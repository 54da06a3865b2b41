package main

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"time"

	"ductwarden/config"
	"ductwarden/controller/airflow"
	"ductwarden/controller/cautions"
	"ductwarden/controller/report"
	"ductwarden/gates"
)

// writeReport writes the survey as one page.
func (s *surveyed) writeReport(path string, found surveyFound) error {
	r := s.report(found)
	r.Made = time.Now().Format("2 January 2006")
	var page bytes.Buffer
	if err := report.Page(&page, r); err != nil {
		return err
	}
	return replaceFile(path, page.Bytes())
}

// report is the survey as pages take it: figures in the person's units.
func (s *surveyed) report(found surveyFound) *report.Survey {
	out := &report.Survey{Shop: s.file.Name, NotJudged: s.file.NotJudged(), Most: s.mendsMost(found.counsel)}
	for _, n := range s.notes(found) {
		out.Notes = append(out.Notes, n.text)
	}
	if s.file.Fitted != nil {
		out.Fitted = "fitted to readings of " + s.file.Fitted.Measured
	}
	for _, t := range s.trees {
		out.Collectors = append(out.Collectors, s.reportTree(t, found.demands))
		out.Facts = append(out.Facts, s.facts(t)...)
	}
	for _, d := range sorted(found.demands) {
		if row := s.reportDemand(d, found.counsel); d.Asked {
			out.Demands = append(out.Demands, row)
		} else {
			out.Others = append(out.Others, row)
		}
	}
	slices.Reverse(out.Others)
	out.Matrix = s.matrix(found.demands)
	for _, m := range found.makeUp {
		out.MakeUp = append(out.MakeUp, report.MakeUp{Text: s.sayMakeUp(m), Caution: m.Caution})
	}
	for _, c := range cautions.At(cautions.Verb("survey")) {
		out.Cautions = append(out.Cautions, report.CautionText{Title: c.Title, Text: c.Text})
	}
	return out
}

func (s *surveyed) reportDemand(d treeDemand, c counsel) report.Demand {
	k := d.Decisive()
	v := k.Verdict
	row := report.Demand{Machines: s.machines(d.Machines), Together: d.Asked && d.Machines.Len() > 1, Open: s.names(k.Open), Grade: gradeWord(v.Grade),
		Margin: inPercent(v.Margin, true), Share: inPercent(v.Share, false), Sure: surely(k.Sure), Clean: brief(d.Clean().Verdict), Remedies: []report.Remedy{}}
	row.Weakest, row.Speed, row.Asked = s.slowest(d.tree, k.Open, k.State, v)
	if d.Theft >= 0 {
		thief := &d.Cases[d.Theft]
		row.Theft = strings.Join(s.names(thief.Open&^k.Open), ", ") + ": " + brief(thief.Verdict)
	}
	if v.Grade != airflow.Carries {
		row.Why = s.why(d)
	}
	a, ok := c.of(d)
	if !ok {
		return row
	}
	row.Short = a.Lacks == "air"
	u := s.adviceUnits()
	if best := a.Best(); best != nil && !d.Asked && !c.whole {
		row.Remedies = []report.Remedy{{Kind: string(best.Kind), Text: best.Brief(u)}}
		return row
	}
	for _, r := range a.Remedies {
		row.Remedies = append(row.Remedies, report.Remedy{Kind: string(r.Kind), Text: r.Say(u), Costs: r.Costs()})
	}
	if len(a.Remedies) == 0 {
		row.None = a.None(u)
	}
	return row
}

// reportTree is a collector with how its ducts fare in what must carry.
func (s *surveyed) reportTree(t *airTree, demands []treeDemand) report.Collector {
	n := t.model.Network()
	out := report.Collector{Name: n.Name, Guess: n.Fan.Guess}
	worst := make([]airflow.Grade, len(n.Ducts))
	speed := make([]float64, len(n.Ducts))
	fails := make([][]string, len(n.Ducts))
	seen := make([]bool, len(n.Ducts))
	for _, d := range sorted(demands) {
		if d.tree != t || !d.Asked {
			continue
		}
		k := d.Decisive()
		r := t.solver.Solve(k.Open, k.State)
		out.Points = append(out.Points, report.Working{Point: s.onChart(r.FanFlow, r.FanPressure), Machines: s.machines(d.Machines), Grade: gradeWord(k.Verdict.Grade),
			Text: strings.ReplaceAll(fmt.Sprintf("%s at %s, %s", s.flow(r.FanFlow), s.pressure(r.FanPressure), brief(k.Verdict)), " %", "\u00a0%")})
		for i := range n.Ducts {
			if t.model.PortsAbove(i)&d.Ports == 0 {
				continue
			}
			g := ductGrade(t.model.Transport(i), r.Velocity[i])
			if g != airflow.Carries {
				fails[i] = append(fails[i], fmt.Sprintf("%s: %s, %s", strings.Join(s.machines(d.Machines), " + "), s.speed(r.Velocity[i]), g))
			}
			if !seen[i] || r.Velocity[i] < speed[i] {
				seen[i], speed[i], worst[i] = true, r.Velocity[i], g
			}
		}
	}
	for i, d := range n.Ducts {
		row := report.Duct{Name: d.Name, Into: d.Into, Diameter: d.Diameter, Size: s.size(t, i), Fails: fails[i]}
		if seen[i] {
			row.Grade, row.Speed = worst[i].String(), s.speed(speed[i])
		}
		out.Ducts = append(out.Ducts, row)
	}
	for i, p := range n.Ports {
		row := report.Port{Name: p.Name, Duct: p.Duct}
		for _, m := range t.tree.Machines {
			for _, q := range m.Ports {
				if q == i {
					row.Machines = append(row.Machines, m.Name)
				}
			}
		}
		out.Ports = append(out.Ports, row)
	}
	for _, g := range n.Gates {
		out.Gates = append(out.Gates, report.Gate{Name: g.Name, Duct: g.Duct, Hand: g.Hand})
	}
	out.Fan = s.fanChart(t, out.Points)
	return out
}

// ductGrade is how air of a speed moves chips in one duct.
func ductGrade(tr airflow.Transport, speed float64) airflow.Grade {
	switch {
	case airflow.RatioOf(speed/tr.Settles-1) < 0:
		return airflow.Settles
	case airflow.RatioOf(speed/tr.Carries-1) < airflow.RatioOf(tr.Margin):
		return airflow.Creeps
	}
	return airflow.Carries
}

// size is a duct's diameter, or the nominal size that the person gave.
func (s *surveyed) size(t *airTree, duct int) string {
	if p := s.file.Ducts[t.tree.Ducts[duct]].Pipe; p != "" {
		return p
	}
	return config.FormatQuantity(config.Length, t.model.Network().Ducts[duct].Diameter, s.file.Units)
}

// chartUnits are those of the fan's chart.
func (s *surveyed) chartUnits() (flow, pressure string) {
	if s.file.Units == config.US {
		return "cfm", "inH2O"
	}
	return "m3/h", "Pa"
}

// onChart is a point in the person's units.
func (s *surveyed) onChart(flow, pressure float64) report.Point {
	f, p := s.chartUnits()
	return report.Point{Flow: flow / unitSize(config.Flow, f), Pressure: pressure / unitSize(config.Pressure, p)}
}

// unitSize is one of a unit in SI.
func unitSize(kind config.Kind, unit string) float64 {
	v, err := config.ParseQuantity(kind, "1 "+unit)
	if err != nil {
		return 1
	}
	return v
}

func (s *surveyed) fanChart(t *airTree, points []report.Working) report.FanChart {
	const pieces = 60
	var c report.FanChart
	c.FlowUnit, c.PressureUnit = s.chartUnits()
	curve := t.model.Network().Fan.Curve
	end := curve[len(curve)-1].Flow
	c.End = s.onChart(end, 0).Flow
	most := c.End
	for _, p := range points {
		most = max(most, p.Flow*1.03)
	}
	scale := c.End / end
	for k := range pieces + 1 {
		q := end * float64(k) / pieces
		c.Curve = append(c.Curve, s.onChart(q, t.model.FanStaticAt(q)))
	}
	for k := 1; most > c.End && k <= pieces/4; k++ {
		q := end + float64(k)*(most/scale-end)/(pieces/4)
		c.Curve = append(c.Curve, s.onChart(q, t.model.FanStaticAt(q)))
	}
	return c
}

// matrix says who runs with whom, of the machines whose air is judged.
func (s *surveyed) matrix(demands []treeDemand) report.Matrix {
	var all gates.Set
	for _, d := range demands {
		all |= d.Machines
	}
	at := map[int]int{}
	m := report.Matrix{Machines: s.machines(all)}
	for i := range all.All() {
		at[i] = len(at)
	}
	m.Cells = make([][]report.Cell, len(at))
	for i := range m.Cells {
		m.Cells[i] = make([]report.Cell, len(at))
	}
	for _, d := range demands {
		if d.Machines.Len() > 2 {
			continue
		}
		v := d.Decisive().Verdict
		cell := report.Cell{Grade: gradeWord(v.Grade), Margin: inPercent(v.Margin, true), Open: s.opened(d.Decisive().Open)}
		for i := range d.Machines.All() {
			for j := range d.Machines.All() {
				if i != j || d.Machines.Len() == 1 {
					m.Cells[at[i]][at[j]] = cell
				}
			}
		}
	}
	return m
}

// facts are the figures of a collector's air with their sources.
func (s *surveyed) facts(t *airTree) []report.Fact {
	var out []report.Fact
	for _, x := range t.model.Sources() {
		out = append(out, report.Fact{About: x.About, Kind: x.Kind, Value: value(x), Spread: spread(x), Source: fmt.Sprintf("%s (%s)%s", x.From, x.Mark, because(x))})
	}
	return out
}
