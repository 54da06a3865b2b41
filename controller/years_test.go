package controller_test

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"ductwarden/controller"
	"ductwarden/current"
	"ductwarden/gates"
)

var shopYears = flag.Int("years", 0, "simulate so many shop-years with every observer on, instead of one for all kinds of shop")

// A shop-year is 250 days of 8 hours with 60 machine starts a day.
const (
	daysOfYear  = 250
	startsOfDay = 60
)

// yearShops are the shops that years are simulated in.
var yearShops = append(slices.Clone(kindsOfShop), shopOptions{hand: true}, shopOptions{network: controller.NetworkStop})

// tally is what some years have come to.
type tally struct {
	days, starts, steps int
	conditions          map[controller.Condition]int
	refusals            map[controller.Reason]int
	faults              map[string]int
	tried               map[string]int
}

func newTally() *tally {
	return &tally{conditions: map[controller.Condition]int{}, refusals: map[controller.Reason]int{}, faults: map[string]int{}, tried: map[string]int{}}
}

// mishaps are what goes wrong on a day, each with what it does to the plant. Some mend by themselves; the others are
// mended by the people of the shop after a while.
var mishaps = []struct {
	name string
	does func(p *plant, rng *rand.Rand)
}{
	{"a sensor is lost", func(p *plant, rng *rand.Rand) { p.machine(rng.IntN(3), current.Unknown) }},
	{"a sensor is stuck at running", func(p *plant, rng *rand.Rand) {
		p.machine(rng.IntN(3), current.Running)
		p.wait(controller.Span(rng.IntN(50)) * controller.Minute)
	}},
	{"a machine is switched on and off quickly", func(p *plant, rng *rand.Rand) {
		for range 12 {
			p.machine(0, current.Belief(1+rng.IntN(2)))
			p.wait(controller.Span(200 + rng.IntN(2000)))
		}
	}},
	{"a slide sticks", func(p *plant, rng *rand.Rand) {
		g := rng.IntN(len(p.shop.Gates))
		p.push(g, p.drive[g])
		p.stuck = p.stuck.With(g)
		p.machine(min(g, 2), current.Running)
		p.wait(20 * controller.Second)
		p.ask(controller.Event{Kind: controller.HoldGate, N: uint8(g), V: 5000})
		p.machine(min(g, 2), current.Idle)
	}},
	{"a slide is moved by hand", func(p *plant, rng *rand.Rand) {
		g := rng.IntN(len(p.shop.Gates))
		p.put(g, int64(p.shop.Gates[g].Motion.Travel)*int64(rng.IntN(3))/2)
	}},
	{"both switches of a gate are made", func(p *plant, rng *rand.Rand) {
		p.sense(controller.GateSeen, rng.IntN(len(p.shop.Gates)), int32(gates.SeenBoth))
	}},
	{"a gate's chip is silent", func(p *plant, rng *rand.Rand) {
		g := rng.IntN(len(p.shop.Gates))
		p.sense(controller.GateChip, g, 1)
		p.ask(controller.Event{Kind: controller.HoldGate, N: uint8(g), V: 5000})
	}},
	{"people take gates and collector out of the automatic", func(p *plant, rng *rand.Rand) {
		p.machine(0, current.Running)
		p.wait(controller.Span(rng.IntN(30_000)))
		for _, g := range rng.Perm(len(p.shop.Gates)) {
			p.ask(controller.Event{Kind: controller.SelectGate, N: uint8(g), V: int32(gates.Off)})
		}
		p.ask(controller.Event{Kind: controller.SelectCollector, V: int32(gates.Off)})
		p.ask(controller.Event{Kind: controller.CallAir, V: 1000})
		p.machine(0, current.Idle)
	}},
	{"more works than the ducts carry", func(p *plant, rng *rand.Rand) {
		p.machine(0, current.Running)
		p.machine(1, current.Running)
		p.ask(controller.Event{Kind: controller.CallAir, N: 3, V: 60_000})
		p.wait(20 * controller.Second)
	}},
	{"everybody works at once", func(p *plant, rng *rand.Rand) {
		for _, m := range rng.Perm(3) {
			p.machine(m, current.Running)
			p.wait(controller.Span(rng.IntN(20_000)))
			p.ask(controller.Event{Kind: controller.CallAir, N: 3, V: 20_000})
		}
		for _, m := range rng.Perm(3) {
			p.machine(m, current.Idle)
			p.wait(controller.Span(rng.IntN(20_000)))
		}
	}},
	{"a board is reset", func(p *plant, rng *rand.Rand) {
		for g := range p.shop.Gates {
			p.sense(controller.GateChip, g, 2)
		}
	}},
	{"a motor does not start", func(p *plant, rng *rand.Rand) { p.dead = gates.Of(rng.IntN(len(p.shop.Collectors))) }},
	{"a motor does not stop", func(p *plant, rng *rand.Rand) { p.weld = gates.Of(rng.IntN(len(p.shop.Collectors))) }},
	{"a motor trips or runs by its own switch", func(p *plant, rng *rand.Rand) {
		c := rng.IntN(len(p.shop.Collectors))
		p.hand(c, !p.turns.Has(c))
	}},
	{"a contactor chatters", func(p *plant, rng *rand.Rand) {
		c := rng.IntN(len(p.shop.Collectors))
		for range 6 {
			p.hand(c, !p.turns.Has(c))
			p.wait(300)
		}
	}},
	{"a motor's proof is unreadable", func(p *plant, rng *rand.Rand) {
		p.sense(controller.CollectorSeen, rng.IntN(len(p.shop.Collectors)), int32(controller.Unreadable))
	}},
	{"the disconnect is opened", func(p *plant, rng *rand.Rand) {
		p.sense(controller.DisconnectSeen, rng.IntN(len(p.shop.Collectors)), 1)
	}},
	{"bin, filter and suction", func(p *plant, rng *rand.Rand) {
		c := rng.IntN(len(p.shop.Collectors))
		p.sense(controller.BinSeen, c, 1)
		p.sense(controller.FilterSeen, c, 1)
		p.sense(controller.AirSeen, c, int32(1+rng.IntN(3)))
	}},
	{"everything slides shut while no chip answers", func(p *plant, rng *rand.Rand) {
		for g := range p.shop.Gates {
			p.sense(controller.GateChip, g, 1)
			p.put(g, 0)
		}
		p.wait(10 * controller.Second)
	}},
	{"the power is cut", func(p *plant, rng *rand.Rand) {
		p.sense(controller.Restarted, 0, 0)
		p.tellAll()
	}},
	{"the program ends in disorder", func(p *plant, rng *rand.Rand) {
		p.sense(controller.Restarted, 0, 1)
		p.tellAll()
	}},
	{"the shop file is changed", func(p *plant, rng *rand.Rand) {
		p.sense(controller.ShopChanged, 0, 0)
		p.tellAll()
	}},
	{"stored starts come back", func(p *plant, rng *rand.Rand) {
		for range 3 {
			p.sense(controller.StartStored, rng.IntN(len(p.shop.Collectors)), int32(rng.IntN(3_600_000)))
		}
	}},
	{"a person runs the collector by hand and forgets it", func(p *plant, rng *rand.Rand) {
		p.ask(controller.Event{Kind: controller.SelectCollector, N: uint8(rng.IntN(len(p.shop.Collectors))), V: int32(gates.HeldOpen)})
		p.wait(controller.Span(rng.IntN(45)) * controller.Minute)
	}},
	{"people ask for all kinds of things", func(p *plant, rng *rand.Rand) {
		for range 6 {
			k := controller.MachinePressed + controller.EventKind(rng.IntN(int(controller.CallAir-controller.MachinePressed)+1))
			n := uint8(rng.IntN(6))
			if k == controller.Acknowledged && rng.IntN(2) == 0 {
				n = controller.Everything
			}
			p.ask(controller.Event{Kind: k, By: controller.Source(2 + rng.IntN(4)), N: n, V: int32(rng.IntN(4))})
			p.wait(controller.Span(rng.IntN(20_000)))
		}
	}},
	{"the network asks for everything", func(p *plant, rng *rand.Rand) {
		for k := controller.MachinePressed; k <= controller.CallAir; k++ {
			if k != controller.HaltPressed || rng.IntN(3) == 0 {
				p.ask(controller.Event{Kind: k, By: controller.FromNetwork, N: uint8(rng.IntN(3)), V: int32(rng.IntN(3))})
			}
		}
	}},
}

