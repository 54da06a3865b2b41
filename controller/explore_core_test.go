package controller_test

import (
	"hash/maphash"
	"testing"

	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/current"
	"ductwarden/gates"
)

// twoOfEach is a shop of two machines and two gates: a saw whose gate has both switches, and a sweep with a button whose
// gate has none. The saw's air is better with the sweep's gate open, so that relief is asked for too.
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

// coreMoves is all that can happen to a core without time, by letters that a slice may leave out.
func coreMoves(kinds string) func(w *world, to []move) []move {
	has := map[byte]bool{}
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
		}
		for g := range shop.Gates {
			l := &shop.Gates[g].Motion
			for v := gates.SeenNeither; v <= gates.SeenBoth; v++ {
				if (l.OpenSwitch || l.ClosedSwitch) && w.gate[g].seen != v {
					add('g', g, int(v))
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
		}
		for c := range shop.Collectors {
			for f := controller.Still; f <= controller.Unreadable; f++ {
				if w.coll[c].feedback != f {
					add('f', c, int(f))
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
			for id := range controller.Timers(shop) {
				s := w.s
				if _, _, ok := s.Expire(shop, id); ok {
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
	case 'g':
		w.do(controller.GateSeen, n, v, controller.FromSensor)
	case 'c':
		w.do(controller.GateChip, n, v, controller.FromSensor)
	case 's':
		w.do(controller.SelectGate, n, v, controller.FromPage)
	case 'f':
		w.do(controller.CollectorSeen, n, v, controller.FromSensor)
	case 'x':
		w.s.Chatters(n)
		w.do(controller.CollectorSeen, n, v, controller.FromSensor)
	case 'd':
		w.do(controller.DisconnectSeen, n, v, controller.FromSensor)
	case 'o':
		w.do(controller.SelectCollector, n, v, controller.FromPage)
	case 'e':
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
var orderRules = []string{"I1", "I3", "I7", "I8", "I9", "I11", "I12", "I15", "I16", "I17", "I27", "D1", "D3"}

// core is one of the slices (c): what may happen in it is said by letters.
func core(name, kinds, without string, shop *controller.Shop) *slice {
	sl := &slice{name: "(c) " + name, shop: shop, rules: rulesOf(orderRules...), untimed: true, moves: coreMoves(kinds), apply: coreApply, leavesOut: without}
	known := map[uint64]bool{}
	seed := maphash.MakeSeed()
	var buf []byte
	hash := func(s *controller.State) uint64 {
		buf = s.Key(shop, buf[:0])
		return maphash.Bytes(seed, buf)
	}
	checked := map[uint64]bool{}
	sl.visit = func(w *world) string {
		h := hash(&w.s)
		if checked[h] {
			return ""
		}
		checked[h] = true
		if wrong := comesToRest(controller.Step, shop, w.s, known, hash); wrong != "" {
			return "I28: " + wrong
		}
		if wrong := hasWayBack(controller.Step, shop, w.s); wrong != "" {
			return "I30: " + wrong
		}
		sl.visited++
		return ""
	}
	return sl
}

const untimedLeavesOut = "times (a, b, d), flushes, moves of a minute; "

// TestExploreCore is slice (c): the core without time, in complete parts. In each, people do what they like: machines,
// buttons, Ready, halt, finish, acknowledge; and every timer that runs may end at any moment.
func TestExploreCore(t *testing.T) {
	heavy(t)
	parts := []*slice{
		core("what gates report and their chips, two of each", "mbgctrhka", untimedLeavesOut+"what motors report, selectors", twoOfEach(0)),
		core("what the motor reports and chatter, two of each", "mbftxrhka", untimedLeavesOut+"what gates report, selectors", twoOfEach(0)),
		core("holds and selectors, two of each", "mbtsorhka", untimedLeavesOut+"what gates and motors report", twoOfEach(0)),
		core("disconnect, starts, restart, changed file, two of each", "mbtgdeunrhka", untimedLeavesOut+"what motors report, selectors", twoOfEach(0)),
		core("what gate and motor report, all at once, one of each", "mgtfxrhka", untimedLeavesOut+"selectors, chips, the disconnect, a second machine", oneOfEach()),
	}
	if *long {
		work := core("what gate, motor and disconnect report, one of each", "mgtfxdrhka", untimedLeavesOut+"selectors, a second machine", oneOfEach())
		all := core("everything at once, one of each", "mgctfxdesounrhka", untimedLeavesOut+"a second machine", oneOfEach())
		both := core("gates and motor at once, two of each", "mbgtfrhka", untimedLeavesOut+"selectors, chips", twoOfEach(0))
		three := core("what gates report and their chips, three gates", "mbgctrhka", untimedLeavesOut+"what motors report, selectors", threeGates())
		two := core("motors and gates, two collectors", "mbgtfrhka", untimedLeavesOut+"selectors, chips", twoCollectors())
		for _, sl := range []*slice{work, all, both, three, two} {
			sl.visit = nil
			if sl != work { // which is complete: 1.7 million states
				sl.states = 1_000_000
			}
			parts = append(parts, sl)
		}
	}
	for _, sl := range parts {
		t.Run(sl.name, func(t *testing.T) {
			f := sl.holds(t)
			if sl.states == 0 {
				require.True(t, f.complete)
			}
		})
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
