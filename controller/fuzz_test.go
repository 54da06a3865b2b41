package controller_test

import (
	"encoding/binary"
	"flag"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/current"
	"ductwarden/gates"
)

var long = flag.Bool("long", false, "run more seeds")

// kindsOfShop are shops that differ in what the core does with them.
var kindsOfShop = []shopOptions{
	{}, {bare: true}, {half: true}, {noProof: true}, {two: true}, {nested: true}, {eager: true, network: controller.NetworkStart},
	{all: true}, {noStarter: true}, {noStarter: true, noProof: true, bare: true}, {two: true, nested: true, bare: true, noProof: true},
}

// FuzzStep gives the core any bit pattern of events and times. The watchers judge every step; whatever happened, the
// core comes to rest, and a person can bring the shop back.
func FuzzStep(f *testing.F) {
	f.Add([]byte{0, 9, 0, 0, 0, 0, 0, 1, 1, 2, 0, 0, 0, 200})
	rng := rand.New(rand.NewPCG(1, 2))
	for range 20 {
		b := make([]byte, 400)
		for i := range b {
			b[i] = byte(rng.Uint32())
		}
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) == 0 {
			return
		}
		shop := smallShop(kindsOfShop[int(data[0])%len(kindsOfShop)])
		var s controller.State
		w := newWatchers(shop)
		now := controller.Instant(0)
		step := func(ev controller.Event) {
			before := s
			out := controller.Step(shop, &s, ev, nil)
			w.see(ev, out, &s)
			if len(w.wrong) > 0 {
				t.Fatalf("%v\nafter %+v -> %+v", w.wrong, ev, out)
			}
			if at, ok := s.Wake(shop); ok && at <= s.Now() {
				t.Fatalf("the core wants to be called at %d, which is past: it is %d", at, s.Now())
			}
			again := before
			if more := controller.Step(shop, &again, ev, nil); again != s || len(more) != len(out) {
				t.Fatal("the same event in the same state brought something else")
			}
		}
		wake := func(to controller.Instant) {
			for range 100_000 {
				at, ok := s.Wake(shop)
				if !ok || at > to {
					now = max(now, to)
					return
				}
				now = at
				step(controller.Event{At: now, Kind: controller.Wake})
			}
			t.Fatal("the core does not come to rest")
		}
		step(controller.Event{At: 1, Kind: controller.Restarted})
		for data = data[1:]; len(data) >= 8; data = data[8:] {
			ev := controller.Event{Kind: controller.EventKind(data[0] % 32), By: controller.Source(data[1] % 8), N: data[2], V: int32(binary.LittleEndian.Uint32(data[3:]))}
			if data[1]&0x80 != 0 { // mostly things that exist
				ev.N %= 6
			}
			if data[1]&0x40 != 0 {
				ev.V = int32(int8(data[3])) % 5
			}
			switch span := controller.Instant(data[7]); {
			case span < 32:
				now += span
			case span < 128:
				wake(now + span*100)
			case span < 192:
				wake(now + span*2000)
			case span == 255:
				now = controller.Instant(binary.LittleEndian.Uint64(append(data[:7:7], 0x7f)))
				now = max(now, s.Now())
				step(controller.Event{At: now, Kind: controller.Restarted, V: int32(data[3] & 1)}) // no timer of the watchers outlives that
			}
			ev.At, ev.Ref = now, 1
			if now > controller.Instant(1)<<59 {
				return
			}
			if at, ok := s.Wake(shop); ok {
				ev.At = min(ev.At, at) // the loop never lets a wake pass
			}
			step(ev)
		}
		wake(now + 3*controller.Instant(controller.Hour))
		if at, ok := s.Wake(shop); ok {
			wake(at + 24*controller.Instant(controller.Hour))
		}
	})
}

// FuzzState gives the core states that were made from any bytes. They need not make sense; nothing panics.
func FuzzState(f *testing.F) {
	for kind := range kindsOfShop {
		p := newPlant(f, smallShop(kindsOfShop[kind]))
		rng := rand.New(rand.NewPCG(uint64(kind), 3))
		p.press(controller.ReadyPressed)
		for range 40 {
			p.something(rng)
		}
		f.Add(p.s.Key(p.shop, nil), uint8(kind))
	}
	f.Fuzz(func(t *testing.T, key []byte, kind uint8) {
		shop := smallShop(kindsOfShop[int(kind)%len(kindsOfShop)])
		s, err := controller.Revive(shop, key, 1_000_000)
		if err != nil {
			return
		}
		for k := controller.Wake; k <= controller.StartStored; k++ {
			controller.Step(shop, &s, controller.Event{At: s.Now() + 1000, Kind: k, N: uint8(k), V: int32(k)}, nil)
			s.Outputs(shop)
			s.Standing(shop, nil)
			s.Snapshot(shop)
		}
	})
}

