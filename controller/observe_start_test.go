package controller_test

import (
	"ductwarden/controller"
	"ductwarden/gates"
)

// startRules judge the rising edges of start lines, and what must not bring one.
func startRules() []*rule {
	return []*rule{
		{id: "I1", says: "a collector starts only with a way to it known to be open, and every gate of one demanded machine proved or assumed open",
			instead: "one path of the demand or the relief gate would not do: relief alone gives a machine no air", effect: startsWithAWay},
		{id: "I4", says: "a start comes at least the rest after the motor last stood; a program's start counts as that moment. A shop may choose to start during the rest while the hour allows",
			effect: startsRested},
		{id: "I5", says: "in every sliding hour at most starts_per_hour starts, stored ones and those by the own switch counted; one start is affordable after the full rest whatever the file says",
			instead: "the design gives a shop that cuts its mains every evening one start; an unclean end asks for an acknowledgement first", event: countsStarts, effect: startsAfforded},
		{id: "I7", says: "before Ready, and after an unclean end before its acknowledgement, no gate moves and no collector starts", effect: movesOnDuty},
		{id: "I8", says: "a start needs a call made since the last stop: a fresh idle-to-running edge, a button, a person who runs the collector by hand", effect: startsCalled},
		{id: "I10", says: "no request from the network is taken beyond the rights of the shop file, none starts a collector without them, and a stop that may be sent is always taken",
			instead: "age and retained flags of messages are judged before the core; it sees requests only", event: networkRights, effect: networkStarts},
		{id: "D1", says: "with the disconnect open nothing starts, nothing moves, and nothing stays on", effect: disconnectMoves, after: disconnectStays},
		{id: "D2", says: "two collectors' starts are apart by the inrush spacing", effect: startsSpaced},
		{id: "D3", says: "unknown before a start: no start while the motor's proof does not show it still", effect: startsProved},
	}
}

func startsWithAWay(w *watchers, k *keeps, ev controller.Event, e controller.Effect) {
	n := int(e.N)
	if e.Kind != controller.StartCollector {
		return
	}
	if n >= len(w.shop.Collectors) {
		w.bad("collector %d is not in the shop", n)
		return
	}
	w.try()
	served := w.coll[n].held
	for m := range w.shop.Machines {
		served = served || w.shop.Machines[m].Collectors.Has(n) && w.wants(m) && w.served(m, n)
	}
	switch {
	case !w.shop.Collectors[n].Starter:
		w.bad("collector %d cannot be switched", n)
	case !w.path(n):
		w.bad("collector %d starts without an open way", n)
	case !served:
		w.bad("collector %d starts and no demanded machine's way is open", n)
	}
}

func startsRested(w *watchers, k *keeps, ev controller.Event, e controller.Effect) {
	if e.Kind != controller.StartCollector || w.shop.StartWhileResting {
		return
	}
	w.try()
	if rest := w.now - w.coll[e.N].off; rest < controller.Instant(w.shop.Collectors[e.N].Rest) {
		w.bad("collector %d starts after %d ms of rest", e.N, rest)
	}
}

// countsStarts keeps the starts that the line did not make: stored ones, and those by the own switch.
func countsStarts(w *watchers, k *keeps, ev controller.Event, accepted bool) {
	n := int(ev.N)
	if n >= len(w.shop.Collectors) {
		return
	}
	switch ev.Kind {
	case controller.StartStored:
		k.list[n].add(w.now - controller.Instant(max(0, ev.V)))
	case controller.CollectorSeen:
		if w.coll[n].byHand && !k.set[1].Has(n) && w.shop.Collectors[n].Starter {
			k.list[n].add(w.now)
			k.set[0] = k.set[0].With(n)
		}
	}
	k.set[1] = 0
	for c := range w.shop.Collectors {
		if w.coll[c].byHand {
			k.set[1] = k.set[1].With(c)
		}
		k.list[c].forget(w.now, controller.Hour)
		k.list[c].newest(w.shop.Collectors[c].StartsPerHour)
	}
}

