package controller_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/current"
	"ductwarden/gates"
)

// twoOfEach is a shop of two machines and two gates: a saw whose gate has both switches, and a sweep with a button whose
// gate has none.
func twoOfEach(rest controller.Span) *controller.Shop {
	const s = controller.Second
	p := &controller.Shop{Name: "two", Linger: 60 * s, LongestLinger: 300 * s, LeastClearing: 5 * s, MovingAtOnce: 1, MovesPerMinute: 6,
		LongestRun: 1800 * s, LongRunGrace: 300 * s, LongestHold: 600 * s, InrushSpacing: 3 * s, Warning: 5 * s, PathLost: 3 * s}
	needs := []gates.Set{gates.Of(0), gates.Of(1)}
	p.Gates = []controller.Gate{{ID: "saw", Name: "saw", Motion: gates.Limits{Travel: 1000, OpenSwitch: true, ClosedSwitch: true}},
		{ID: "sweep", Name: "sweep", Motion: gates.Limits{Travel: 1000}}}
	p.Machines = []controller.Machine{{ID: "saw", Name: "saw", Needs: needs[0], Collectors: gates.Of(0), RunDown: 4 * s, Sensed: true},
		{ID: "sweep", Name: "sweep", Needs: needs[1], Collectors: gates.Of(0), RunDown: 4 * s, Button: 30 * s}}
	p.Collectors = []controller.Collector{{ID: "collector", Name: "collector", Starter: true, Proof: true, StartsPerHour: 2, Rest: rest, LeastRun: 30 * s,
		SpinUp: 3 * s, Coast: 40 * s, ProveOn: 2 * s, ProveOff: 3 * s, Ways: []gates.Set{needs[1], needs[0]},
		Planner: &tablePlanner{needs: needs, clear: 2 * s, extra: map[gates.Set]gates.Set{}, poor: map[gates.Set]bool{}}}}
	return p
}

// oneOfEach is the saw of that shop alone.
func oneOfEach() *controller.Shop {
	p := twoOfEach(0)
	p.Gates, p.Machines = p.Gates[:1], p.Machines[:1]
	p.Collectors[0].Ways = []gates.Set{gates.Of(0)}
	p.Collectors[0].Planner = &tablePlanner{needs: []gates.Set{gates.Of(0)}, clear: 2 * controller.Second}
	return p
}

// again marks the variant of a move in which something has been before that the merged state does not tell.
const again = 1 << 6

// coreMoves is all that can happen to a core without time, by letters that a slice may leave out.
func coreMoves(kinds string) func(w *world, to []move) []move {
	var has [256]bool
	for i := range kinds {
		has[kinds[i]] = true
	}
	return func(w *world, to []move) []move {
		shop := w.slice.shop
		add := func(letter byte, n, v int) {
			if has[letter] {
				to = append(to, move{letter, uint8(n), uint8(v)})
			}
		}
		for m := range shop.Machines {
			for b := range 3 {
				if shop.Machines[m].Sensed && w.mach[m].belief != current.Belief(b) {
					add('m', m, b)
				}
			}
			if shop.Machines[m].Button > 0 {
				add('b', m, 0)
			}
			add('q', m, 0)
		}
		for g := range shop.Gates {
			l := &shop.Gates[g].Motion
			for v := gates.SeenNeither; v <= gates.SeenBoth; v++ {
				if (l.OpenSwitch || l.ClosedSwitch) && w.gate[g].seen != v && !(w.slice.merges && v == gates.SeenBoth) {
					add('g', g, int(v))
					if w.slice.merges && v != gates.SeenOpen && w.s.MayBeRedriven(g) {
						add('g', g, int(v)|again)
					}
				}
			}
			if !w.gate[g].silent {
				add('c', g, 1)
			} else {
				add('c', g, 0)
			}
			add('c', g, 2)
			for v := range 3 {
				add('s', g, v)
			}
			for v := range 2 {
				add('S', g, v)
			}
		}
		for c := range shop.Collectors {
			for f := controller.Still; f <= controller.Unreadable; f++ {
				if w.coll[c].feedback != f {
					add('f', c, int(f))
					if w.slice.merges && w.coll[c].feedback == controller.Unreadable && w.s.ProofRuns(c) {
						add('f', c, int(f)|again)
					}
					if w.line.Has(c) {
						add('x', c, int(f))
					}
				}
			}
			if w.coll[c].open {
				add('d', c, 0)
			} else {
				add('d', c, 1)
			}
			for v := range 3 {
				add('o', c, v)
			}
			add('e', c, 0)
		}
		for _, k := range "rhka" {
			add(byte(k), 0, 0)
		}
		add('u', 0, 0)
		add('u', 0, 1)
		add('n', 0, 0)
		if has['t'] {
			var before controller.Saved
			w.s.Save(&before)
			for id := range controller.Timers(shop) {
				what, _, ok := w.s.Expire(shop, id)
				if ok {
					w.s.Restore(&before)
				}
				switch {
				case !ok, !has['l'] && (strings.HasPrefix(what, "long run") || strings.HasPrefix(what, "attention")):
				case w.slice.merges && what == "drive":
					to = append(to, move{'t', uint8(id), 0}, move{'t', uint8(id), 1})
				default:
					to = append(to, move{'t', uint8(id), 0})
				}
			}
		}
		return to
	}
}