// A shop of people and faults: gates that stick, slip and are moved by hand, motors that do not start or stop, sensors
// that are lost, requests from everywhere, restarts. The plant answers as a shop does.
func TestRandomShops(t *testing.T) {
	seeds := uint64(60)
	if *long {
		seeds = 2000
	}
	total := map[string]int{}
	raised := map[controller.Condition]bool{}
	for seed := range seeds {
		shop := smallShop(kindsOfShop[int(seed)%len(kindsOfShop)])
		p := newPlant(t, shop)
		rng := rand.New(rand.NewPCG(seed, 7))
		p.wait(controller.Span(rng.IntN(150)) * controller.Second)
		p.press(controller.ReadyPressed)
		for range 150 {
			p.something(rng)
			for _, k := range p.s.Standing(shop, nil) {
				raised[k.Is] = true
			}
		}
		p.wayBack()
		for k, n := range p.watch.tried {
			total[k] += n
		}
	}
	for _, rule := range []string{"I1", "I2", "I3", "I4", "I5", "I6", "I7", "I8", "I9", "I11", "I13", "I22", "I23"} {
		assert.Positive(t, total[rule], "rule %s was never put to the test", rule)
	}
	for _, k := range controller.Conditions() {
		assert.True(t, raised[k] || k == controller.WhichRuns, "%s was never reached", k) // that one is the loop's
	}
	t.Logf("rules tried: %v", total)
}

// something lets one thing happen, and some time pass.
func (p *plant) something(rng *rand.Rand) {
	g, m, c := rng.IntN(len(p.shop.Gates)), rng.IntN(len(p.shop.Machines)), rng.IntN(len(p.shop.Collectors))
	sense := func(k controller.EventKind, n int, v int32) {
		p.do(controller.Event{Kind: k, By: controller.FromSensor, N: uint8(n), V: v})
	}
	ask := func(k controller.EventKind, n int, v int32) {
		p.do(controller.Event{Kind: k, By: controller.Source(2 + rng.IntN(4)), N: uint8(n), V: v})
	}
	switch rng.IntN(50) {
	default:
		p.machine(m, current.Belief(1+rng.IntN(2)))
	case 30, 31, 32, 33:
		p.stuck, p.dead, p.weld = 0, 0, 0
		sense(controller.DisconnectSeen, int(controller.Everything), 0)
		p.press(controller.Acknowledged)
		p.press(controller.ReadyPressed)
	case 34: // everything slides shut while no chip answers
		for g := range p.shop.Gates {
			sense(controller.GateChip, g, 1)
			p.put(g, 0)
		}
		p.wait(10 * controller.Second)
		for g := range p.shop.Gates {
			sense(controller.GateChip, g, int32(rng.IntN(2))*2)
		}
	case 35: // a contactor that chatters
		for range 5 {
			p.hand(c, !p.turns.Has(c))
			p.wait(300)
		}
	case 36:
		ask(controller.SelectCollector, c, int32(gates.HeldOpen))
		if rng.IntN(4) == 0 {
			p.wait(35 * controller.Minute)
		}
	case 0:
		p.machine(m, current.Unknown)
	case 1:
		p.stuck ^= gates.Of(g)
		p.push(g, p.drive[g])
	case 2:
		p.put(g, int64(rng.IntN(2))*int64(p.shop.Gates[g].Motion.Travel))
	case 3:
		p.put(g, int64(p.shop.Gates[g].Motion.Travel/2))
	case 4:
		p.dead ^= gates.Of(c)
	case 5:
		p.weld ^= gates.Of(c)
	case 6:
		p.hand(c, !p.turns.Has(c))
	case 7:
		sense(controller.GateChip, g, int32(rng.IntN(3)))
	case 8:
		sense(controller.DisconnectSeen, c, int32(rng.IntN(2)))
	case 9:
		ask(controller.FinishPressed, 0, 0)
	case 10:
		ask(controller.HaltPressed, 0, 0)
	case 11, 12, 13:
		ask(controller.ReadyPressed, 0, 0)
	case 14, 15:
		ask(controller.Acknowledged, controller.Everything, 0)
	case 16:
		ask(controller.HoldGate, g, int32(rng.IntN(60_000)))
	case 17:
		ask(controller.SelectGate, g, int32(rng.IntN(3)))
	case 18:
		ask(controller.SelectCollector, c, int32(rng.IntN(3)))
	case 19, 20:
		ask(controller.MachinePressed, m, 0)
	case 21:
		ask(controller.CallAir, m, int32(rng.IntN(40_000)))
	case 22:
		if rng.IntN(4) == 0 {
			sense(controller.Restarted, 0, int32(rng.IntN(2)))
			p.tellAll()
		}
	case 23:
		if rng.IntN(4) == 0 {
			sense(controller.ShopChanged, 0, 0)
			p.tellAll()
		}
	case 24:
		sense(controller.StartStored, c, int32(rng.IntN(4_000_000)))
	case 25:
		sense(controller.FilterSeen, c, int32(rng.IntN(2)))
		sense(controller.BinSeen, c, int32(rng.IntN(2)))
		sense(controller.AirSeen, c, int32(rng.IntN(4)))
	case 26:
		sense(controller.CollectorSeen, c, int32(controller.Unreadable))
	case 27:
		sense(controller.GateSeen, g, int32(gates.SeenBoth))
	case 28:
		if rng.IntN(3) == 0 {
			p.wait(20 * controller.Minute)
		}
	case 29:
		p.motor(c)
	}
	spans := []controller.Span{50, 400, 2000, 2000, 9000, 30_000, 100_000}
	p.wait(spans[rng.IntN(len(spans))])
}

