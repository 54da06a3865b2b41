package controller_test

import (
	"ductwarden/controller"
	"ductwarden/gates"
)

// airRules judge a collector under power, how long it runs, and that it has a way.
func airRules() []*rule {
	return []*rule{
		{id: "I2", says: "under power without a known way for at most the longest time that one of its gates needs to prove, then the line is off in that step", after: runsWithAWay},
		{id: "I6", says: "by itself the automatic stops a collector only after its least run; halt, finish, the disconnect and faults do not wait", effect: stopsLate, horizon: func(w *world) controller.Instant {
			return controller.Instant(w.shop.Collectors[0].LeastRun)
		}},
		{id: "I9", says: "halt takes every line off in its step and leaves no gate driven; nothing is on before Ready", after: haltStops},
		{id: "I14", says: "what has settled under power for a second carries, or a condition says what does not: the duct, the share of air, the gate",
			instead: "where a shop can never do better than creep it is said at commissioning, not at every cut; after finish the collector clears and stops, and no_air follows", after: settledCarries},
		{id: "I16", says: "while a motor is seen to run, whatever its line, no effect takes its last known way", event: turningBefore, after: turningKeeps},
		{id: "I23", says: "a machine that runs longer than longest_run is asked after, and when nobody answers calls no more: its collector goes off; so for a collector run by hand",
			after: longRuns},
		{id: "I26", says: "with nobody running, running down or calling, the line is off after clearing and linger, at most longest_linger and the least run", after: quietStops, horizon: func(w *world) controller.Instant {
			return w.longestQuiet(0) + 1
		}},
		{id: "D5", says: "an automatic stop comes at least the least clearing after the last machine, under power", event: lastStops, effect: stopsClear},
		{id: "D6", says: "the effects are the edges of the outputs", after: edgesAreLevels},
	}
}

// noWay keeps in at since when a collector under power has no known way.
func runsWithAWay(w *watchers, k *keeps, ev controller.Event, out []controller.Effect, accepted bool) {
	for c := range w.shop.Collectors {
		if !w.line.Has(c) || w.path(c) {
			k.at[c] = 0
			continue
		}
		w.try()
		if k.at[c] == 0 {
			k.at[c] = w.now
		}
		limit := controller.Instant(w.shop.PathLost)
		for g := range w.shop.Gates {
			if int(w.shop.Gates[g].Collector) == c && !w.shop.Gates[g].Motion.Hand {
				limit = max(limit, w.proofTime(g))
			}
		}
		if w.now-k.at[c] >= limit {
			w.bad("collector %d runs for %d ms without a way", c, w.now-k.at[c])
		}
	}
}

// isAutomatic reports whether a stop was the automatic's own decision.
func isAutomatic(why controller.Reason) bool {
	switch why {
	case controller.BecauseLingered, controller.BecauseLongestLinger, controller.BecauseLeastRun, controller.BecauseBudget:
		return true
	}
	return false
}

func stopsLate(w *watchers, k *keeps, ev controller.Event, e controller.Effect) {
	switch {
	case e.Kind == controller.StartCollector:
		k.at[e.N] = w.now
	case e.Kind == controller.StopCollector && isAutomatic(e.Why):
		w.try()
		if on := w.now - k.at[e.N]; on < controller.Instant(w.shop.Collectors[e.N].LeastRun) {
			w.bad("collector %d stops by itself after %d ms", e.N, on)
		}
	}
}

func haltStops(w *watchers, k *keeps, ev controller.Event, out []controller.Effect, accepted bool) {
	if ev.Kind == controller.HaltPressed && accepted {
		w.try()
		if w.line != 0 || w.drive != [most]gates.Drive{} {
			w.bad("a start line or a gate's drive is on after halt")
		}
	}
	if !w.duty && w.line != 0 {
		w.bad("start lines %b are on while nobody is on duty", w.line)
	}
}

