package loop

import (
	"ductwarden/controller"
	"ductwarden/controller/airflow"
	"ductwarden/gates"
)

// Air fills the model's figures for the gates that are open now into a snapshot. It decides nothing: what the
// planner decides by, it has asked itself.
type Air struct {
	Trees []AirTree // by collector
	Ports [][]Port  // of each machine
}

// AirTree is one collector's ducts.
type AirTree struct {
	Solver *airflow.Solver // nil: not judged
	Ducts  []int           // place in the network -> place in the shop file

	flow        float64   // of the fan in the latest solution
	speed, port []float64 // of each duct and port: the least
}

// solve finds the air with the open gates, and with those of unknown place too if there are any; the less of both.
func (t *AirTree) solve(open, unknown gates.Set) {
	r := t.Solver.Solve(open, airflow.Loaded)
	t.flow = r.FanFlow
	t.speed, t.port = append(t.speed[:0], r.Velocity...), append(t.port[:0], r.PortFlow...)
	if unknown.Empty() {
		return
	}
	r = t.Solver.Solve(open|unknown, airflow.Loaded)
	for i, v := range r.Velocity {
		t.speed[i] = min(t.speed[i], v)
	}
	for i, q := range r.PortFlow {
		t.port[i] = min(t.port[i], q)
	}
}

// Port is a machine's port.
type Port struct {
	Collector int
	Place     int // in the collector's network
}

// Fill completes the figures of ducts, machines and collectors.
func (a *Air) Fill(s *controller.Snapshot) {
	open, unknown := openIn(s)
	for c := range a.Trees {
		if c < len(s.Collectors) {
			a.fillTree(s, c, open, unknown)
		}
	}
}

// openIn is the set of gates that a snapshot shows open, and that of the gates slid by hand of which nothing is
// known: they may be open or shut, so the worse of both is shown.
func openIn(s *controller.Snapshot) (open, unknown gates.Set) {
	for i := range s.Gates {
		g := &s.Gates[i]
		switch {
		case g.State == "open":
			open = open.With(i)
		case g.Hand && g.State != "closed":
			unknown = unknown.With(i)
		}
	}
	return open, unknown
}

// moves reports whether a collector in this phase moves the air that the model speaks of.
func moves(phase string) bool {
	switch phase {
	case "running", "clearing", "lingering", "by_hand", "will_not_stop":
		return true
	}
	return false
}

func (a *Air) fillTree(s *controller.Snapshot, c int, open, unknown gates.Set) {
	t, coll := &a.Trees[c], &s.Collectors[c]
	if t.Solver == nil {
		coll.Transport = "not_judged"
		return
	}
	m := t.Solver.Model()
	demanded, wanted := a.demanded(s, c, m.OpenPorts(open))
	runs := moves(coll.Phase)
	if runs {
		t.solve(open, unknown)
		flow := t.flow
		coll.FlowM3S = &flow
	}
	worst, weakest := 0.0, -1
	for i, place := range t.Ducts {
		if place >= len(s.Ducts) {
			continue
		}
		d, tr := &s.Ducts[place], m.Transport(i)
		d.TransportMS = tr.Carries * (1 + tr.Margin)
		d.Carrying = m.PortsAbove(i)&demanded != 0
		d.VelocityMS, d.Verdict = 0, "not_judged"
		if !runs {
			continue
		}
		d.VelocityMS = t.speed[i]
		d.Verdict = verdict(d.VelocityMS, tr)
		if margin := d.VelocityMS/tr.Carries - 1; d.Carrying && (weakest < 0 || margin < worst) {
			worst, weakest = margin, place
		}
	}
	coll.Transport, coll.Margin, coll.Weakest = "not_judged", nil, ""
	if weakest >= 0 {
		coll.Margin, coll.Weakest, coll.Transport = &worst, s.Ducts[weakest].ID, worstVerdict(s, t.Ducts)
	}
	if runs {
		for _, w := range wanted {
			share := t.port[w.place] / m.Network().Ports[w.place].Airflow
			if old := s.Machines[w.machine].Share; old == nil || share < *old {
				s.Machines[w.machine].Share = &share
			}
		}
	}
}

// wish is a machine's port that states how much air it wants.
type wish struct{ machine, place int }

// demanded is the set of ports of a collector that are demanded now and have an open way, and those demanded that
// state a wish. A port behind a closed gate sends no chips into the ducts; that its machine has no air is told by
// the core.
func (a *Air) demanded(s *controller.Snapshot, c int, open gates.Set) (ports gates.Set, wanted []wish) {
	for i := range s.Machines {
		if i >= len(a.Ports) {
			break
		}
		m := &s.Machines[i]
		m.Share = nil
		if m.State != "running" && m.State != "running_down" {
			continue
		}
		for _, p := range a.Ports[i] {
			if p.Collector != c {
				continue
			}
			if open.Has(p.Place) {
				ports = ports.With(p.Place)
			}
			if a.Trees[c].Solver.Model().Network().Ports[p.Place].Airflow > 0 {
				wanted = append(wanted, wish{i, p.Place})
			}
		}
	}
	return ports, wanted
}

func verdict(speed float64, t airflow.Transport) string {
	switch {
	case speed >= t.Carries*(1+t.Margin):
		return "carries"
	case speed >= t.Settles:
		return "creeps"
	}
	return "settles"
}

// worstVerdict is the worst of the carrying ducts.
func worstVerdict(s *controller.Snapshot, ducts []int) string {
	worst := "carries"
	for _, place := range ducts {
		d := &s.Ducts[place]
		if !d.Carrying || d.Verdict == "carries" {
			continue
		}
		if d.Verdict == "settles" {
			return "settles"
		}
		worst = d.Verdict
	}
	return worst
}