func (p *plant) sense(k controller.EventKind, n int, v int32) {
	p.do(controller.Event{Kind: k, By: controller.FromSensor, N: uint8(n), V: v})
}

// note takes into the tally what stands and what was refused since.
func (y *tally) note(p *plant) {
	for _, k := range p.s.Standing(p.shop, nil) {
		y.conditions[k.Is]++
	}
	for _, e := range p.log {
		if e.Kind == controller.Answered && e.V != 0 {
			y.refusals[e.Why]++
		}
	}
	p.log = p.log[:0]
}

// mend puts right what is wrong, as people do: not everything at once, and not always the acknowledgement.
func (p *plant) mend(rng *rand.Rand) {
	p.stuck, p.dead, p.weld = 0, 0, 0
	for c := range p.shop.Collectors {
		p.sense(controller.DisconnectSeen, c, 0)
		p.sense(controller.BinSeen, c, 0)
		p.sense(controller.FilterSeen, c, 0)
		p.sense(controller.AirSeen, c, 0)
		p.ask(controller.Event{Kind: controller.SelectCollector, N: uint8(c)})
		if p.turns.Has(c) && !p.line.Has(c) {
			p.hand(c, false)
		} else {
			p.hand(c, p.turns.Has(c))
		}
	}
	for g := range p.shop.Gates {
		p.push(g, p.drive[g])
		p.sense(controller.GateChip, g, 0)
		p.seen[g] = gates.NoProof
		p.look(g)
		p.ask(controller.Event{Kind: controller.SelectGate, N: uint8(g)})
	}
	for m := range 3 {
		p.machine(m, current.Idle)
	}
	if rng.IntN(8) > 0 {
		p.press(controller.Acknowledged)
	}
	if p.s.Mode() != controller.OnDuty {
		p.press(controller.ReadyPressed)
	}
}

