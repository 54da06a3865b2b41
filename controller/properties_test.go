package controller_test

import (
	"fmt"
	"hash/maphash"
	"math/rand/v2"
	"reflect"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/plan"
	"ductwarden/current"
	"ductwarden/gates"
)

// Some invariants are about the core itself and not about one trace: they compare two runs, or ask what a state can
// still become. Each is a function over a stepper, so that a bad one can be tried too. An empty answer says that it holds.
type stepper func(*controller.Shop, *controller.State, controller.Event, []controller.Effect) []controller.Effect

// property is an invariant of that kind.
type property struct{ id, observer, says, instead string }

var properties = []property{
	{"I18", "enables", "a fault's own step closes nothing and starts nothing, and with it no collector starts that would not without it",
		"a later close may come earlier than without the fault, where a gate that was waited for left the plan; I3 and I15 judge what it takes away"},
	{"I19", "total", "Step is total: no state, event or time panics; it allocates nothing (TestStepAllocatesNothing), asks each planner at most six times and returns a bounded number of effects", ""},
	{"I20", "repeats", "the same event in the same state brings the same state and the same effects", ""},
	{"I21", "shifted", "times count only against each other: the same trace a day later brings the same effects", "no wall time is in Event or State: their fields are read by a test"},
	{"I28", "comesToRest", "from every state, with nothing happening any more, the core comes to rest within the sum of its longest times", "the notes' bound leaves out the times that people set: holds, buttons, long runs"},
	{"I30", "hasWayBack", "from every state a person who mends, acknowledges and presses Ready has the shop on duty with air at the next start", ""},
}

// enables says what a fault enabled: closes and starts of its own step, or of the next in the run with it and not in
// the run without.
func enables(own, well, ill []controller.Effect, on gates.Set) string {
	for _, e := range own {
		if e.Kind == controller.CloseGate || e.Kind == controller.StartCollector {
			return fmt.Sprintf("the fault's own step brings %+v", e)
		}
	}
	for _, e := range well {
		if e.Kind == controller.StartCollector {
			on = on.With(int(e.N))
		}
	}
	for _, e := range ill {
		if e.Kind == controller.StartCollector && !on.Has(int(e.N)) {
			return fmt.Sprintf("with the fault collector %d starts, without it not", e.N)
		}
	}
	return ""
}

// counting counts what a planner is asked.
type counting struct {
	of    plan.Planner
	asked *int
}

func (c counting) Choose(q plan.Question) plan.Answer { *c.asked++; return c.of.Choose(q) }

// total says how one step fails to be total.
func total(step stepper, shop *controller.Shop, s controller.State, ev controller.Event) (wrong string) {
	asked := 0
	counted := *shop
	counted.Collectors = append([]controller.Collector(nil), shop.Collectors...)
	for c := range counted.Collectors {
		counted.Collectors[c].Planner = counting{shop.Collectors[c].Planner, &asked}
	}
	defer func() {
		if v := recover(); v != nil {
			wrong = fmt.Sprintf("it panics: %v", v)
		}
	}()
	out := step(&counted, &s, ev, make([]controller.Effect, 0, 64))
	switch {
	case asked > 6*len(shop.Collectors):
		return fmt.Sprintf("its planners are asked %d times", asked)
	case len(out) > 2*len(shop.Gates)+3*len(shop.Collectors)+9:
		return fmt.Sprintf("it brings %d effects", len(out))
	}
	return ""
}

// repeats says where the same step brings something else.
func repeats(step stepper, shop *controller.Shop, s controller.State, ev controller.Event) string {
	one, two := s, s
	a, b := step(shop, &one, ev, nil), step(shop, &two, ev, nil)
	if one != two || !reflect.DeepEqual(a, b) {
		return fmt.Sprintf("%+v brings %+v, and again %+v", ev, a, b)
	}
	return ""
}

// shifted says where a state a day later does something else.
func shifted(step stepper, shop *controller.Shop, s controller.State, ev controller.Event) string {
	const day = 86_400_000
	later, err := controller.Revive(shop, s.Key(shop, nil), s.Now()+day)
	if err != nil {
		return err.Error()
	}
	a := step(shop, &s, ev, nil)
	ev.At += day
	b := step(shop, &later, ev, nil)
	if !reflect.DeepEqual(a, b) || string(s.Key(shop, nil)) != string(later.Key(shop, nil)) {
		return fmt.Sprintf("%+v brings %+v, a day later %+v", ev, a, b)
	}
	return ""
}

