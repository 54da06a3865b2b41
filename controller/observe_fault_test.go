package controller_test

import (
	"ductwarden/controller"
	"ductwarden/gates"
)

// faultRules judge latches, and that what is wrong is told.
func faultRules() []*rule {
	return []*rule{
		{id: "I17", says: "a collector that failed starts again only after an acknowledgement given once its motor stood; a new program forgets all but the unclean end, and stands by",
			event: latchesClear, effect: latchesHold, timed: true, remembers: true},
		{id: "I25", says: "a machine that runs has its air within the time that its gates need, or no_air stands for it",
			instead: "the remaining seconds are in the snapshot's sentence: TestAirReturnsAfterTheRest", after: runsHasAir},
		{id: "I29", says: "what a fault does and the condition that tells of it come in the same step",
			instead: "within 1 s on the page and 5 s on the card is the loop's and the journal's: TestOneStart in controller/loop, TestStepsAreKeptWithTheirEffects in controller/journal", after: faultsTold},
	}
}

// latchesClear keeps in set 0 the collectors that a fault stopped, in set 1 those that did not stop.
func latchesClear(w *watchers, k *keeps, ev controller.Event, accepted bool) {
	for c := range w.shop.Collectors {
		d, p := &w.coll[c], &w.shop.Collectors[c]
		if d.open || d.feedback != controller.Turning || w.line.Has(c) || d.byHand || ev.Kind == controller.ShopChanged || ev.Kind == controller.DisconnectSeen {
			k.at[c] = 0 // nothing to wait for, or what was waited for begins anew
		} else if k.at[c] != 0 && w.now-k.at[c] >= controller.Instant(p.ProveOff) && !w.untimed {
			k.set[1] = k.set[1].With(c)
		}
		if ev.Kind != controller.Acknowledged || !accepted {
			continue
		}
		if ev.N == controller.Everything || ev.N == uint8(controller.PathNotKnown) && (ev.V <= 0 || int(ev.V) == c+1) {
			k.set[3] = k.set[3].Without(c) // the way was lost to a motor that stands, or has been told to
		}
		if d.feedback == controller.Turning {
			continue
		}
		if ev.N == controller.Everything {
			k.set[0], k.set[1] = k.set[0].Without(c), k.set[1].Without(c)
		} else if ev.V <= 0 || int(ev.V) == c+1 {
			k.set[2] = k.set[2].With(c) // one of several: judged no further
		}
	}
}

func latchesHold(w *watchers, k *keeps, ev controller.Event, e controller.Effect) {
	c := int(e.N)
	switch {
	case e.Kind == controller.StopCollector:
		k.set[2] = k.set[2].Without(c)
		if w.coll[c].feedback == controller.Turning {
			k.at[c] = w.now
		}
		switch e.Why {
		case controller.BecauseStartNotProved, controller.BecauseTripped, controller.BecauseContactor:
			k.set[0] = k.set[0].With(c)
		case controller.BecauseNoPath:
			k.set[3] = k.set[3].With(c)
		}
	case e.Kind == controller.StartCollector:
		if (k.set[0] | k.set[1] | k.set[3]).Has(c) && !k.set[2].Has(c) {
			w.bad("collector %d starts although nobody acknowledged its fault", c)
		}
		w.try()
		k.at[c], k.set[0], k.set[1], k.set[3] = 0, k.set[0].Without(c), k.set[1].Without(c), k.set[3].Without(c)
	}
}

// runsHasAir keeps in at since when each machine runs without air.
func runsHasAir(w *watchers, k *keeps, ev controller.Event, out []controller.Effect, accepted bool) {
	if w.state == nil {
		return
	}
	var limit controller.Instant
	for g := range w.shop.Gates {
		limit += 2*w.proofTime(g) + 1000 // one after the other, twice tried
	}
	limit += controller.Instant(w.shop.InrushSpacing)
	for c := range w.shop.Collectors { // seen to turn, and not seen to stand since
		switch w.coll[c].feedback {
		case controller.Turning:
			k.set[0] = k.set[0].With(c)
		case controller.Still:
			k.set[0] = k.set[0].Without(c)
		}
	}
	for m := range w.shop.Machines {
		blown := w.mach[m].running
		for c := range w.shop.Collectors {
			if w.shop.Machines[m].Collectors.Has(c) {
				on := w.line.Has(c) || k.set[0].Has(c) || !w.shop.Collectors[c].Starter && !w.shop.Collectors[c].Proof
				blown = blown && w.served(m, c) && on
			}
		}
		if !w.mach[m].running || blown || ev.Kind != controller.Wake { // whatever happens may bring it anew
			k.at[m] = 0
			continue
		}
		if k.at[m] == 0 {
			k.at[m] = w.now
		}
		if w.told(m, controller.NoAir) {
			w.try()
			k.at[m] = w.now // and from now on it may be on its way
		}
		if w.now-k.at[m] >= limit {
			w.bad("machine %d runs without air for %d ms, and nobody is told", m, w.now-k.at[m])
		}
	}
}

// tells is the condition that must stand when a collector is stopped for a reason, or a gate rests for one.
func faultsTold(w *watchers, k *keeps, ev controller.Event, out []controller.Effect, accepted bool) {
	for _, e := range out {
		var of []controller.Condition
		switch {
		case e.Kind == controller.StopCollector && e.Why == controller.BecauseStartNotProved:
			of = []controller.Condition{controller.StartNotProved}
		case e.Kind == controller.StopCollector && e.Why == controller.BecauseTripped:
			of = []controller.Condition{controller.CollectorTripped}
		case e.Kind == controller.StopCollector && e.Why == controller.BecauseContactor:
			of = []controller.Condition{controller.Contactor}
		case e.Kind == controller.StopCollector && e.Why == controller.BecauseNoPath:
			of = []controller.Condition{controller.PathNotKnown}
		case e.Kind == controller.RestGate && e.Why == controller.BecauseGaveUp:
			of = []controller.Condition{controller.GateNotOpen, controller.GateNotClosed}
		case e.Kind == controller.RestGate && e.Why == controller.BecauseChipSilent:
			of = []controller.Condition{controller.GateChipSilent}
		default:
			continue
		}
		w.try()
		if w.state != nil && !w.told(int(e.N), of...) {
			w.bad("effect %+v is a fault's, and %s does not stand", e, of[0])
		}
	}
	if n := int(ev.N); ev.Kind == controller.GateSeen && ev.V == int32(gates.SeenBoth) && n < len(w.shop.Gates) && w.state != nil &&
		w.gate[n].seen == gates.SeenBoth && !w.coll[w.shop.Gates[n].Collector].open {
		w.try()
		if !w.told(n, controller.GateSwitches) {
			w.bad("both switches of gate %d are made, and nobody is told", n)
		}
	}
}