// coreApply lets one of them happen.
func coreApply(w *world, m move) {
	n, v, shop := int(m.n), int32(m.v), w.slice.shop
	switch m.kind {
	case 'm':
		w.do(controller.MachineSeen, n, v, controller.FromSensor)
	case 'b':
		w.do(controller.MachinePressed, n, 0, controller.FromButton)
	case 'q':
		w.do(controller.CallAir, n, 0, controller.FromPage)
	case 'g':
		if v&again != 0 {
			w.s.Redriven(n)
		}
		w.do(controller.GateSeen, n, v&^again, controller.FromSensor)
	case 'c':
		w.do(controller.GateChip, n, v, controller.FromSensor)
	case 's', 'S':
		w.do(controller.SelectGate, n, v, controller.FromPage)
	case 'f':
		if v&again != 0 {
			w.s.ProofOver(n)
		}
		w.do(controller.CollectorSeen, n, v&^again, controller.FromSensor)
	case 'x':
		w.s.Chatters(n)
		w.do(controller.CollectorSeen, n, v, controller.FromSensor)
	case 'd':
		w.do(controller.DisconnectSeen, n, v, controller.FromSensor)
	case 'o':
		w.do(controller.SelectCollector, n, v, controller.FromPage)
	case 'e':
		if w.slice.merges {
			w.do(controller.Wake, 0, 0, controller.FromProgram)
			return
		}
		w.s.Spend(shop, n, !w.s.Spent(shop, n))
		w.do(controller.Wake, 0, 0, controller.FromProgram)
	case 'r':
		w.do(controller.ReadyPressed, 0, 0, controller.FromButton)
	case 'h':
		w.do(controller.HaltPressed, 0, 0, controller.FromButton)
	case 'k':
		w.do(controller.FinishPressed, 0, 0, controller.FromButton)
	case 'a':
		w.do(controller.Acknowledged, int(controller.Everything), 0, controller.FromButton)
	case 'u':
		w.do(controller.Restarted, 0, v, controller.FromProgram)
	case 'n':
		w.do(controller.ShopChanged, 0, 0, controller.FromProgram)
	case 't':
		if v == 1 {
			w.s.LastTry((n - 5*len(shop.Machines)) / 3)
		}
		what, of, _ := w.s.Expire(shop, n)
		if what == "button" {
			w.mach[of].pressed = 0
		}
		if what == "hold" {
			w.gate[of].held = 0
		}
		w.do(controller.Wake, 0, 0, controller.FromProgram)
	}
}

// rulesOf are observers by their numbers.
func rulesOf(ids ...string) (out []*rule) {
	for _, id := range ids {
		out = append(out, ruleOf(id))
	}
	return out
}

// orderRules judge the order of things and need no time.
var orderRules = []string{"I1", "I3", "I7", "I8", "I9", "I11", "I12", "I15", "I16", "I17", "D1", "D3"}

// untimedLeavesOut is what every slice (c) leaves to others: times are in (a), (b) and (d), what a fault tells in (d).
const untimedLeavesOut = "times (a, b, d), flushes, moves of a minute"

// byOutcomes is a slice (c) in which a gate reports any outcome that (a) allows, and what has the same consequences counts
// as one state: State.Merge. What may happen in it is said by letters.
func byOutcomes(name, kinds, without string, shop *controller.Shop) *slice {
	sl := &slice{name: "(c) " + name, shop: shop, rules: rulesOf(orderRules...), untimed: true, merges: true, moves: coreMoves(kinds), apply: coreApply,
		leavesOut: untimedLeavesOut + without}
	sl.visit = restsAndReturns(shop)
	return sl
}

