package advice

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"ductwarden/controller/airflow"
	"ductwarden/controller/plan"
	"ductwarden/gates"
)

// Shop is one collector's ducts and machines, as the program runs them.
type Shop struct {
	Network  airflow.Network
	Machines []plan.Machine
	Options  plan.Options
	Together []gates.Set // sets of machines that the person named
	Gates    int         // of the whole shop, other collectors' included: a new one takes the next number
	Pipes    []string    // nominal size of each duct, "" where a diameter was given; may be short
	Inches   bool        // the person counts in inches: decides between series of pipe that both fit

	asIs *airflow.Model // of Network, once it is made
}

func (s *Shop) crews() []airflow.Crew {
	var members []airflow.Member
	for _, m := range s.Machines {
		members = append(members, airflow.Member{Number: m.Number, Ports: m.Ports})
	}
	return airflow.Crews(members, s.Together)
}

func (s *Shop) names(machines gates.Set) []string {
	out := []string{}
	for _, m := range s.Machines {
		if machines.Has(m.Number) {
			out = append(out, m.Name)
		}
	}
	return out
}

// trial is a network ready to be asked, with a planner of its own.
type trial struct {
	model   *airflow.Model
	solver  *airflow.Solver
	planner plan.Planner
}

func try(s *Shop, n airflow.Network) (*trial, error) {
	compile := airflow.Compile
	if s.asIs != nil {
		compile = s.asIs.Compile
	}
	m, err := compile(n)
	if err != nil {
		return nil, err
	}
	if !m.Judged() {
		return nil, fmt.Errorf("the air of %s is not judged: it has no ducts or no fan curve", n.Name)
	}
	p, err := plan.New(m.Network(), plan.Solved(m), s.Machines, s.Options)
	if err != nil {
		return nil, err
	}
	return &trial{model: m, solver: airflow.NewSolver(m), planner: p}, nil
}

// outcome is a demand with the gates that the program would open for it with the filter loaded.
func (t *trial) outcome(c airflow.Crew) Outcome {
	m := t.model
	a := t.planner.Choose(plan.Question{Running: c.Machines, Usable: m.Gates() &^ m.Hand(), Loaded: true})
	needs := m.Needs(c.Ports)
	open := a.Open&m.Gates()&^(m.Hand()&^needs) | needs&m.Hand()
	v := t.solver.JudgeAs(open, c.Ports, airflow.Loaded)
	o := Outcome{Open: []string{}, Carries: v.Grade == airflow.Carries, Transport: v.Grade.String(), Margin: fraction(v.Margin), Share: fraction(v.Share), verdict: v, open: open}
	for _, g := range m.Network().Gates {
		if open.Has(g.Number) {
			o.Open = append(o.Open, g.Name)
		}
	}
	if v.Weakest != airflow.NoDuct {
		tr := m.Transport(int(v.Weakest))
		o.Weakest = m.Network().Ducts[v.Weakest].Name
		o.Speed, o.Asked = digits(t.solver.Result().Velocity[v.Weakest]), digits(tr.Carries*(1+tr.Margin))
	}
	return o
}

func fraction(r airflow.Ratio) *float64 {
	f := r.Float()
	if math.IsNaN(f) {
		return nil
	}
	return &f
}

// digits rounds to nine significant digits, as all figures of a survey are written.
func digits(v float64) float64 {
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 9, 64), 64)
	if err != nil {
		return v
	}
	return r
}

// copied is a network whose lists may be changed.
func copied(n *airflow.Network) airflow.Network {
	out := *n
	out.Ducts, out.Ports, out.Gates = slices.Clone(n.Ducts), slices.Clone(n.Ports), slices.Clone(n.Gates)
	out.Fan.Curve, out.Fan.Power = slices.Clone(n.Fan.Curve), slices.Clone(n.Fan.Power)
	return out
}

// carrying lists the ducts on the ways of a demand, those nearest the collector first.
func (j *job) carrying() []int {
	var out []int
	for p := range j.crew.Ports.All() {
		way := j.now.model.Way(p)
		slices.Reverse(way)
		for _, d := range way {
			if !slices.Contains(out, d) {
				out = append(out, d)
			}
		}
	}
	return out
}

func isHose(wall string) bool { return strings.HasSuffix(wall, "hose") }

// ladder is the series of standard sizes that a duct belongs to, thin to thick: that of its nominal size, else the
// one that has its diameter, else the one of its wall.
func (s *Shop) ladder(duct int) []airflow.Pipe {
	d := s.Network.Ducts[duct]
	all := airflow.Pipes()
	series := ""
	if duct < len(s.Pipes) && s.Pipes[duct] != "" {
		if p, ok := airflow.PipeOf(s.Pipes[duct]); ok {
			series = p.Source
		}
	}
	if series == "" {
		near := math.Inf(1)
		for _, p := range all {
			off := math.Abs(p.Inside/d.Diameter - 1)
			if off > 0.01 {
				off = 4 // none of its sizes: by wall and units alone
			}
			if isPVC(d.Wall) != isPVC(p.Wall) {
				off += 2
			}
			if strings.HasSuffix(p.Name, " in") != s.Inches {
				off += 1.5
			}
			if off < near {
				near, series = off, p.Source
			}
		}
	}
	var out []airflow.Pipe
	for _, p := range all {
		if p.Source == series {
			out = append(out, p)
		}
	}
	slices.SortFunc(out, func(a, b airflow.Pipe) int { return cmp.Compare(a.Inside, b.Inside) })
	return out
}

func isPVC(wall string) bool { return wall == "pvc" }

// near sorts a series by how far its sizes lie from a diameter, the size itself left out; at most some of them,
// for nobody lays a duct of half or double the width to mend a speed.
func near(ladder []airflow.Pipe, diameter float64) []airflow.Pipe {
	const most = 1.7
	off := func(p airflow.Pipe) float64 { return math.Abs(math.Log(p.Inside / diameter)) }
	var out []airflow.Pipe
	for _, p := range ladder {
		if x := off(p); x > 0.005 && x <= math.Log(most) {
			out = append(out, p)
		}
	}
	slices.SortStableFunc(out, func(a, b airflow.Pipe) int {
		switch x, y := off(a), off(b); {
		case x < y-1e-12:
			return -1
		case x > y+1e-12:
			return 1
		}
		return 0
	})
	return out
}
