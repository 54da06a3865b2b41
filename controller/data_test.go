package controller_test

import (
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/current"
	"ductwarden/gates"
)

// NEMA MG 10-2001 Table 2-3, as the EASA handbook's copy has it: 2-pole 1.5 hp 12.9/h and 76 s, 3 hp 9.9/h and 80 s, 5 hp 8.1/h
// and 83 s; 4-pole 5 hp 16.3/h and 42 s.
func TestDefaultBudgetIsNEMAsRoundedDown(t *testing.T) {
	for _, c := range []struct {
		watts   float64
		poles   int
		starts  uint8
		rest    controller.Span
		covered bool
	}{
		{1100, 2, 12, 76 * second, true},
		{1.5 * 745.7, 2, 12, 76 * second, true},
		{1500, 2, 9, 80 * second, true},
		{2200, 2, 9, 80 * second, true},
		{3 * 745.7, 2, 9, 80 * second, true},
		{3000, 2, 8, 83 * second, true},
		{5 * 745.7, 2, 8, 83 * second, true},
		{3700, 4, 16, 42 * second, true},
		{5500, 2, 8, 83 * second, false},
		{2200, 6, 8, 83 * second, false},
		{0, 2, 8, 83 * second, false},
		{-3, 2, 8, 83 * second, false},
	} {
		b, covered := controller.DefaultBudget(c.watts, c.poles)
		assert.Equal(t, controller.Budget{StartsPerHour: c.starts, Rest: c.rest}, b, "%g W, %d poles", c.watts, c.poles)
		assert.Equal(t, c.covered, covered)
	}
	for _, part := range []string{"single-phase", "heavy wheels", "not covered", "maker's figure wins"} {
		assert.Contains(t, controller.BudgetNotice, part)
	}
}

func TestEveryShopValueIsChecked(t *testing.T) {
	require.NoError(t, smallShop(shopOptions{}).Check())
	for want, break_ := range map[string]func(*controller.Shop){
		"at most 64 gates":         func(p *controller.Shop) { p.Gates = make([]controller.Gate, 65) },
		"at most 64 machines":      func(p *controller.Shop) { p.Machines = make([]controller.Machine, 65) },
		"1 to 4 collectors":        func(p *controller.Shop) { p.Collectors = nil },
		"moving_at_once":           func(p *controller.Shop) { p.MovingAtOnce = 0 },
		"moves_per_minute":         func(p *controller.Shop) { p.MovesPerMinute = 3 },
		"linger is":                func(p *controller.Shop) { p.Linger = -1 },
		"longest_linger is":        func(p *controller.Shop) { p.LongestLinger = 9 * controller.Hour },
		"least_clearing is":        func(p *controller.Shop) { p.LeastClearing = controller.Hour },
		"longest_run is":           func(p *controller.Shop) { p.LongestRun = 1 },
		"longest_hold is":          func(p *controller.Shop) { p.LongestHold = -1 },
		"grace":                    func(p *controller.Shop) { p.LongRunGrace = -1 },
		"spacing":                  func(p *controller.Shop) { p.InrushSpacing = -1 },
		"warning":                  func(p *controller.Shop) { p.Warning = -1 },
		"without a path":           func(p *controller.Shop) { p.PathLost = 1 },
		"names collector 3 of 1":   func(p *controller.Shop) { p.Gates[0].Collector = 3 },
		"travel is 1 ms":           func(p *controller.Shop) { p.Gates[0].Motion.Travel = 1 },
		"needs a gate":             func(p *controller.Shop) { p.Machines[0].Needs = gates.Of(40) },
		"leads to no collector":    func(p *controller.Shop) { p.Machines[0].Collectors = 0 },
		"run_down of machine":      func(p *controller.Shop) { p.Machines[0].RunDown = -1 },
		"button's time":            func(p *controller.Shop) { p.Machines[0].Button = -1 },
		"longest_run of machine":   func(p *controller.Shop) { p.Machines[0].LongestRun = -1 },
		"has no planner":           func(p *controller.Shop) { p.Collectors[0].Planner = nil },
		"a way to collector":       func(p *controller.Shop) { p.Collectors[0].Ways = []gates.Set{gates.Of(50)} },
		"starts_per_hour":          func(p *controller.Shop) { p.Collectors[0].StartsPerHour = 33 },
		"rest of collector":        func(p *controller.Shop) { p.Collectors[0].Rest = -1 },
		"least_run of collector":   func(p *controller.Shop) { p.Collectors[0].LeastRun = -1 },
		"spin_up of collector":     func(p *controller.Shop) { p.Collectors[0].SpinUp = -1 },
		"coast of collector":       func(p *controller.Shop) { p.Collectors[0].Coast = -1 },
		"start proof of collector": func(p *controller.Shop) { p.Collectors[0].ProveOn = 1 },
		"stop proof of collector":  func(p *controller.Shop) { p.Collectors[0].ProveOff = 1 },
	} {
		p := smallShop(shopOptions{})
		break_(p)
		assert.ErrorContains(t, p.Check(), want)
	}
	p := smallShop(shopOptions{})
	p.MovingAtOnce, p.Linger = 0, -1
	err := p.Check()
	assert.ErrorContains(t, err, "moving_at_once")
	assert.ErrorContains(t, err, "linger", "all at once")
}

