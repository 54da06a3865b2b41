package airflow

import (
	"context"
	"fmt"
	"math"

	"ductwarden/gates"
)

// Found is the patterns that carry, as far as they were looked for.
type Found struct {
	Open     []gates.Set // in the order in which they were found
	Solves   int
	Complete bool // no pattern that carries is missing
}

// Carrying looks for every pattern that carries in a filter state, every open gate counting as demanded, in a tree
// of any number of gates. It ends early at most patterns or solves. tell, if not nil, hears now and then what share of
// all patterns (0 to 1) is decided, found or dropped, and how many carry so far.
//
// Method: gates are decided one after the other, those above one duct together. A branch is dropped as soon as a
// duct in use is too slow and no undecided gate lies above it: opening any other only slows it down. Closing a gate
// leaves the pattern as it is, so that one solution is needed for each gate opened.
func (s *Solver) Carrying(ctx context.Context, state State, most, solves int, tell func(share float64, carry int)) (Found, error) {
	w := walker{ctx: ctx, s: s, state: state, most: most, solves: solves, tell: tell, found: Found{Complete: true}}
	if !s.m.judged {
		return w.found, nil
	}
	for _, d := range s.m.inlets {
		w.line(d)
	}
	w.rest = make([]gates.Set, len(w.order)+1)
	for i := len(w.order) - 1; i >= 0; i-- {
		w.rest[i] = w.rest[i+1].With(w.order[i])
	}
	w.judge(0)
	w.walk(0, 0, 0)
	if ctx.Err() != nil {
		return w.found, fmt.Errorf("stopped before the last pattern: %w", ctx.Err())
	}
	return w.found, nil
}

// walker decides gates in turn.
type walker struct {
	ctx          context.Context
	s            *Solver
	state        State
	most, solves int
	tell         func(share float64, carry int)
	decided      float64     // share of all patterns
	order        []int       // gates (numbers): those on a duct, then those above it
	rest         []gates.Set // of each place in order: the gates from there on
	slow         []gates.Set // a stack: the gates on and above each duct in use that is too slow
	found        Found
}

// line lists the gates on a duct and above it.
func (w *walker) line(d int) {
	m := w.s.m
	for _, g := range m.gatesOf[d] {
		w.order = append(w.order, m.net.Gates[g].Number)
	}
	for _, c := range m.children[d] {
		w.line(c)
	}
}

// walk decides the gates from a place on, with those in open decided to be open; slow from a place on is what is
// too slow in that pattern.
func (w *walker) walk(at int, open gates.Set, slow int) {
	for _, above := range w.slow[slow:] {
		if above&w.rest[at] == 0 {
			w.decide(at)
			return
		}
	}
	if at == len(w.order) {
		w.decide(at)
		if w.s.m.Demanded(open) != 0 {
			w.found.Open = append(w.found.Open, open)
		}
		return
	}
	w.walk(at+1, open, slow)
	if len(w.found.Open) >= w.most || w.found.Solves >= w.solves || w.ctx.Err() != nil {
		w.found.Complete = false
		return
	}
	open = open.With(w.order[at])
	next := len(w.slow)
	w.judge(open)
	w.walk(at+1, open, next)
	w.slow = w.slow[:next]
}

// decide counts the patterns below a place, all of which are now known.
func (w *walker) decide(at int) {
	w.decided += math.Ldexp(1, -at)
	if w.tell != nil {
		w.tell(w.decided, len(w.found.Open))
	}
}

// judge puts what is too slow in a pattern on the stack.
func (w *walker) judge(open gates.Set) {
	m := w.s.m
	w.found.Solves++
	demand := m.Demanded(open)
	f := w.s.Flows(open, w.state)
	for i, v := range f.Velocity {
		if t := m.Transport(i); m.portsAbove[i]&demand != 0 && RatioOf(v/t.Carries-1) < RatioOf(t.Margin) {
			w.slow = append(w.slow, m.above[i])
		}
	}
}