func startsAfforded(w *watchers, k *keeps, ev controller.Event, e controller.Effect) {
	n := int(e.N)
	if e.Kind != controller.StartCollector {
		return
	}
	w.try()
	p := &w.shop.Collectors[n]
	k.list[n].forget(w.now, controller.Hour)
	within := int(k.list[n].n)
	if within >= int(p.StartsPerHour) && (k.set[0].Has(n) || w.now-w.coll[n].off < controller.Instant(p.Rest)) {
		w.bad("collector %d starts for the %dth time in an hour, %d ms after its last stop", n, within+1, w.now-w.coll[n].off)
	}
	k.list[n].add(w.now)
	k.list[n].newest(p.StartsPerHour)
	k.set[0] = k.set[0].With(n) // it has made a start since the program started
}

func movesOnDuty(w *watchers, k *keeps, ev controller.Event, e controller.Effect) {
	switch e.Kind {
	case controller.OpenGate, controller.CloseGate, controller.StartCollector:
	default:
		return
	}
	w.try()
	switch {
	case !w.duty:
		w.bad("effect %d of %d while nobody is on duty", e.Kind, e.N)
	case !w.clean:
		w.bad("effect %d of %d after an unclean end", e.Kind, e.N)
	}
}

func startsCalled(w *watchers, k *keeps, ev controller.Event, e controller.Effect) {
	if e.Kind != controller.StartCollector {
		return
	}
	w.try()
	if !w.coll[e.N].fresh {
		w.bad("collector %d starts and nobody has called since it last stopped", e.N)
	}
}

// networkNeeds is the right that each request needs, by its kind.
var networkNeeds = map[controller.EventKind]controller.NetworkRights{
	controller.FinishPressed: controller.NetworkStop, controller.HaltPressed: controller.NetworkStop, controller.Acknowledged: controller.NetworkRequests,
	controller.HoldGate: controller.NetworkRequests, controller.SelectGate: controller.NetworkRequests, controller.SelectCollector: controller.NetworkRequests,
	controller.ReadyPressed: controller.NetworkStart, controller.CallAir: controller.NetworkStart, controller.MachinePressed: controller.NetworkStart,
}

func networkRights(w *watchers, k *keeps, ev controller.Event, accepted bool) {
	need, is := networkNeeds[ev.Kind]
	if !is || ev.By != controller.FromNetwork || ev.Ref == 0 {
		return
	}
	if ev.Kind == controller.SelectCollector && ev.V == int32(gates.HeldOpen) {
		need = controller.NetworkStart
	}
	w.try()
	switch {
	case accepted && w.shop.Network < need:
		w.bad("event %d from the network was taken without the right", ev.Kind)
	case !accepted && w.shop.Network >= need && need == controller.NetworkStop:
		w.bad("a stop from the network was refused")
	}
}

func networkStarts(w *watchers, k *keeps, ev controller.Event, e controller.Effect) {
	if e.Kind == controller.StartCollector && ev.By == controller.FromNetwork && w.shop.Network < controller.NetworkStart {
		w.bad("the network starts collector %d", e.N)
	}
}

func disconnectMoves(w *watchers, k *keeps, ev controller.Event, e controller.Effect) {
	c := int(e.N)
	switch e.Kind {
	case controller.OpenGate, controller.CloseGate:
		if c >= len(w.shop.Gates) {
			return
		}
		c = int(w.shop.Gates[c].Collector)
	case controller.StartCollector:
	default:
		return
	}
	w.try()
	if w.coll[c].open {
		w.bad("effect %d of %d while the disconnect is open", e.Kind, e.N)
	}
}

func disconnectStays(w *watchers, k *keeps, ev controller.Event, out []controller.Effect, accepted bool) {
	for c := range w.shop.Collectors {
		if w.line.Has(c) && w.coll[c].open {
			w.bad("collector %d is on while its disconnect is open", c)
		}
	}
}

func startsSpaced(w *watchers, k *keeps, ev controller.Event, e controller.Effect) {
	if e.Kind != controller.StartCollector {
		return
	}
	n := int(e.N)
	for c := range w.shop.Collectors {
		if c == n || k.at[c] == 0 {
			continue
		}
		w.try()
		if w.now-k.at[c] < controller.Instant(w.shop.InrushSpacing) {
			w.bad("collector %d starts %d ms after another", n, w.now-k.at[c])
		}
	}
	k.at[n] = w.now
}

func startsProved(w *watchers, k *keeps, ev controller.Event, e controller.Effect) {
	if e.Kind != controller.StartCollector || !w.shop.Collectors[e.N].Proof {
		return
	}
	w.try()
	if w.coll[e.N].feedback != controller.Still {
		w.bad("collector %d starts while its motor is not known to stand", e.N)
	}
}