// longestTimes is when a shop in which nothing happens must have come to rest.
func longestTimes(shop *controller.Shop) controller.Instant {
	sum := controller.Instant(shop.LongestRun+shop.LongRunGrace)*2 + controller.Instant(shop.LongestLinger+shop.LeastClearing+shop.LongestHold) + 4*controller.Instant(controller.Hour)
	for c := range shop.Collectors {
		p := &shop.Collectors[c]
		sum += controller.Instant(p.Rest+p.LeastRun+p.Coast+p.SpinUp) + controller.Instant(controller.Hour)
	}
	for m := range shop.Machines {
		sum += controller.Instant(shop.Machines[m].RunDown) + 10*controller.Instant(controller.Minute)
	}
	return sum
}

// comesToRest says how a state does not come to rest although nothing happens. known, if not nil, holds states that do.
func comesToRest(step stepper, shop *controller.Shop, s controller.State, known *memo) string {
	end := s.Now() + longestTimes(shop)
	var passed []uint64
	for range 2000 {
		if known != nil {
			h := known.hash(shop, &s)
			if known.has(h) {
				known.add(passed...)
				return ""
			}
			passed = append(passed, h)
		}
		at, ok := s.Wake(shop)
		if !ok {
			known.add(passed...)
			return ""
		}
		out := step(shop, &s, controller.Event{At: at, Kind: controller.Wake}, nil)
		if s.Now() > end && len(out) > 0 {
			return fmt.Sprintf("%d ms after everything ended it still does %+v", s.Now()-end, out)
		}
		if s.Now() > end+24*controller.Instant(controller.Hour) {
			return "it wants to be called for ever"
		}
	}
	return fmt.Sprintf("it wants to be called for ever: %d ms after its longest times now", s.Now()-end)
}

// memo holds hashes of states, for several workers at once.
type memo struct {
	seed maphash.Seed
	part [shards]struct {
		sync.Mutex
		of map[uint64]struct{}
	}
}

func newMemo() *memo { return &memo{seed: maphash.MakeSeed()} }

func (m *memo) hash(shop *controller.Shop, s *controller.State) uint64 {
	var room [512]byte
	return maphash.Bytes(m.seed, s.Key(shop, room[:0]))
}

func (m *memo) has(h uint64) bool {
	p := &m.part[h%shards]
	p.Lock()
	defer p.Unlock()
	_, ok := p.of[h]
	return ok
}

func (m *memo) add(all ...uint64) {
	if m == nil {
		return
	}
	for _, h := range all {
		p := &m.part[h%shards]
		p.Lock()
		if p.of == nil {
			p.of = map[uint64]struct{}{}
		}
		p.of[h] = struct{}{}
		p.Unlock()
	}
}

// mended is a shop in which everything follows the core at once.
type mended struct {
	step stepper
	shop *controller.Shop
	s    controller.State
}

func (m *mended) do(ev controller.Event) (refused bool) {
	ev.At = m.s.Now()
	queue := []controller.Event{ev}
	for range 200 {
		if len(queue) == 0 {
			return refused
		}
		next := queue[0]
		queue = queue[1:]
		for _, e := range m.step(m.shop, &m.s, next, nil) {
			follow := controller.Event{At: m.s.Now(), By: controller.FromSensor, N: e.N}
			switch e.Kind {
			case controller.OpenGate:
				follow.Kind, follow.V = controller.GateSeen, int32(gates.SeenOpen)
			case controller.CloseGate:
				follow.Kind, follow.V = controller.GateSeen, int32(gates.SeenClosed)
			case controller.StartCollector:
				follow.Kind, follow.V = controller.CollectorSeen, int32(controller.Turning)
			case controller.StopCollector:
				follow.Kind, follow.V = controller.CollectorSeen, int32(controller.Still)
			case controller.Answered:
				refused = refused || e.V != 0
				continue
			default:
				continue
			}
			queue = append(queue, follow)
		}
	}
	return refused
}

func (m *mended) wait(d controller.Span) {
	end := m.s.Now() + controller.Instant(d)
	for range 2000 {
		at, ok := m.s.Wake(m.shop)
		if !ok || at > end {
			break
		}
		m.wake(at)
	}
	m.wake(end)
}