// undivided is a slice (c) in which nothing counts as the same, long runs and both switches at once included.
func undivided(name, kinds, without string, shop *controller.Shop) *slice {
	sl := byOutcomes(name, kinds, without, shop)
	sl.merges, sl.rules = false, append(sl.rules, ruleOf("I27"))
	return sl
}

// restsAndReturns puts I28 and I30 to the test in every state of the core that a slice reaches: with nothing happening it
// comes to rest, and a person who mends, acknowledges and presses Ready has the air back. Times are real ones here.
func restsAndReturns(shop *controller.Shop) func(w *world) string {
	seen, rests, returns := newMemo(), newMemo(), newMemo()
	return func(w *world) string {
		h := seen.hash(shop, &w.s)
		if seen.has(h) {
			return ""
		}
		seen.add(h)
		if wrong := comesToRest(controller.Step, shop, w.s, rests); wrong != "" {
			return "I28: " + wrong
		}
		if wrong := hasWayBack(controller.Step, shop, w.s, returns); wrong != "" {
			return "I30: " + wrong
		}
		w.visited++
		return ""
	}
}

// TestExploreCore is slice (c): the core without time, in complete parts. People do what they like: machines, buttons, Ready,
// halt, finish, acknowledge, holds; every timer that runs may end at any moment; and everything else may fail at once.
func TestExploreCore(t *testing.T) {
	heavy(t)
	parts := []*slice{
		byOutcomes("all faults at once, two gates and two machines", "mbgctfxdSeunrhka", ", long runs, Off and the collector by hand (-long)", twoOfEach(0)),
		undivided("gates and motor undivided, one of each", "mgtlfxrhka", ", chips, the disconnect, selectors, starts", oneOfEach()),
	}
	if *long {
		parts = append(parts,
			byOutcomes("all faults and selectors at once, two gates and two machines", "mbgctfxdsoeunrhka", ", long runs, calls from elsewhere", twoOfEach(0)),
			byOutcomes("calls from elsewhere, gates and motor, two gates and two machines", "mbqgtfrhka", ", long runs, chips, chatter, the disconnect, starts, selectors", twoOfEach(0)),
			undivided("gates, motor, holds and selectors undivided, one of each", "mgtlfxsorhka", ", chips, the disconnect, starts", oneOfEach()),
			undivided("chips, motor, disconnect, starts and restarts undivided, one of each", "mgctlfdeunrhka", ", chatter, selectors", oneOfEach()),
			byOutcomes("gates, motor, disconnect, starts, restarts and a changed file at once, three gates", "mbgtfdeunrhka", ", long runs, chips, chatter, selectors", threeGates()),
			byOutcomes("gates, their chips and the motor at once, three gates", "mbgctfrhka", ", long runs, chatter, the disconnect, starts, selectors", threeGates()),
			byOutcomes("gates, motors, starts, restarts and a changed file at once, two collectors", "mbgtfeunrhka", ", a second start before a restart (the spacing of starts does not end without time), long runs, chips, chatter, disconnects, selectors", twoCollectors()))
	}
	for i, sl := range parts {
		if i >= 2 { // tens of millions of states: rest and a way back are looked for in the others
			sl.visit = nil
		}
		t.Run(sl.name, func(t *testing.T) { require.True(t, sl.holds(t).complete) })
	}
}

// threeGates adds to the two a gate of nobody's, with an open switch.
func threeGates() *controller.Shop {
	p := twoOfEach(0)
	p.Gates = append(p.Gates, controller.Gate{ID: "spare", Name: "spare", Motion: gates.Limits{Travel: 1000, OpenSwitch: true}})
	p.Collectors[0].Ways = append(p.Collectors[0].Ways, gates.Of(2))
	return p
}

// twoCollectors gives the sweep a collector of its own.
func twoCollectors() *controller.Shop {
	p := twoOfEach(0)
	second := p.Collectors[0]
	p.Collectors[0].Ways, second.Ways = []gates.Set{gates.Of(0)}, []gates.Set{gates.Of(1)}
	second.ID, second.Name = "second", "second"
	p.Collectors = append(p.Collectors, second)
	p.Gates[1].Collector, p.Machines[1].Collectors = 1, gates.Of(1)
	return p
}

// heavy skips what explores far where that would only be slow: it runs in the plain tests.
func heavy(t *testing.T) {
	if underRace || testing.Short() || testing.CoverMode() != "" {
		t.Skip("exploration runs in the plain tests: go test ./controller")
	}
	t.Parallel()
}
