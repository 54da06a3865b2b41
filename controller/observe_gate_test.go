package controller_test

import (
	"ductwarden/controller"
	"ductwarden/gates"
)

// gateRules judge the motion of gates.
func gateRules() []*rule {
	return []*rule{
		{id: "I3", says: "open before close: a gate closes only while a way without it is known to be open; a shop of open gates closes none",
			instead: "feasible is the planner's word: what runs is judged by I14; here the air must have a way at all", effect: closesBeside},
		{id: "I11", says: "at most moving_at_once gates are driven at one time", after: movesAtOnce},
		{id: "I12", says: "the core asks a gate of the shop for open, closed or rest, never for a width; a gate moved by hand, taken over or silent is not driven",
			instead: "pulse widths are the servo driver's: TestNeverBeyondItsLimits in gates/servo", effect: drivesReal},
		{id: "I13", says: "a gate is driven at most half as long again as it has to prove, twice its travel where no switch shows that end", after: drivesShortly},
		{id: "I15", says: "a fault of one machine's sensor or of a gate closes no other gate in its step, never shuts a running machine's gate, and stops no collector under a running machine except for the lack of a way",
			effect: faultTouchesNobody},
		{id: "I22", says: "a gate begins at most moves_per_minute drives in any minute", effect: movesPerMinute},
		{id: "I24", says: "a machine's start drives its gates open in the same step, where they may move and a place is free",
			instead: "K at a time and the wear of a minute come first; that each motion ends is I13 and I27", after: opensAtOnce},
		{id: "I27", says: "a motion is tried twice at most (a drive that a reset of its chip cut does not count), then the gate has failed and stands still until a person acknowledges",
			instead: "1.5 times the time to prove is the length of one drive; the design tries once more after a pause", event: triesAnew, effect: triesTwice, remembers: true},
		{id: "D4", says: "what a person holds open is not closed", effect: closesNoHold},
	}
}

func closesBeside(w *watchers, k *keeps, ev controller.Event, e controller.Effect) {
	n := int(e.N)
	if e.Kind != controller.CloseGate || n >= len(w.shop.Gates) {
		return
	}
	w.try()
	was := w.drive[n]
	w.drive[n] = gates.DriveClose // as it will be
	if w.shop.EverythingOpen {
		w.bad("gate %d closes in a shop of open gates", n)
	}
	if c := int(w.shop.Gates[n].Collector); !w.path(c) {
		w.bad("gate %d closes and no way to collector %d stays open", n, c)
	}
	w.drive[n] = was
}

func movesAtOnce(w *watchers, k *keeps, ev controller.Event, out []controller.Effect, accepted bool) {
	moving := 0
	for g := range w.shop.Gates {
		if w.drive[g] != gates.DriveNone {
			moving++
		}
	}
	if moving > 0 {
		w.try()
	}
	if moving > int(w.shop.MovingAtOnce) {
		w.bad("%d gates move at once", moving)
	}
}

func drivesReal(w *watchers, k *keeps, ev controller.Event, e controller.Effect) {
	n := int(e.N)
	if e.Kind != controller.OpenGate && e.Kind != controller.CloseGate {
		return
	}
	w.try()
	switch {
	case n >= len(w.shop.Gates):
		w.bad("gate %d is not in the shop", n)
	case w.gate[n].off, w.gate[n].silent, w.shop.Gates[n].Motion.Hand:
		w.bad("gate %d moves although it is off, silent or a person's", n)
	}
}

func drivesShortly(w *watchers, k *keeps, ev controller.Event, out []controller.Effect, accepted bool) {
	for g := range w.shop.Gates {
		if w.drive[g] == gates.DriveNone {
			continue
		}
		w.try()
		if run := w.now - w.gate[g].pushed; run >= w.longestDrive(g, w.drive[g]) {
			w.bad("gate %d is driven for %d ms", g, run)
		}
		if !w.duty {
			w.bad("gate %d is driven while nobody is on duty", g)
		}
	}
}

// isFault reports whether an event is evidence that something is wrong, or lost.
func (w *watchers) isFault(ev controller.Event) bool {
	switch ev.Kind {
	case controller.MachineSeen:
		return ev.V != 1 && ev.V != 2
	case controller.GateSeen:
		return int(ev.N) < len(w.shop.Gates) && w.gate[ev.N].seen == gates.SeenBoth
	case controller.GateChip:
		return ev.V == 1
	}
	return false
}