func (m *mended) wake(at controller.Instant) {
	var queue []controller.Effect
	queue = m.step(m.shop, &m.s, controller.Event{At: at, Kind: controller.Wake}, queue)
	for _, e := range queue {
		switch e.Kind {
		case controller.OpenGate:
			m.do(controller.Event{Kind: controller.GateSeen, By: controller.FromSensor, N: e.N, V: int32(gates.SeenOpen)})
		case controller.CloseGate:
			m.do(controller.Event{Kind: controller.GateSeen, By: controller.FromSensor, N: e.N, V: int32(gates.SeenClosed)})
		case controller.StartCollector:
			m.do(controller.Event{Kind: controller.CollectorSeen, By: controller.FromSensor, N: e.N, V: int32(controller.Turning)})
		case controller.StopCollector:
			m.do(controller.Event{Kind: controller.CollectorSeen, By: controller.FromSensor, N: e.N, V: int32(controller.Still)})
		}
	}
}

// hasWayBack says why a person cannot bring the shop back: everything is mended and at rest, acknowledged, Ready is
// pressed, and the first machine has its air when it starts after that. known, if not nil, holds mended states that were
// brought back.
func hasWayBack(step stepper, shop *controller.Shop, s controller.State, known *memo) string {
	m := &mended{step, shop, s}
	sense := func(k controller.EventKind, n, v int) {
		m.do(controller.Event{Kind: k, By: controller.FromSensor, N: uint8(n), V: int32(v)})
	}
	sense(controller.DisconnectSeen, int(controller.Everything), 0)
	for g := range shop.Gates {
		sense(controller.GateChip, g, 0)
		seen := gates.SeenClosed
		_, drive := m.s.Levels()
		if drive[g] == gates.DriveOpen {
			seen = gates.SeenOpen
		}
		sense(controller.GateSeen, g, int(seen))
		m.do(controller.Event{Kind: controller.SelectGate, By: controller.FromPage, N: uint8(g)})
	}
	for n := range shop.Machines {
		sense(controller.MachineSeen, n, int(current.Idle))
	}
	for c := range shop.Collectors {
		for _, k := range []controller.EventKind{controller.FilterSeen, controller.BinSeen, controller.AirSeen} {
			sense(k, c, 0)
		}
		m.do(controller.Event{Kind: controller.SelectCollector, By: controller.FromPage, N: uint8(c)})
		f := controller.Still
		if lines, _ := m.s.Levels(); lines.Has(c) {
			f = controller.Turning
		}
		sense(controller.CollectorSeen, c, int(f))
	}
	mended := uint64(0)
	if known != nil {
		if mended = known.hash(shop, &m.s); known.has(mended) {
			return ""
		}
	}
	m.do(controller.Event{Kind: controller.FinishPressed, By: controller.FromButton})
	m.wait(5 * controller.Minute)
	m.do(controller.Event{Kind: controller.Acknowledged, By: controller.FromButton, N: controller.Everything})
	if left := m.s.Standing(shop, nil); len(left) > 0 {
		return fmt.Sprintf("%s cannot be cleared (of %d)", left[0].Is, left[0].N)
	}
	if m.s.Mode() != controller.OnDuty && m.do(controller.Event{Kind: controller.ReadyPressed, By: controller.FromButton, Ref: 1}) {
		return "Ready is refused"
	}
	if m.s.Mode() != controller.OnDuty {
		return "Ready does not bring it on duty"
	}
	m.wait(2 * controller.Hour)
	sense(controller.MachineSeen, 0, int(current.Running))
	m.wait(15 * controller.Second)
	switch o := m.s.Outputs(shop); {
	case shop.Collectors[0].Starter && !o.AirReady.Has(0):
		return "the first machine has no air"
	case shop.Collectors[0].Starter && o.NoAir:
		return "it has its air, and no_air stands"
	}
	if known != nil {
		known.add(mended)
	}
	return ""
}

// states are states of shops in which all kinds of things have happened, with events that could come next.
func states(t testing.TB, seeds int, use func(shop *controller.Shop, s controller.State, ev controller.Event, rng *rand.Rand)) {
	for seed := range uint64(seeds) {
		p := newPlant(t, smallShop(kindsOfShop[int(seed)%len(kindsOfShop)]))
		rng := rand.New(rand.NewPCG(seed, 23))
		p.press(controller.ReadyPressed)
		for range 25 {
			p.something(rng)
			s := p.s
			ev := controller.Event{At: s.Now() + 1, Kind: controller.EventKind(rng.IntN(int(controller.StartStored) + 1)), N: uint8(rng.IntN(5)), V: int32(rng.IntN(4)), Ref: 1}
			if at, ok := s.Wake(p.shop); ok {
				ev.At = min(ev.At, at)
			}
			use(p.shop, s, ev, rng)
		}
	}
}

