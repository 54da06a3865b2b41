package controller_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/current"
	"ductwarden/gates"
)

// A fault never enables an action: its own step closes nothing and starts nothing, and of two shops that differ in one
// fault, the one with it starts no collector that the other would not. A later close may come earlier than without the
// fault, where a gate that was waited for is no longer part of the plan; what it may take away is judged by the watchers.
func TestAFaultEnablesNothing(t *testing.T) {
	faults := []func(p *plant, rng *rand.Rand) controller.Event{
		func(p *plant, rng *rand.Rand) controller.Event {
			return controller.Event{Kind: controller.GateChip, N: uint8(rng.IntN(len(p.shop.Gates))), V: 1}
		},
		func(p *plant, rng *rand.Rand) controller.Event {
			return controller.Event{Kind: controller.MachineSeen, N: uint8(rng.IntN(3)), V: int32(current.Unknown)}
		},
		func(p *plant, rng *rand.Rand) controller.Event {
			return controller.Event{Kind: controller.CollectorSeen, V: int32(controller.Unreadable)}
		},
		func(p *plant, rng *rand.Rand) controller.Event {
			g, v := rng.IntN(len(p.shop.Gates)), gates.SeenBoth
			if !p.shop.Gates[g].Motion.ClosedSwitch {
				v = gates.SeenNeither // one switch alone cannot contradict itself
			}
			return controller.Event{Kind: controller.GateSeen, N: uint8(g), V: int32(v)}
		},
		func(p *plant, rng *rand.Rand) controller.Event {
			return controller.Event{Kind: controller.DisconnectSeen, N: controller.Everything, V: 1}
		},
	}
	tried := 0
	for seed := range uint64(120) {
		kind := kindsOfShop[int(seed)%len(kindsOfShop)]
		kind.two = false // of two collectors one that cannot start leaves its turn to the other
		shop := smallShop(kind)
		p := newPlant(t, shop)
		rng := rand.New(rand.NewPCG(seed, 17))
		p.wait(100 * second)
		p.press(controller.ReadyPressed)
		for range 40 {
			p.something(rng)
			for _, fault := range faults {
				ill := p.s
				ev := fault(p, rng)
				ev.At = max(p.now, 1)
				own := controller.Step(shop, &ill, ev, nil)
				well := p.s
				on, _ := well.Levels()
				for range 3 { // the same things happen to both
					next := controller.Event{At: max(p.now, 1), Kind: controller.MachineSeen, By: controller.FromSensor, N: uint8(rng.IntN(3)), V: int32(1 + rng.IntN(2))}
					wells, ills := controller.Step(shop, &well, next, nil), controller.Step(shop, &ill, next, nil)
					if next.N == ev.N && ev.Kind == controller.MachineSeen {
						break // its evidence is back: the fault is gone
					}
					tried++
					require.Empty(t, enables(own, wells, ills, on), "seed %d: %+v, then %+v", seed, ev, next)
					lines, _ := well.Levels()
					on |= lines
				}
			}
		}
	}
	require.Greater(t, tried, 10_000)
	exercised["I18"] += tried
}