// day is a working day of 8 hours and the night after it.
func (y *tally) day(p *plant, rng *rand.Rand) {
	y.days++
	ends := p.now + 8*controller.Instant(controller.Hour)
	if p.press(controller.ReadyPressed) != controller.NoReason {
		p.mend(rng)
	}
	ill := controller.Instant(0)
	for range startsOfDay {
		y.starts++
		m := rng.IntN(len(p.shop.Machines))
		if m < 3 {
			p.machine(m, current.Running)
			p.wait(controller.Span(3000 + rng.IntN(120_000)))
			p.machine(m, current.Idle)
		} else {
			p.ask(controller.Event{Kind: controller.MachinePressed, N: uint8(m)})
		}
		if rng.IntN(15) == 0 {
			what := mishaps[rng.IntN(len(mishaps))]
			what.does(p, rng)
			y.note(p)
			y.faults[what.name]++
			ill = p.now + controller.Instant(rng.IntN(20))*controller.Instant(controller.Minute)
		}
		y.note(p)
		if ill != 0 && p.now > ill {
			p.mend(rng)
			y.note(p)
			ill = 0
		}
		p.wait(controller.Span(rng.IntN(720_000)))
	}
	p.wait(controller.Span(max(1000, ends-p.now)))
	p.mend(rng)
	y.note(p)
	p.wait(16 * controller.Hour)
	if rng.IntN(2) == 0 { // the mains are cut in the evening
		p.sense(controller.Restarted, 0, 0)
		p.tellAll()
	}
}

// simulate lets days pass in a shop of the kind of the seed.
func (y *tally) simulate(t testing.TB, seed uint64, days int) {
	p := newPlant(t, smallShop(yearShops[int(seed)%len(yearShops)]))
	rng := rand.New(rand.NewPCG(seed, 41))
	defer func() {
		if t.Failed() {
			t.Logf("seed %d, day %d", seed, y.days)
		}
	}()
	for range days {
		y.day(p, rng)
	}
	y.steps += p.steps
	for k, n := range p.watch.tried {
		y.tried[k] += n
	}
}

// refusalReasons are all reasons for which the core refuses a request.
var refusalReasons = []controller.Reason{controller.BecauseStandingBy, controller.BecauseOnDuty, controller.BecauseUnclean, controller.BecauseNoSuchThing, controller.BecauseBadValue,
	controller.BecauseHandGate, controller.BecauseGateFailed, controller.BecauseOnlyPath, controller.BecauseNetworkMayNot, controller.BecauseDisconnectOpen, controller.BecauseLatched,
	controller.BecauseNoStarter, controller.BecauseCollectorOff, controller.BecauseHalted, controller.BecauseChipSilent}

// yearsFigure is what the shop-years of a run came to.
var yearsFigure string

// TestShopYears lets seeded years pass with faults mixed at random and every observer on. What was never reached fails.
func TestShopYears(t *testing.T) {
	if underRace {
		t.Skip("one goroutine: nothing to race with")
	}
	y, seeds, days := newTally(), len(yearShops)*2, daysOfYear/len(yearShops)/2+1
	if *shopYears > 0 {
		seeds, days = len(yearShops)**shopYears, daysOfYear/len(yearShops)+1
	}
	began := time.Now()
	for seed := range uint64(seeds) {
		y.simulate(t, seed, days)
	}
	took := time.Since(began)
	yearsFigure = fmt.Sprintf("bare core with every observer: %d days, %d machine starts, %d steps in %.1f s: %.0f shop-years a minute and core (goal 20)",
		y.days, y.starts, y.steps, took.Seconds(), float64(y.days)/daysOfYear/took.Minutes())
	t.Log(yearsFigure)
	for _, what := range mishaps {
		assert.Positive(t, y.faults[what.name], what.name)
	}
	for _, k := range controller.Conditions() {
		if k != controller.WhichRuns { // the loop's own
			assert.Positive(t, y.conditions[k], "%s was never reached", k)
		}
	}
	for _, why := range refusalReasons {
		assert.Positive(t, y.refusals[why], "never refused because: %s", why)
	}
	for _, r := range ruleList() {
		assert.Positive(t, y.tried[r.id], "%s was never put to the test", r.id)
	}
	counted.Lock()
	defer counted.Unlock()
	for k, n := range y.tried {
		exercised[k] += n
	}
	t.Log(fmt.Sprint("conditions: ", y.conditions), fmt.Sprint("refusals: ", y.refusals), fmt.Sprint("faults: ", y.faults))
}

// BenchmarkShopYears prints how many shop-years pass in a minute of one core.
func BenchmarkShopYears(b *testing.B) {
	y := newTally()
	for i := range b.N {
		y.simulate(b, uint64(i), 10)
	}
	b.ReportMetric(float64(y.days)/daysOfYear/b.Elapsed().Minutes(), "shop-years/min")
}