// TestPropertiesHold puts what is about the core itself to the test in states of all kinds.
func TestPropertiesHold(t *testing.T) {
	seeds := 66
	if *long {
		seeds = 1000
	}
	n := 0
	states(t, seeds, func(shop *controller.Shop, s controller.State, ev controller.Event, rng *rand.Rand) {
		n++
		assert.Empty(t, total(controller.Step, shop, s, ev), "I19")
		assert.Empty(t, repeats(controller.Step, shop, s, ev), "I20")
		assert.Empty(t, shifted(controller.Step, shop, s, ev), "I21")
		require.Empty(t, comesToRest(controller.Step, shop, s, nil), "I28")
		require.Empty(t, hasWayBack(controller.Step, shop, s, nil), "I30")
	})
	for _, id := range []string{"I19", "total", "I20", "I21", "I28", "I30"} {
		exercised[id] += n
	}
	for _, v := range []any{controller.Event{}, controller.State{}} {
		assert.NotContains(t, fmt.Sprintf("%#v", reflect.TypeOf(v)), "time.Time")
		assert.True(t, reflect.TypeOf(v).Comparable())
	}
}

// TestPropertiesFire gives each of them a core that breaks it.
func TestPropertiesFire(t *testing.T) {
	p := ready(t, smallShop(shopOptions{}))
	shop, ev := p.shop, controller.Event{At: p.now + 1, Kind: controller.MachineSeen, By: controller.FromSensor, V: int32(current.Running)}
	closes, starts := []controller.Effect{{Kind: controller.CloseGate}}, []controller.Effect{{Kind: controller.StartCollector}}
	assert.NotEmpty(t, enables(closes, nil, nil, 0))
	assert.NotEmpty(t, enables(nil, nil, starts, 0))
	assert.Empty(t, enables(nil, starts, starts, 0))
	panics := func(*controller.Shop, *controller.State, controller.Event, []controller.Effect) []controller.Effect {
		panic("no")
	}
	assert.Contains(t, total(panics, shop, p.s, ev), "panics")
	asks := func(shop *controller.Shop, s *controller.State, ev controller.Event, out []controller.Effect) []controller.Effect {
		for range 7 {
			shop.Collectors[0].Planner.Choose(plan.Question{})
		}
		return out
	}
	assert.Contains(t, total(asks, shop, p.s, ev), "asked 7 times")
	floods := func(shop *controller.Shop, s *controller.State, ev controller.Event, out []controller.Effect) []controller.Effect {
		return append(out, make([]controller.Effect, 99)...)
	}
	assert.Contains(t, total(floods, shop, p.s, ev), "99 effects")
	count := 0
	changes := func(shop *controller.Shop, s *controller.State, ev controller.Event, out []controller.Effect) []controller.Effect {
		count++
		return append(out, controller.Effect{V: int32(count)})
	}
	assert.NotEmpty(t, repeats(changes, shop, p.s, ev))
	clock := func(shop *controller.Shop, s *controller.State, ev controller.Event, out []controller.Effect) []controller.Effect {
		return append(out, controller.Effect{V: int32(ev.At / 86_400_000)})
	}
	assert.NotEmpty(t, shifted(clock, shop, p.s, ev))
	p.runs(0)
	busy := func(shop *controller.Shop, s *controller.State, ev controller.Event, out []controller.Effect) []controller.Effect {
		return controller.Step(shop, s, controller.Event{At: ev.At, Kind: controller.CallAir, N: 3, V: 1000}, out)
	}
	assert.Empty(t, comesToRest(controller.Step, shop, p.s, nil))
	assert.NotEmpty(t, comesToRest(busy, shop, p.s, nil))
	deaf := func(kind controller.EventKind) stepper {
		return func(shop *controller.Shop, s *controller.State, ev controller.Event, out []controller.Effect) []controller.Effect {
			if ev.Kind == kind {
				ev = controller.Event{At: ev.At}
			}
			return controller.Step(shop, s, ev, out)
		}
	}
	p.dead = gates.Of(0)
	p.wait(10 * controller.Second)
	p.press(controller.HaltPressed)
	assert.Empty(t, hasWayBack(controller.Step, shop, p.s, nil))
	assert.Contains(t, hasWayBack(deaf(controller.Acknowledged), shop, p.s, nil), "cannot be cleared")
	assert.Contains(t, hasWayBack(deaf(controller.ReadyPressed), shop, p.s, nil), "Ready")
	assert.Contains(t, hasWayBack(deaf(controller.MachineSeen), shop, p.s, nil), "cannot be cleared")
	for _, q := range properties {
		fired[q.id] = true
	}
}

// exercised counts how often what is about the core itself was put to the test.
var exercised = map[string]int{}
