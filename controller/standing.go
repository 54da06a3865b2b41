package controller

import (
	"ductwarden/controller/plan"
	"ductwarden/current"
	"ductwarden/gates"
)

// Standing appends the conditions that hold now, in the order of the alarm list and then of the shop file.
func (s *State) Standing(shop *Shop, out []Standing) []Standing {
	t := view(shop, s)
	from := len(out)
	t.standing(func(k Standing) {
		out = append(out, k)
		for j := len(out) - 1; j > from && out[j].Is < out[j-1].Is; j-- { // few, and nearly in order
			out[j], out[j-1] = out[j-1], out[j]
		}
	})
	return out
}

func (t *turn) standing(add func(Standing)) {
	say := func(holds bool, k Condition, n int) {
		if holds {
			add(Standing{Is: k, N: uint8(n), A: plan.NoDuct, B: plan.NoMachine})
		}
	}
	for n := range t.shop.Gates {
		t.gateStanding(n, say)
	}
	for n := range t.shop.Machines {
		t.machineStanding(n, say)
	}
	for c := range t.shop.Collectors {
		t.airStanding(c, add)
		t.collectorStanding(c, say)
	}
	say(t.s.unclean, UncleanEnd, Everything)
}

func (t *turn) gateStanding(n int, say func(bool, Condition, int)) {
	g := &t.s.gate[n]
	if t.s.collector[t.shop.Gates[n].Collector].disconnected {
		return // somebody works there: what the gates show is theirs
	}
	m, l := &g.motion, &t.shop.Gates[n].Motion
	say(m.Where == gates.Failed && m.Way == gates.DriveOpen, GateNotOpen, n)
	say(m.Where == gates.Failed && m.Way != gates.DriveOpen, GateNotClosed, n)
	say(m.Seen == gates.SeenBoth, GateSwitches, n)
	say(m.Left != gates.DriveNone && !l.Hand, GateMoved, n)
	say(g.silent, GateChipSilent, n)
}

func (t *turn) machineStanding(n int, say func(bool, Condition, int)) {
	m, p := &t.s.machine[n], &t.shop.Machines[n]
	say(p.Sensed && m.belief == current.Unknown, SensorLost, n)
	say(t.noAir(n), NoAir, n)
	say(t.mustRestart(n), MustRestart, n)
	say(m.ran != 0 && t.s.mode == OnDuty && t.s.now-m.ran >= Instant(t.longestRun(n)), RunsLong, n)
}

// mustRestart reports whether machine n runs and has not called the collector that stands.
func (t *turn) mustRestart(n int) bool {
	if t.s.mode != OnDuty || !t.s.machine[n].runs() {
		return false
	}
	for c := range t.shop.Collectors {
		if t.shop.Machines[n].Collectors.Has(c) && t.shop.Collectors[c].Starter && !t.moves(c) &&
			t.s.machine[n].calls>>uint(c)&1 == 0 && !t.s.collector[c].disconnected {
			return true
		}
	}
	return false
}

// Shares of the wanted air below which somebody must know (ASHRAE Guideline 36, the tiers of low flow, read in a
// secondary copy).
const (
	shortShare    plan.Ratio = 7000
	farShortShare plan.Ratio = 5000
)

// airStanding says where the air in force is too slow or too little. What a shop can never do better, alone and
// with all that is usable, is said at commissioning and not at every cut.
func (t *turn) airStanding(c int, add func(Standing)) {
	col := &t.s.collector[c]
	a := &col.answer
	if !col.asked || col.flushing != noFlush || !t.active(c) {
		return
	}
	several := (t.run[c] | t.down[c]).Len() > 1
	slow := a.Verdict == plan.Settles || a.Verdict == plan.Creeps && several && a.Mend != plan.NoMachine
	if slow && a.Weakest != plan.NoDuct {
		add(Standing{Is: DuctNotCarried, N: uint8(c), A: a.Weakest, B: a.Mend, V: a.Margin})
	}
	switch {
	case a.Share == plan.NoRatio, a.Short == plan.NoMachine:
	case a.Unserved.Has(int(a.Short)): // a gate that cannot open is an alarm of its own
	case a.Share < farShortShare:
		add(Standing{Is: AirFarShort, N: uint8(c), A: a.Short, B: a.Mend, V: a.Share})
	case a.Share < shortShare && several:
		add(Standing{Is: AirShort, N: uint8(c), A: a.Short, B: a.Mend, V: a.Share})
	}
}

func (t *turn) collectorStanding(c int, say func(bool, Condition, int)) {
	col, p := &t.s.collector[c], &t.shop.Collectors[c]
	why, waits := t.waits(c)
	say(col.latch&latchStart != 0, StartNotProved, c)
	say(col.latch&latchTrip != 0, CollectorTripped, c)
	say(col.latch&latchStop != 0, StopNotProved, c)
	say(col.latch&latchContactor != 0, Contactor, c)
	say(col.latch&latchPath != 0, PathNotKnown, c)
	say(col.phase == ByHand && p.Starter, RunsByHand, c)
	say(col.selector == gates.HeldOpen && col.powered() && t.s.now-col.attended >= Instant(t.shop.LongestRun), RunsUnattended, c)
	say(p.Proof && col.feedback == Unreadable && !col.disconnected, ProofLost, c)
	say(waits && why == BecauseRests, MustRest, c)
	say(waits && why == BecauseStartsSpent, StartsSpent, c)
	say(col.disconnected, WorkOnCollector, c)
	say(col.full, BinFull, c)
	say(col.loaded && p.FilterSensor, FilterLoaded, c)
	say(col.air == 1, Plugged, c)
	say(col.air == 2, SuctionLow, c)
	say(col.air == 3, TapUntrue, c)
}

// waits reports whether the condition asks a person to do something: it lights the alarm lamp.
func (c Condition) waits() bool {
	switch c {
	case MustRest, StartsSpent, RunsByHand, WorkOnCollector:
		return false
	}
	return c != NoCondition
}
