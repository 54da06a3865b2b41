package main

import (
	"fmt"
	"io"
	"strings"

	"ductwarden/config"
	"ductwarden/controller/airflow"
	"ductwarden/controller/airflow/advice"
	"ductwarden/controller/cautions"
)

// usualDifference is the temperature difference that the heat is told for where none was said, K.
const usualDifference = 10

// makeUp is the air that leaves the building by each collector that blows outdoors: of the demand with which it is
// most, with a clean filter.
func (s *surveyed) makeUp(demands []treeDemand, cold *float64) []advice.MakeUp {
	out := []advice.MakeUp{}
	caution, _ := cautions.Of("make-up-air")
	for _, t := range s.trees {
		n := t.model.Network()
		if !n.Outdoors {
			continue
		}
		m := advice.MakeUp{Collector: n.Name, Machines: []string{}, Caution: caution.Text}
		for _, d := range demands {
			if d.tree != t {
				continue
			}
			if q := t.solver.Solve(d.Clean().Open, airflow.Clean).FanFlow; q > m.Flow {
				m.Flow, m.Machines = q, s.machines(d.Machines)
			}
		}
		m.HeatPerK = advice.Heat(n.Air, m.Flow, 1)
		if cold != nil {
			colder := max(0, s.file.Air.Temperature-*cold)
			heat := advice.Heat(n.Air, m.Flow, colder)
			m.Colder, m.Heat = &colder, &heat
		}
		out = append(out, m)
	}
	return out
}

// sayMakeUp is the make-up air in sentences.
func (s *surveyed) sayMakeUp(m advice.MakeUp) string {
	said := fmt.Sprintf("%s blows outdoors. With %s it takes up to %s out of the room, and as much must come in again.", m.Collector, strings.Join(m.Machines, " + "), s.flow(m.Flow))
	switch {
	case m.Heat == nil:
		return said + fmt.Sprintf(" To warm it takes %s for every %s that it is colder outside (--outside says how cold).", s.power(m.HeatPerK*usualDifference), s.degrees(usualDifference))
	case *m.Colder == 0:
		return said + " It is no colder outside, so it costs no heat."
	}
	return said + fmt.Sprintf(" To warm it takes %s, %s colder outside, as long as the collector runs.", s.power(*m.Heat), s.degrees(*m.Colder))
}

// degrees writes a temperature difference.
func (s *surveyed) degrees(k float64) string {
	if s.file.Units == config.US {
		return fmt.Sprintf("%.0f °F", k*9/5)
	}
	return fmt.Sprintf("%.0f K", k)
}

func (s *surveyed) writeMakeUp(w io.Writer, list []advice.MakeUp) {
	for k, m := range list {
		if k == 0 {
			fmt.Fprintf(w, "\nMake-up air:\n")
		}
		fmt.Fprintf(w, "  %s\n  CAUTION: %s\n", s.sayMakeUp(m), m.Caution)
	}
}