func settledCarries(w *watchers, k *keeps, ev controller.Event, out []controller.Effect, accepted bool) {
	if w.carries == nil || w.shop.EverythingOpen {
		return
	}
	still := true
	var open, run gates.Set
	for g := range w.shop.Gates {
		still = still && w.drive[g] == gates.DriveNone && !w.gate[g].pauses
		if w.isOpen(g) {
			open = open.With(g)
		}
	}
	for m := range w.shop.Machines {
		if w.mach[m].running {
			run = run.With(m)
		}
	}
	for c := range w.shop.Collectors {
		of := gates.Set(0)
		for m := range run.All() {
			if w.shop.Machines[m].Collectors.Has(c) {
				of = of.With(m)
			}
		}
		if !w.line.Has(c) || !w.coll[c].fresh || !still || of == 0 || w.coll[c].feedback != controller.Turning || w.carries(open, of) {
			k.at[c] = 0
			continue
		}
		if k.at[c] == 0 {
			k.at[c] = w.now
		}
		if w.now-k.at[c] < 1000 {
			continue
		}
		w.try()
		if !w.told(-1, controller.DuctNotCarried, controller.AirShort, controller.AirFarShort, controller.GateNotOpen, controller.GateNotClosed,
			controller.GateMoved, controller.GateChipSilent, controller.GateSwitches, controller.NoAir, controller.RunsLong) {
			w.bad("machines %b with gates %b open do not carry, and nobody is told", of, open)
		}
	}
}

// turningBefore keeps in set 0 the collectors that are seen to turn and have a way once the event is known.
func turningBefore(w *watchers, k *keeps, ev controller.Event, accepted bool) {
	k.set[0] = 0
	for c := range w.shop.Collectors {
		if w.coll[c].feedback == controller.Turning && w.path(c) {
			k.set[0] = k.set[0].With(c)
		}
	}
}

func turningKeeps(w *watchers, k *keeps, ev controller.Event, out []controller.Effect, accepted bool) {
	for c := range k.set[0].All() {
		w.try()
		if !w.path(c) {
			w.bad("collector %d turns, and the step took its last way", c)
		}
	}
	k.set[0] = 0
}

// busy reports whether somebody keeps collector c on; since tells when each machine last wanted air.
func (w *watchers) busy(c int, stopped *[most]controller.Instant, without gates.Set) bool {
	if w.coll[c].held {
		return true
	}
	for m := range w.shop.Machines {
		p := &w.shop.Machines[m]
		if !p.Collectors.Has(c) || without.Has(m) {
			continue
		}
		if w.wants(m) {
			return true
		}
		if stopped[m] != 0 && w.now-stopped[m] <= controller.Instant(p.RunDown) {
			return true
		}
	}
	return false
}

// stopTimes keeps when each machine ceased to run or to be called.
func (w *watchers) stopTimes(k *keeps) {
	for m := range w.shop.Machines {
		switch {
		case w.wants(m):
			k.set[2] = k.set[2].With(m)
		case k.set[2].Has(m):
			k.set[2] = k.set[2].Without(m)
			k.list[0].at[m] = w.now
		}
	}
}

// longestQuiet is how long a collector may run for nobody.
func (w *watchers) longestQuiet(c int) controller.Instant {
	return controller.Instant(max(w.shop.LongestLinger, w.shop.LeastClearing)) + controller.Instant(w.shop.Collectors[c].LeastRun)
}

func quietStops(w *watchers, k *keeps, ev controller.Event, out []controller.Effect, accepted bool) {
	w.stopTimes(k)
	stopped := (*[most]controller.Instant)(k.list[0].at[:most])
	for c := range w.shop.Collectors {
		if !w.line.Has(c) || w.busy(c, stopped, 0) {
			k.at[c] = 0
			continue
		}
		w.try()
		if k.at[c] == 0 {
			k.at[c] = w.now
		}
		if quiet := w.now - k.at[c]; quiet > w.longestQuiet(c) {
			w.bad("collector %d has been on for %d ms without anybody", c, quiet)
		}
	}
}

