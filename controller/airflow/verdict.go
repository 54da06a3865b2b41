package airflow

import (
	"math"

	"ductwarden/gates"
)

// Verdict is what the model says of a pattern, rounded once: only these figures decide.
type Verdict struct {
	Grade   Grade      // worst over the carrying ducts
	Margin  Ratio      // least air speed over transport speed, less 1; NoRatio without a carrying duct
	Share   Ratio      // least flow over wanted at the demanded ports; NoRatio when none states a wish
	Weakest uint8      // duct (place in Network.Ducts) of the margin; NoDuct
	Short   uint8      // demanded port (place in Network.Ports) of the share; NoPort
	Way     gates.Span // way of the last chip over its air speed, the longest of the demanded ports, 1 ms; an hour at most
}

// longestWay bounds Verdict.Way where the air stands still.
const longestWay = gates.Hour

// nothing is the verdict where nothing is judged.
func nothing() Verdict {
	return Verdict{Grade: NotJudged, Margin: NoRatio, Share: NoRatio, Weakest: NoDuct, Short: NoPort}
}

// Judge judges a pattern for a set of demanded ports (by place in Network.Ports) in one filter state, with the
// hand gates both ways: gates moved by hand that are not on a demanded port's way count as open or as shut,
// whichever is worse for the duct or port looked at. Hand gates on a demanded port's way are as in open.
//
// It needs few solutions: opening a gate speeds up the ducts downstream of it and slows down all others
// (fixed coefficients, falling fan curve), so a duct is slowest with the hand gates above it shut and all
// others open.
func (s *Solver) Judge(open, demand gates.Set, state State) Verdict {
	m := s.m
	free := m.hand &^ m.Needs(demand)
	if free == 0 || !m.judged || demand == 0 {
		return s.JudgeAs(open, demand, state)
	}
	open &^= free
	v := nothing()
	t := tally{m: m, demand: demand}
	s.Flows(open|free, state)
	t.look(&s.res, &v, func(d int) bool { return m.above[d]&free == 0 }, true)
	for k, i := range m.order {
		above := m.above[i] & free
		if m.portsAbove[i]&demand == 0 || above == 0 || s.judged(k, above, demand, free) {
			continue
		}
		s.Flows(open|free&^above, state)
		t.look(&s.res, &v, func(d int) bool { return m.above[d]&free == above }, false)
	}
	t.end(&s.res, &v)
	return v
}

// judged reports whether an earlier carrying duct had the same hand gates above it.
func (s *Solver) judged(k int, above, demand, free gates.Set) bool {
	for _, i := range s.m.order[:k] {
		if s.m.portsAbove[i]&demand != 0 && s.m.above[i]&free == above {
			return true
		}
	}
	return false
}

// JudgeAs judges a pattern exactly as given, hand gates included.
func (s *Solver) JudgeAs(open, demand gates.Set, state State) Verdict {
	v := nothing()
	if !s.m.judged || demand == 0 {
		return v
	}
	s.Flows(open, state)
	t := tally{m: s.m, demand: demand}
	t.look(&s.res, &v, func(int) bool { return true }, true)
	t.end(&s.res, &v)
	return v
}

// tally gathers the worst of several solutions.
type tally struct {
	m      *Model
	demand gates.Set
	slow   [MaxDucts]float64 // least speed of each carrying duct
}

// look takes in the carrying ducts that want this solution and, with ports, the demanded ports.
func (t *tally) look(r *Result, v *Verdict, want func(duct int) bool, ports bool) {
	m := t.m
	for i := range m.pipes {
		if m.portsAbove[i]&t.demand == 0 || !want(i) {
			continue
		}
		t.slow[i] = r.Velocity[i]
		tr := m.Transport(i)
		margin := RatioOf(r.Velocity[i]/tr.Carries - 1)
		if v.Weakest == NoDuct || margin < v.Margin || margin == v.Margin && uint8(i) < v.Weakest {
			v.Margin, v.Weakest = margin, uint8(i)
		}
		g := Carries
		switch {
		case RatioOf(r.Velocity[i]/tr.Settles-1) < 0:
			g = Settles
		case margin < RatioOf(tr.Margin):
			g = Creeps
		}
		if v.Grade == NotJudged || g > v.Grade {
			v.Grade = g
		}
	}
	if !ports {
		return
	}
	for i, p := range m.net.Ports {
		if !t.demand.Has(i) || p.Airflow <= 0 {
			continue
		}
		if share := RatioOf(r.PortFlow[i] / p.Airflow); v.Short == NoPort || share < v.Share {
			v.Share, v.Short = share, uint8(i)
		}
	}
}

// end computes the way of the last chip from the least speeds.
func (t *tally) end(_ *Result, v *Verdict) {
	m := t.m
	for i := range m.net.Ports {
		if !t.demand.Has(i) {
			continue
		}
		sec := 0.0
		for d := m.net.Ports[i].Duct; d >= 0; d = m.net.Ducts[d].Into {
			if t.slow[d] <= 0 {
				sec = math.Inf(1)
				break
			}
			sec += m.net.Ducts[d].Length / t.slow[d]
		}
		v.Way = max(v.Way, millis(sec))
	}
}

// millis rounds seconds up to whole milliseconds, an hour at most.
func millis(sec float64) gates.Span {
	if !(sec*1000 < float64(longestWay)) {
		return longestWay
	}
	return gates.Span(math.Ceil(sec * 1000))
}