func TestWords(t *testing.T) {
	seen := map[string]bool{}
	for _, k := range controller.Conditions() {
		s := k.String()
		assert.NotEmpty(t, s)
		assert.Regexp(t, `^[a-z_]+$`, s)
		assert.False(t, seen[s], s)
		seen[s] = true
	}
	assert.Equal(t, "unknown", controller.Condition(200).String())
	assert.Equal(t, controller.OfShop, controller.UncleanEnd.Of())
	assert.Equal(t, controller.OfGate, controller.GateChipSilent.Of())
	assert.Equal(t, controller.OfMachine, controller.NoAir.Of())
	assert.Equal(t, controller.OfCollector, controller.SuctionLow.Of())
	said := map[string]controller.Reason{}
	for r := controller.NoReason + 1; r.Sentence() != controller.Reason(255).Sentence(); r++ {
		assert.NotEmpty(t, r.Sentence(), "reason %d", r)
		assert.Equal(t, r.Sentence(), r.String())
		assert.False(t, strings.HasSuffix(r.Sentence(), "."), "no full stop: %s", r)
		other, twice := said[r.Sentence()]
		assert.False(t, twice, "reasons %d and %d say the same", r, other)
		said[r.Sentence()] = r
	}
	assert.Equal(t, "halted", controller.Halted.String())
	assert.Equal(t, "by_hand", controller.ByHand.String())
	assert.Equal(t, "unknown", controller.Phase(99).String())
	assert.Equal(t, "turning", controller.Turning.String())
	shop := smallShop(shopOptions{})
	for want, e := range map[string]controller.Effect{
		"saw runs":                         {Why: controller.BecauseRuns},
		"lathe runs down":                  {Why: controller.BecauseRunsDown, V: 1},
		"the air of sweep is called":       {Why: controller.BecauseCalled, V: 3},
		"the branch of a machine is clear": {Why: controller.BecauseFlush, V: 77},
		"the branch of saw has been":       {Why: controller.BecauseFlushed},
		"the branch of saw cannot":         {Why: controller.BecauseNotFlushed},
		"the shop is quiet":                {Why: controller.BecauseLingered},
	} {
		assert.Contains(t, shop.Why(e), want)
	}
	assert.Empty(t, shop.Why(controller.Effect{}))
}