// longRuns keeps in list 1 since when each machine runs, and in list 2 since when a person attends each collector.
func longRuns(w *watchers, k *keeps, ev controller.Event, out []controller.Effect, accepted bool) {
	w.stopTimes(k)
	since, attended := &k.list[1].at, &k.list[2].at
	longest := func(m int) controller.Instant {
		if own := w.shop.Machines[m].LongestRun; own > 0 {
			return controller.Instant(own)
		}
		return controller.Instant(w.shop.LongestRun)
	}
	var over gates.Set
	for m := range w.shop.Machines {
		asked := since[m] != 0 && w.now-since[m] >= longest(m)
		answers := ev.Kind == controller.Acknowledged && accepted && (ev.N == controller.Everything || ev.N == uint8(controller.RunsLong) && (ev.V <= 0 || int(ev.V) == m+1))
		switch {
		case !w.mach[m].running:
			since[m] = 0
		case since[m] == 0, ev.Kind == controller.ReadyPressed && accepted, asked && answers:
			since[m] = w.now
		case asked && w.duty:
			w.try()
			if !w.told(m, controller.RunsLong) {
				w.bad("machine %d runs for %d ms and nobody is asked", m, w.now-since[m])
			}
			if w.now-since[m] >= longest(m)+controller.Instant(w.shop.LongRunGrace) {
				over = over.With(m)
			}
		}
	}
	stopped := (*[most]controller.Instant)(k.list[0].at[:most])
	for c := range w.shop.Collectors {
		w.attends(k, ev, accepted, c, &attended[c])
		held := w.coll[c].held
		if held && attended[c] != 0 && w.now-attended[c] >= controller.Instant(w.shop.LongestRun)+controller.Instant(w.shop.LongRunGrace) {
			w.coll[c].held = false
		}
		if !w.line.Has(c) || w.busy(c, stopped, over) {
			k.at[c] = 0
		} else if k.at[c] == 0 {
			k.at[c] = w.now
		}
		w.coll[c].held = held
		if k.at[c] != 0 && w.now-k.at[c] > w.longestQuiet(c) {
			w.bad("collector %d is on %d ms after nobody answered", c, w.now-k.at[c])
		}
	}
}

// attends keeps when a person last attended a collector that is run by hand through the program.
func (w *watchers) attends(k *keeps, ev controller.Event, accepted bool, c int, at *controller.Instant) {
	switch {
	case !w.coll[c].held:
		*at = 0
	case *at == 0, ev.Kind == controller.SelectCollector && accepted && int(ev.N) == c:
		*at = w.now
	case w.started, ev.Kind == controller.CallAir && accepted, ev.Kind == controller.MachinePressed && accepted:
		*at = w.now
	case w.line.Has(c) && !k.set[0].Has(c):
		*at = w.now
	case w.now-*at >= controller.Instant(w.shop.LongestRun):
		if ev.Kind == controller.Acknowledged && accepted {
			*at = w.now
		}
	}
	k.set[0] = k.set[0].Without(c)
	if w.line.Has(c) {
		k.set[0] = k.set[0].With(c)
	}
}

func lastStops(w *watchers, k *keeps, ev controller.Event, accepted bool) { w.stopTimes(k) }

func stopsClear(w *watchers, k *keeps, ev controller.Event, e controller.Effect) {
	if e.Kind == controller.StartCollector {
		k.at[e.N] = w.now
	}
	if e.Kind != controller.StopCollector || !isAutomatic(e.Why) {
		return
	}
	w.try()
	for m := range w.shop.Machines {
		ended := k.list[0].at[m]
		if w.shop.Machines[m].Collectors.Has(int(e.N)) && w.mach[m].pressed == 0 && ended > k.at[e.N] && w.now-ended < controller.Instant(w.shop.LeastClearing) {
			w.bad("collector %d stops %d ms after machine %d", e.N, w.now-ended, m)
		}
	}
}

func edgesAreLevels(w *watchers, k *keeps, ev controller.Event, out []controller.Effect, accepted bool) {
	if w.state == nil {
		return
	}
	w.try()
	lines, drive := w.state.Levels()
	if lines != w.line {
		w.bad("start lines are %b, by the effects %b", lines, w.line)
	}
	if [most]gates.Drive(drive[:most]) != w.drive {
		w.bad("drives are %v, by the effects %v", drive[:most], w.drive)
	}
}