func faultTouchesNobody(w *watchers, k *keeps, ev controller.Event, e controller.Effect) {
	n := int(e.N)
	switch e.Kind {
	case controller.CloseGate:
		w.try()
		for m := range w.shop.Machines {
			if w.shop.Machines[m].Needs.Has(n) && w.mach[m].running {
				w.bad("gate %d closes while machine %d runs", n, m)
			}
		}
		if w.isFault(ev) && !(ev.Kind != controller.MachineSeen && int(ev.N) == n) {
			w.bad("gate %d closes because of a fault elsewhere", n)
		}
	case controller.StopCollector:
		if !w.isFault(ev) || e.Why == controller.BecauseNoPath {
			return
		}
		w.try()
		for m := range w.shop.Machines {
			if w.shop.Machines[m].Collectors.Has(n) && w.mach[m].running && !(ev.Kind == controller.MachineSeen && int(ev.N) == m) {
				w.bad("collector %d stops under machine %d because of a fault", n, m)
			}
		}
	}
}

func movesPerMinute(w *watchers, k *keeps, ev controller.Event, e controller.Effect) {
	n := int(e.N)
	if (e.Kind != controller.OpenGate && e.Kind != controller.CloseGate) || n >= len(w.shop.Gates) {
		return
	}
	w.try()
	l := &k.list[n]
	l.forget(w.now, controller.Minute)
	l.add(w.now)
	if int(l.n) > int(w.shop.MovesPerMinute) {
		w.bad("gate %d moves for the %dth time in a minute", n, l.n)
	}
}

func opensAtOnce(w *watchers, k *keeps, ev controller.Event, out []controller.Effect, accepted bool) {
	for g := range w.shop.Gates { // its own count of moves
		k.list[g].forget(w.now, controller.Minute)
	}
	var told gates.Set
	for _, e := range out {
		if (e.Kind == controller.OpenGate || e.Kind == controller.CloseGate) && int(e.N) < len(w.shop.Gates) {
			k.list[e.N].add(w.now)
			told = told.With(int(e.N))
		}
	}
	if !w.started {
		return
	}
	opening := 0
	for g := range w.shop.Gates {
		if w.drive[g] == gates.DriveOpen {
			opening++
		}
	}
	for g := range w.shop.Machines[ev.N].Needs.All() {
		d, l := &w.gate[g], &w.shop.Gates[g].Motion
		if l.Hand || d.off || d.silent || d.gaveUp || d.pauses || w.coll[w.shop.Gates[g].Collector].open || w.isOpen(g) {
			continue
		}
		if told.Has(g) {
			w.try()
		}
		if w.drive[g] == gates.DriveOpen || opening >= int(w.shop.MovingAtOnce) || int(k.list[g].n) > int(w.shop.MovesPerMinute)-2 {
			continue
		}
		w.bad("machine %d starts and gate %d does not open in the same step", ev.N, g)
	}
}

func triesAnew(w *watchers, k *keeps, ev controller.Event, accepted bool) {
	if ev.Kind == controller.Acknowledged && accepted || ev.Kind == controller.ShopChanged {
		k.set[2] = 0
	}
}

// triesTwice keeps in set 0 the gates in their second try, set 1 those that paused after a first,
// set 2 those that failed.
func triesTwice(w *watchers, k *keeps, ev controller.Event, e controller.Effect) {
	n := int(e.N)
	if n >= len(w.shop.Gates) {
		return
	}
	switch e.Kind {
	case controller.OpenGate, controller.CloseGate:
		w.try()
		if k.set[2].Has(n) {
			w.bad("gate %d has failed and moves again before anybody acknowledged", n)
		}
		k.set[0] = k.set[0].Without(n)
		if e.Why == controller.BecauseTriesAgain {
			if !k.set[1].Has(n) {
				w.bad("gate %d tries again what it had not tried", n)
			}
			k.set[0] = k.set[0].With(n)
		}
		k.set[1] = k.set[1].Without(n)
	case controller.RestGate:
		switch {
		case e.Why == controller.BecauseTriesAgain && k.set[0].Has(n):
			w.bad("gate %d is tried a third time", n)
		case e.Why == controller.BecauseTriesAgain, e.Why == controller.BecauseChipReset:
			k.set[1] = k.set[1].With(n)
		case e.Why == controller.BecauseGaveUp:
			k.set[2] = k.set[2].With(n)
			if !k.set[0].Has(n) {
				w.bad("gate %d gives up without a second try", n)
			}
		}
		k.set[0] = k.set[0].Without(n)
	}
}

func closesNoHold(w *watchers, k *keeps, ev controller.Event, e controller.Effect) {
	n := int(e.N)
	if e.Kind != controller.CloseGate || n >= len(w.shop.Gates) {
		return
	}
	w.try()
	if w.now < w.gate[n].held {
		w.bad("gate %d closes although a person holds it open", n)
	}
}