// A snapshot says every state and phase in words, at every point of a day with faults.
func TestSnapshotSpeaksOfEveryPhase(t *testing.T) {
	p := newPlant(t, smallShop(shopOptions{}))
	snap := func() (controller.Snapshot, controller.CollectorSnapshot) {
		s := p.s.Snapshot(p.shop)
		return s, s.Collectors[0]
	}
	s, c := snap()
	assert.Equal(t, "standing_by", s.Mode)
	assert.Contains(t, s.Why, "press")
	assert.Equal(t, "off", c.Phase)
	assert.Positive(t, c.RestMS)
	p.wait(2 * controller.Minute)
	p.press(controller.ReadyPressed)
	s, c = snap()
	assert.Equal(t, "on duty: no machine runs", s.Why)
	assert.Equal(t, controller.BecauseNobody.Sentence(), c.Why)
	p.runs(1)
	s, _ = snap()
	assert.Equal(t, "opening", s.Gates[1].State)
	assert.Equal(t, "needed", s.Gates[1].Role)
	assert.Equal(t, "relief", s.Gates[3].Role)
	p.wait(2010)
	_, c = snap()
	assert.Equal(t, "starting", c.Phase)
	assert.Equal(t, controller.BecauseStartProof.Sentence(), c.Why)
	p.wait(5 * second)
	s, c = snap()
	assert.Equal(t, "running", c.Phase)
	assert.Equal(t, "lathe in use; gate sweep open for its air", s.Why)
	assert.True(t, s.Machines[1].AirReady)
	assert.Equal(t, 3, c.StartsLeft)
	p.idles(1)
	s, c = snap()
	assert.Equal(t, "running_down", s.Machines[1].State)
	assert.EqualValues(t, 4000, s.Machines[1].LeftMS)
	assert.Equal(t, controller.BecauseRunDown.Sentence(), c.Why)
	p.wait(5 * second)
	_, c = snap()
	assert.Equal(t, "clearing", c.Phase)
	assert.EqualValues(t, 4000, c.LeftMS)
	p.wait(6 * second)
	_, c = snap()
	assert.Equal(t, "lingering", c.Phase)
	assert.Equal(t, controller.BecauseLinger.Sentence(), c.Why)
	p.machine(0, current.Unknown)
	s, _ = snap()
	assert.Equal(t, "unknown", s.Machines[0].State)
	p.idles(0)
	p.wait(60 * second)
	_, c = snap()
	assert.Equal(t, "coasting", c.Phase)
	assert.Equal(t, controller.BecauseWheelTurns.Sentence(), c.Why)
	p.hand(0, true)
	_, c = snap()
	assert.Equal(t, "by_hand", c.Phase)
	assert.Equal(t, "turning", c.Feedback)
	p.hand(0, false)
	p.wait(2 * controller.Minute)
	p.ask(controller.Event{Kind: controller.CallAir, N: 3, V: 20_000})
	s, _ = snap()
	assert.Equal(t, "running", s.Machines[3].State)
	p.dead = gates.Of(0)
	p.wait(30 * second)
	_, c = snap()
	assert.Equal(t, "start_failed", c.Phase)
	assert.Equal(t, controller.BecauseStartNotProved.Sentence(), c.Why)
	p.dead = 0
	p.press(controller.Acknowledged)
	p.wait(2 * controller.Minute)
	p.runs(0)
	p.wait(10 * second)
	p.hand(0, false)
	p.wait(3 * second)
	_, c = snap()
	assert.Equal(t, controller.BecauseTripped.Sentence(), c.Why)
	p.idles(0)
	p.press(controller.Acknowledged)
	p.wait(controller.Hour)
	p.runs(0)
	p.wait(10 * second)
	p.press(controller.FinishPressed)
	_, c = snap()
	assert.Equal(t, controller.BecauseFinish.Sentence(), c.Why)
	p.weld = gates.Of(0)
	p.press(controller.HaltPressed)
	p.wait(4 * second)
	s, c = snap()
	assert.Equal(t, "will_not_stop", c.Phase)
	assert.Equal(t, "halted", s.Mode)
	assert.Contains(t, s.Why, "halted")
	p.do(controller.Event{Kind: controller.Restarted, V: 1})
	s, _ = snap()
	assert.Contains(t, s.Why, "acknowledge")
	shop := smallShop(shopOptions{noStarter: true})
	shop.Collectors[0].Name = ""
	shop.Ducts = []controller.Duct{{ID: "main", Name: "main", Transport: 20_800}}
	p = newPlant(t, shop)
	s = p.s.Snapshot(shop)
	assert.Empty(t, s.Collectors, "a shop without a collector shows none")
	assert.InDelta(t, 20.8, s.Ducts[0].TransportMS, 1e-9)
}

// A state that was made from its key does what the state would have done, for ever.
func TestAKeyHoldsAllThatMatters(t *testing.T) {
	for seed := range uint64(40) {
		shop := smallShop(kindsOfShop[int(seed)%len(kindsOfShop)])
		p := newPlant(t, shop)
		rng := rand.New(rand.NewPCG(seed, 11))
		p.press(controller.ReadyPressed)
		for range 30 {
			p.something(rng)
		}
		key := p.s.Key(shop, nil)
		for _, shift := range []controller.Instant{0, 123_456_789} {
			twin, err := controller.Revive(shop, key, p.s.Now()+shift)
			require.NoError(t, err)
			require.Equal(t, key, twin.Key(shop, nil), "seed %d", seed)
			real := p.s
			walk := rand.New(rand.NewPCG(seed, 13))
			now := p.s.Now()
			for range 200 {
				at, ok := real.Wake(shop)
				now += controller.Instant(walk.IntN(5000))
				ev := controller.Event{At: now, Kind: controller.EventKind(walk.IntN(int(controller.StartStored) + 1)), N: uint8(walk.IntN(5)), V: int32(walk.IntN(3)), Ref: 1}
				if ok && at < now {
					now = at
					ev = controller.Event{At: at, Kind: controller.Wake}
				}
				other := ev
				other.At += shift
				a := controller.Step(shop, &real, ev, nil)
				b := controller.Step(shop, &twin, other, nil)
				require.Equal(t, a, b, "seed %d, %+v", seed, ev)
				require.Equal(t, real.Key(shop, nil), twin.Key(shop, nil), "seed %d, %+v", seed, ev)
			}
		}
	}
	shop := smallShop(shopOptions{})
	for _, key := range [][]byte{nil, {9}, {1}, {1, 2, 3}, append((&controller.State{}).Key(shop, nil), 0)} {
		_, err := controller.Revive(shop, key, 1)
		assert.Error(t, err)
	}
}

// Equal futures have equal keys: an hour of rest is as good as two.
func TestAKeyForgetsWhatNoLongerMatters(t *testing.T) {
	p := ready(t, smallShop(shopOptions{}))
	p.cut(0, 10*second)
	p.wait(2 * controller.Hour)
	one := p.s.Key(p.shop, nil)
	p.wait(3 * controller.Hour)
	assert.Equal(t, one, p.s.Key(p.shop, nil))
	assert.Less(t, len(one), 250, "small enough for exploration")
}