// wayBack mends everything, as a person does, and asks for air: from whatever state, a machine that is then started
// has its air.
func (p *plant) wayBack() {
	p.stuck, p.dead, p.weld = 0, 0, 0
	p.do(controller.Event{Kind: controller.DisconnectSeen, By: controller.FromSensor, N: controller.Everything})
	for g := range p.shop.Gates {
		p.push(g, p.drive[g])
		p.do(controller.Event{Kind: controller.GateChip, By: controller.FromSensor, N: uint8(g)})
		p.seen[g] = gates.NoProof
		p.look(g)
		p.ask(controller.Event{Kind: controller.SelectGate, N: uint8(g)})
	}
	for m := range p.shop.Machines {
		p.machine(m, current.Idle)
	}
	for c := range p.shop.Collectors {
		p.ask(controller.Event{Kind: controller.SelectCollector, N: uint8(c)})
		if p.turns.Has(c) && !p.line.Has(c) {
			p.hand(c, false)
		} else {
			p.hand(c, p.turns.Has(c))
		}
	}
	for c := range p.shop.Collectors {
		for _, k := range []controller.EventKind{controller.FilterSeen, controller.BinSeen, controller.AirSeen} {
			p.do(controller.Event{Kind: k, By: controller.FromSensor, N: uint8(c)})
		}
	}
	p.press(controller.FinishPressed)
	p.wait(5 * controller.Minute)
	p.press(controller.Acknowledged)
	assert.Empty(p.t, p.s.Standing(p.shop, nil), "every condition can be cleared")
	p.press(controller.ReadyPressed)
	p.wait(2 * controller.Hour)
	require.Equal(p.t, controller.OnDuty, p.s.Mode(), "a way back to duty")
	if c := &p.shop.Collectors[0]; !c.Starter && c.Proof {
		p.hand(0, true)
	}
	p.machine(0, current.Running)
	p.wait(15 * controller.Second)
	assert.True(p.t, p.s.Outputs(p.shop).AirReady.Has(0), "the saw has its air again: %+v", p.s.Snapshot(p.shop))
	assert.False(p.t, p.s.Outputs(p.shop).NoAir)
	p.machine(0, current.Idle)
	p.wait(controller.Hour)
	if at, ok := p.s.Wake(p.shop); ok {
		p.t.Fatalf("a quiet shop wants to be called at %d, it is %d: %+v", at, p.now, p.s.Snapshot(p.shop))
	}
	for g := range p.shop.Gates {
		assert.Equal(p.t, gates.DriveNone, p.drive[g])
	}
}
