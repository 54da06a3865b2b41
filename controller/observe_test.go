package controller_test

import (
	"fmt"

	"ductwarden/controller"
	"ductwarden/gates"
)

// rule is one observer: an invariant of control, judged by the trace of events and effects alone, with timers of its
// own. An observer that needs what people are shown reads the standing conditions and the outputs, never the state.
type rule struct {
	id      string // I1 to I30, D1 and on for rules of the design that no invariant names
	says    string // what is held to
	instead string // why this and not the invariant's first wording, where that cannot hold

	event  func(w *watchers, k *keeps, ev controller.Event, accepted bool) // the event has been taken in
	effect func(w *watchers, k *keeps, ev controller.Event, e controller.Effect)
	after  func(w *watchers, k *keeps, ev controller.Event, out []controller.Effect, accepted bool)

	remembers bool                              // carries its sets from one step to the next
	timed     bool                              // keeps moments, which a slice without time forgets
	horizon   func(w *world) controller.Instant // ages in its memory beyond this are all alike; nil: an hour
}

// keeps is the memory of one observer.
type keeps struct {
	at   [most]controller.Instant
	set  [4]gates.Set
	list [most]instants
}

// instants are the last moments of something, oldest first.
type instants struct {
	at [12]controller.Instant
	n  uint8
}

func (l *instants) add(at controller.Instant) {
	if int(l.n) == len(l.at) {
		copy(l.at[:], l.at[1:])
		l.n--
	}
	i := int(l.n)
	for ; i > 0 && l.at[i-1] > at; i-- {
		l.at[i] = l.at[i-1]
	}
	l.at[i] = at
	l.n++
}

// forget drops what is so old.
func (l *instants) forget(now controller.Instant, age controller.Span) {
	k := 0
	for k < int(l.n) && now-l.at[k] >= controller.Instant(age) {
		k++
	}
	copy(l.at[:], l.at[k:l.n])
	l.n -= uint8(k)
	clear(l.at[l.n:])
}

// newest keeps only so many.
func (l *instants) newest(most uint8) {
	if l.n > most {
		copy(l.at[:], l.at[l.n-most:l.n])
		l.n = most
		clear(l.at[most:])
	}
}

// watchers are observers at work on one trace. What they find is in wrong, beginning with the number of the rule.
type watchers struct {
	scene
	rules []*rule
	keeps []keeps
	wrong []string
	tried map[string]int // how often each rule was put to the test

	carries func(open, running gates.Set) bool // the test's own table of which patterns carry; nil: not judged
	state   *controller.State
	shown   []controller.Standing // of this step, once asked for
	asked   bool
	judging *rule
}

// newWatchers puts every observer on a shop.
func newWatchers(shop *controller.Shop) *watchers { return watch(shop, ruleList()...) }

// watch puts some observers on a shop.
func watch(shop *controller.Shop, rules ...*rule) *watchers {
	w := &watchers{rules: rules, keeps: make([]keeps, len(rules)), tried: map[string]int{}}
	w.shop, w.clean = shop, true
	return w
}

// bad notes that a rule is broken.
func (w *watchers) bad(format string, a ...any) {
	w.wrong = append(w.wrong, w.judging.id+": "+fmt.Sprintf(format, a...))
}

// see takes one step of the core in.
func (w *watchers) see(ev controller.Event, out []controller.Effect, s *controller.State) {
	w.now = max(w.now, ev.At, 1)
	w.state, w.asked = s, false
	accepted := true
	w.stays, w.started = false, false
	for _, e := range out {
		w.stays = w.stays || e.Kind == controller.Note && e.Why == controller.BecauseStillStanding
		if e.Kind == controller.Answered && e.V != 0 {
			accepted = false
		}
	}
	w.before()
	w.take(ev, accepted)
	if ev.Kind == controller.Restarted {
		clear(w.keeps)
	}
	for i, r := range w.rules {
		if r.event != nil {
			w.judging = r
			r.event(w, &w.keeps[i], ev, accepted)
		}
	}
	for _, e := range out {
		for i, r := range w.rules {
			if r.effect != nil {
				w.judging = r
				r.effect(w, &w.keeps[i], ev, e)
			}
		}
		w.effect(e)
	}
	for i, r := range w.rules {
		if r.after != nil {
			w.judging = r
			r.after(w, &w.keeps[i], ev, out, accepted)
		}
	}
}

// try counts that the rule was put to the test.
func (w *watchers) try() { w.tried[w.judging.id]++ }

// standing is what people are shown after this step.
func (w *watchers) standing() []controller.Standing {
	if !w.asked && w.state != nil {
		w.shown, w.asked = w.state.Standing(w.shop, w.shown[:0]), true
	}
	return w.shown
}

// told reports whether one of the conditions stands, of number n where n is not negative.
func (w *watchers) told(n int, of ...controller.Condition) bool {
	for _, s := range w.standing() {
		for _, k := range of {
			if s.Is == k && (n < 0 || int(s.N) == n) {
				return true
			}
		}
	}
	return false
}

// proofTime is how long gate g may take to prove at the first try.
func (w *watchers) proofTime(g int) controller.Instant {
	l := &w.shop.Gates[g].Motion
	if l.Proof > 0 {
		return controller.Instant(l.Proof)
	}
	return max(3000, 3*controller.Instant(l.Travel))
}

// longestDrive is how long gate g may be driven one way.
func (w *watchers) longestDrive(g int, way gates.Drive) controller.Instant {
	l := &w.shop.Gates[g].Motion
	if way == gates.DriveOpen && !l.OpenSwitch || way == gates.DriveClose && !l.ClosedSwitch {
		return 2 * controller.Instant(l.Travel)
	}
	return w.proofTime(g) * 3 / 2
}

// ruleList is every observer that judges a trace.
func ruleList() []*rule {
	var all []*rule
	for _, some := range [][]*rule{startRules(), airRules(), gateRules(), faultRules()} {
		all = append(all, some...)
	}
	return all
}

// ruleOf finds an observer by its number.
func ruleOf(id string) *rule {
	for _, r := range ruleList() {
		if r.id == id {
			return r
		}
	}
	return nil
}
