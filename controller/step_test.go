package controller_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/plan"
	"ductwarden/current"
	"ductwarden/gates"
)

const second = controller.Second

func kinds(log []controller.Effect) (out []controller.EffectKind) {
	for _, e := range log {
		out = append(out, e.Kind)
	}
	return out
}

func (p *plant) runs(m int)  { p.machine(m, current.Running) }
func (p *plant) idles(m int) { p.machine(m, current.Idle) }

// cut runs a machine for a while.
func (p *plant) cut(m int, d controller.Span) {
	p.runs(m)
	p.wait(d)
	p.idles(m)
}

func TestOneMachine(t *testing.T) {
	p := ready(t, smallShop(shopOptions{}))
	p.log = nil
	p.runs(0)
	assert.Equal(t, []controller.EffectKind{controller.OpenGate, controller.SaveStart}, kinds(p.log), "in the same step")
	p.wait(2 * second)
	assert.Equal(t, []controller.EffectKind{controller.OpenGate, controller.SaveStart, controller.RestGate, controller.StartCollector, controller.CloseGate}, kinds(p.log),
		"the lathe's gate has no switch: it is driven shut once a way is open")
	assert.Equal(t, controller.CollectorRuns, p.phase(0))
	p.idles(0)
	p.wait(3 * second)
	assert.Equal(t, controller.CollectorRuns, p.phase(0), "the cutter still turns")
	p.wait(2 * second)
	assert.Equal(t, controller.Clearing, p.phase(0))
	p.wait(6 * second)
	assert.Equal(t, controller.Lingering, p.phase(0))
	p.wait(70 * second)
	assert.Equal(t, controller.Coasting, p.phase(0))
	assert.Equal(t, gates.Of(0), p.open(), "the last gate stays open")
	p.wait(controller.Minute)
	assert.Equal(t, controller.CollectorOff, p.phase(0))
	p.log = nil
	p.runs(0)
	assert.Equal(t, []controller.EffectKind{controller.SaveStart, controller.StartCollector}, kinds(p.log), "its gate is open already")
}

func TestBudgetDelaysTheStop(t *testing.T) {
	p := ready(t, smallShop(shopOptions{}))
	for range 3 {
		p.cut(0, 10*second)
		p.wait(4 * controller.Minute)
	}
	p.cut(0, 10*second)
	p.wait(3 * controller.Minute)
	assert.Equal(t, controller.Lingering, p.phase(0), "the next start could not be afforded")
	p.wait(5 * controller.Minute)
	assert.Equal(t, controller.CollectorOff, p.phase(0), "longest_linger ends it")
	p.runs(0)
	p.wait(20 * second)
	assert.True(t, p.stands(controller.StartsSpent))
	assert.True(t, p.stands(controller.NoAir))
	assert.Contains(t, p.s.Snapshot(p.shop).Why, "no air for ")
}

func TestOneStartIsAffordableWhateverTheFileSays(t *testing.T) {
	p := newPlant(t, smallShop(shopOptions{}))
	for range 40 {
		p.do(controller.Event{Kind: controller.StartStored, N: 0, V: 0})
	}
	p.press(controller.ReadyPressed)
	p.runs(0)
	p.wait(50 * second)
	assert.Equal(t, controller.CollectorOff, p.phase(0), "the motor counts as just stopped")
	assert.True(t, p.stands(controller.MustRest))
	p.wait(15 * second)
	assert.Equal(t, controller.CollectorRuns, p.phase(0))
	p.idles(0)
	p.press(controller.FinishPressed)
	p.wait(5 * controller.Minute)
	p.runs(0)
	p.wait(second)
	assert.True(t, p.stands(controller.StartsSpent), "the second one is not")
}

func TestAirReturnsAfterTheRest(t *testing.T) {
	p := ready(t, smallShop(shopOptions{}))
	p.cut(0, 10*second)
	p.wait(10 * second)
	p.press(controller.FinishPressed)
	p.wait(10 * second)
	p.runs(2)
	p.wait(20 * second)
	assert.True(t, p.stands(controller.NoAir))
	assert.False(t, p.s.Outputs(p.shop).StartingSoon)
	p.wait(28 * second)
	assert.True(t, p.s.Outputs(p.shop).StartingSoon, "a few seconds before")
	assert.True(t, p.stands(controller.NoAir), "and still no air")
	p.wait(20 * second)
	assert.Equal(t, controller.CollectorRuns, p.phase(0))
	assert.False(t, p.stands(controller.NoAir))
	assert.True(t, p.s.Outputs(p.shop).AirReady.Has(2))
}

func TestAClosingGateYieldsToAStart(t *testing.T) {
	shop := smallShop(shopOptions{})
	shop.MovingAtOnce = 1
	p := ready(t, shop)
	p.cut(0, 10*second)
	p.wait(second)
	p.runs(2)
	p.wait(5*second + 300)
	require.Equal(t, gates.DriveClose, p.drive[0], "the saw's gate closes")
	p.log = nil
	p.runs(1)
	assert.Equal(t, controller.RestGate, p.log[0].Kind)
	assert.EqualValues(t, 0, p.log[0].N)
	assert.Equal(t, controller.OpenGate, p.log[1].Kind)
	assert.EqualValues(t, 1, p.log[1].N)
	p.wait(10 * second)
	assert.False(t, p.open().Has(0), "and closes later")
}

func TestAShopThatAlwaysCreepsIsNotAlarmed(t *testing.T) {
	shop := smallShop(shopOptions{})
	a := plan.Answer{Verdict: plan.Creeps, Margin: -900, Share: plan.NoRatio, Weakest: 0, Short: plan.NoMachine, Mend: plan.NoMachine, Open: gates.Of(0), Needed: gates.Of(0)}
	shop.Collectors[0].Planner = fixed{&a}
	p := ready(t, shop)
	p.runs(0)
	p.wait(10 * second)
	assert.False(t, p.stands(controller.DuctNotCarried), "it was said at commissioning")
	a.Verdict, a.Share, a.Short = plan.Settles, 4000, 0
	p.do(controller.Event{Kind: controller.GateChip, N: 3, V: 1}) // a new question
	assert.True(t, p.stands(controller.DuctNotCarried), "settling is told at every cut")
	assert.True(t, p.stands(controller.AirFarShort))
	a.Unserved = gates.Of(0)
	p.do(controller.Event{Kind: controller.GateChip, N: 3})
	assert.False(t, p.stands(controller.AirFarShort), "a gate that cannot open is an alarm of its own")
}

// fixed always answers the same.
type fixed struct{ a *plan.Answer }

func (f fixed) Choose(plan.Question) plan.Answer { return *f.a }

func TestABranchThatCannotBeCleared(t *testing.T) {
	p := ready(t, smallShop(shopOptions{}))
	p.runs(0)
	p.wait(5 * second)
	p.runs(1)
	p.wait(5 * second)
	p.do(controller.Event{Kind: controller.GateChip, By: controller.FromSensor, N: 1, V: 1})
	p.put(0, 500)
	p.wait(2 * second)
	p.idles(0)
	p.idles(1)
	p.log = nil
	p.wait(20 * second)
	var notes []controller.Reason
	for _, e := range p.log {
		if e.Kind == controller.Note {
			notes = append(notes, e.Why)
		}
	}
	assert.Contains(t, notes, controller.BecauseFlushed, "the saw's")
}

func TestRunByHandThroughTheProgram(t *testing.T) {
	p := ready(t, smallShop(shopOptions{}))
	hold := func(to gates.Selector) controller.Reason {
		return p.ask(controller.Event{Kind: controller.SelectCollector, V: int32(to)})
	}
	require.Equal(t, controller.NoReason, hold(gates.HeldOpen))
	p.wait(5 * second)
	assert.Equal(t, controller.CollectorRuns, p.phase(0), "a way was opened for it")
	assert.Equal(t, gates.Of(3), p.open(), "the one preferred for relief")
	assert.Equal(t, "held_open", p.s.Snapshot(p.shop).Collectors[0].Selector)
	p.wait(31 * controller.Minute)
	assert.True(t, p.stands(controller.RunsUnattended))
	p.press(controller.Acknowledged)
	assert.False(t, p.stands(controller.RunsUnattended))
	p.wait(36 * controller.Minute)
	assert.NotEqual(t, controller.CollectorRuns, p.phase(0), "nobody answered")
	assert.Equal(t, "automatic", p.s.Snapshot(p.shop).Collectors[0].Selector)

	p = ready(t, smallShop(shopOptions{}))
	require.Equal(t, controller.NoReason, hold(gates.HeldOpen))
	p.wait(5 * second)
	require.Equal(t, controller.NoReason, hold(gates.Automatic))
	assert.Equal(t, controller.Clearing, p.phase(0))
	require.Equal(t, controller.NoReason, hold(gates.Off))
	assert.Equal(t, controller.Coasting, p.phase(0))
	assert.Equal(t, controller.BecauseNoSuchThing, p.ask(controller.Event{Kind: controller.SelectCollector, N: 3}))
	assert.Equal(t, controller.BecauseBadValue, p.ask(controller.Event{Kind: controller.SelectCollector, V: 9}))
	p.press(controller.HaltPressed)
	assert.Equal(t, controller.BecauseHalted, hold(gates.HeldOpen))
}

func TestRequestsThatAreRefused(t *testing.T) {
	shop := smallShop(shopOptions{})
	shop.Gates[2].Motion = gates.Limits{Hand: true}
	p := newPlant(t, shop)
	ev := func(k controller.EventKind, n uint8, v int32) controller.Event {
		return controller.Event{Kind: k, N: n, V: v}
	}
	assert.Equal(t, controller.BecauseStandingBy, p.ask(ev(controller.CallAir, 0, 1000)))
	assert.Equal(t, controller.BecauseStandingBy, p.ask(ev(controller.HoldGate, 0, 1000)))
	assert.Equal(t, controller.BecauseStandingBy, p.ask(ev(controller.SelectCollector, 0, 1)))
	p.do(controller.Event{Kind: controller.Restarted, V: 1})
	assert.Equal(t, controller.BecauseUnclean, p.press(controller.ReadyPressed))
	p.press(controller.Acknowledged)
	assert.Equal(t, controller.NoReason, p.press(controller.ReadyPressed))
	assert.Equal(t, controller.BecauseOnDuty, p.press(controller.ReadyPressed))
	for _, k := range []controller.EventKind{controller.MachinePressed, controller.CallAir, controller.HoldGate, controller.SelectGate} {
		assert.Equal(t, controller.BecauseNoSuchThing, p.ask(ev(k, 60, 1)))
	}
	assert.Equal(t, controller.BecauseNoSuchThing, p.ask(ev(controller.Acknowledged, 200, 0)))
	assert.Equal(t, controller.BecauseBadValue, p.ask(ev(controller.SelectGate, 0, -1)))
	assert.Equal(t, controller.BecauseHandGate, p.ask(ev(controller.HoldGate, 2, 0)))
	p.do(controller.Event{Kind: controller.GateChip, N: 0, V: 1})
	assert.Equal(t, controller.BecauseChipSilent, p.ask(ev(controller.HoldGate, 0, 0)))
	p.do(controller.Event{Kind: controller.DisconnectSeen, N: 0, V: 1})
	assert.Equal(t, controller.BecauseDisconnectOpen, p.ask(ev(controller.HoldGate, 1, 0)))
	assert.Equal(t, controller.BecauseDisconnectOpen, p.ask(ev(controller.CallAir, 0, 0)))
	p.do(controller.Event{Kind: controller.DisconnectSeen, N: 0})
	p.do(controller.Event{Kind: controller.GateChip, N: 0})
	p.ask(ev(controller.SelectCollector, 0, 2))
	assert.Equal(t, controller.BecauseCollectorOff, p.ask(ev(controller.CallAir, 0, 0)))
	p.press(controller.HaltPressed)
	assert.Equal(t, controller.BecauseHalted, p.ask(ev(controller.CallAir, 0, 0)))
	assert.Equal(t, controller.BecauseHalted, p.ask(ev(controller.HoldGate, 1, 0)))

	p = ready(t, smallShop(shopOptions{noStarter: true}))
	assert.Equal(t, controller.BecauseNoStarter, p.ask(ev(controller.SelectCollector, 0, 1)))

	p = ready(t, smallShop(shopOptions{bare: true}))
	p.runs(0)
	p.wait(10 * second)
	assert.Equal(t, controller.BecauseOnlyPath, p.ask(ev(controller.SelectGate, 0, 2)))
	p.stuck = gates.Of(1)

	p = ready(t, smallShop(shopOptions{}))
	p.stuck = gates.Of(0)
	p.runs(0)
	p.wait(15 * second)
	assert.Equal(t, controller.BecauseGateFailed, p.ask(ev(controller.HoldGate, 0, 0)))
	p.idles(0)
	p.dead = gates.Of(0)
	p.runs(2)
	p.wait(5 * second)
	assert.Equal(t, controller.BecauseLatched, p.ask(ev(controller.CallAir, 0, 0)))
	assert.Equal(t, controller.BecauseLatched, p.ask(ev(controller.SelectCollector, 0, 1)))
}

func TestTheNetworkHasOnlyTheRightsOfTheShopFile(t *testing.T) {
	asks := map[controller.EventKind]controller.NetworkRights{controller.FinishPressed: controller.NetworkStop, controller.HaltPressed: controller.NetworkStop,
		controller.Acknowledged: controller.NetworkRequests, controller.HoldGate: controller.NetworkRequests, controller.SelectGate: controller.NetworkRequests,
		controller.CallAir: controller.NetworkStart, controller.MachinePressed: controller.NetworkStart, controller.ReadyPressed: controller.NetworkStart}
	for rights := controller.NetworkNone; rights <= controller.NetworkStart; rights++ {
		for k, need := range asks {
			p := ready(t, smallShop(shopOptions{network: rights}))
			n := uint8(0)
			if k == controller.Acknowledged {
				n = controller.Everything
			}
			why := p.ask(controller.Event{Kind: k, By: controller.FromNetwork, N: n})
			assert.Equal(t, rights < need, why == controller.BecauseNetworkMayNot, "event %d with rights %d: %s", k, rights, why)
		}
		p := ready(t, smallShop(shopOptions{network: rights}))
		for v, need := range map[int32]controller.NetworkRights{0: controller.NetworkRequests, 2: controller.NetworkRequests, 1: controller.NetworkStart} {
			why := p.ask(controller.Event{Kind: controller.SelectCollector, By: controller.FromNetwork, V: v})
			assert.Equal(t, rights < need, why == controller.BecauseNetworkMayNot)
		}
	}
}

func TestAProofThatIsLost(t *testing.T) {
	p := ready(t, smallShop(shopOptions{}))
	see := func(f controller.Feedback) {
		p.do(controller.Event{Kind: controller.CollectorSeen, By: controller.FromSensor, V: int32(f)})
	}
	see(controller.Unreadable)
	assert.True(t, p.stands(controller.ProofLost))
	p.runs(0)
	p.wait(5 * second)
	assert.Equal(t, controller.CollectorOff, p.phase(0), "unknown before a start: no start")
	assert.True(t, p.stands(controller.NoAir))
	see(controller.Still)
	p.wait(5 * second)
	assert.Equal(t, controller.CollectorRuns, p.phase(0))
	see(controller.Unreadable)
	p.wait(20 * second)
	assert.Equal(t, controller.CollectorRuns, p.phase(0), "unknown while dust is made: the air stays on")
}

func TestOnDutyByItselfAfterACleanPowerUp(t *testing.T) {
	shop := smallShop(shopOptions{})
	shop.OnDutyAfterStart = true
	p := newPlant(t, shop)
	assert.Equal(t, controller.OnDuty, p.s.Mode())
	p.do(controller.Event{Kind: controller.Restarted, V: 1})
	assert.Equal(t, controller.StandingBy, p.s.Mode())
}

func TestHeldGatesEnd(t *testing.T) {
	p := ready(t, smallShop(shopOptions{}))
	hold := func(v int32) {
		require.Equal(t, controller.NoReason, p.ask(controller.Event{Kind: controller.HoldGate, N: 2, V: v}))
	}
	hold(20_000)
	p.wait(5 * second)
	assert.Equal(t, "held", p.s.Snapshot(p.shop).Gates[2].Role)
	assert.EqualValues(t, 15_000, p.s.Snapshot(p.shop).Gates[2].LeftMS)
	p.wait(20 * second)
	assert.Equal(t, "automatic", p.s.Snapshot(p.shop).Gates[2].Selector)
	assert.True(t, p.open().Has(2), "it stays where it is until somebody's demand closes it")
	hold(0)
	p.wait(9 * controller.Minute)
	assert.Equal(t, "held_open", p.s.Snapshot(p.shop).Gates[2].Selector)
	p.wait(2 * controller.Minute)
	assert.Equal(t, "automatic", p.s.Snapshot(p.shop).Gates[2].Selector, "longest_hold")
}

// asked remembers the last question.
type asked struct {
	*tablePlanner
	q *plan.Question
}

func (a asked) Choose(q plan.Question) plan.Answer {
	*a.q = q
	return a.tablePlanner.Choose(q)
}

func TestTheQuestionToThePlanner(t *testing.T) {
	shop := smallShop(shopOptions{eager: true})
	var q plan.Question
	shop.Collectors[0].Planner = asked{shop.Collectors[0].Planner.(*tablePlanner), &q}
	p := ready(t, shop)
	p.runs(0)
	p.wait(10 * second)
	assert.Equal(t, gates.Of(0), q.Running)
	assert.Equal(t, gates.Of(0, 1, 2, 3), q.Usable)
	assert.False(t, q.Loaded, "its sensor says clean")
	p.do(controller.Event{Kind: controller.FilterSeen, V: 1})
	assert.True(t, q.Loaded)
	p.put(2, 1000)
	assert.True(t, q.StuckOpen.Has(2), "opened by hand: it stays")
	p.ask(controller.Event{Kind: controller.HoldGate, N: 3, V: 10_000})
	assert.True(t, q.StuckOpen.Has(3), "held open")
	p.wait(5 * second)
	p.do(controller.Event{Kind: controller.GateChip, N: 3, V: 1})
	p.wait(20 * second)
	assert.True(t, q.StuckOpen.Has(3), "open, and its chip is silent")
	p.do(controller.Event{Kind: controller.GateChip, N: 1, V: 1})
	assert.False(t, q.Usable.Has(1))
	assert.False(t, q.StuckOpen.Has(1), "shut, and its chip is silent")
	p.do(controller.Event{Kind: controller.GateChip, N: 1})
	p.ask(controller.Event{Kind: controller.SelectGate, N: 1, V: int32(gates.Off)})
	assert.False(t, (q.Usable | q.StuckOpen).Has(1), "off, and unknown from then on")
	p.idles(0)
	assert.Equal(t, gates.Of(0), q.Down)
	p.wait(second)
	p.runs(2)
	p.machine(1, current.Unknown)
	assert.False(t, p.s.Snapshot(shop).Gates[1].State == "opening")

	p = ready(t, shop)
	p.cut(1, 10*second)
	p.wait(2 * controller.Minute)
	p.machine(1, current.Unknown)
	p.runs(0)
	assert.True(t, q.StuckOpen.Has(1), "frozen open while nothing is known of its machine")
	p.wait(20 * second)
	assert.True(t, p.open().Has(1))
}

func TestAnUnknownGateOfAnUnknownMachineStays(t *testing.T) {
	shop := smallShop(shopOptions{bare: true})
	p := &plant{t: t, shop: shop, watch: newWatchers(shop)}
	p.do(controller.Event{Kind: controller.Restarted})
	p.idles(0)
	p.do(controller.Event{Kind: controller.CollectorSeen, By: controller.FromSensor, V: int32(controller.Still)})
	p.wait(2 * controller.Minute)
	p.press(controller.ReadyPressed)
	p.runs(0)
	p.wait(20 * second)
	assert.Equal(t, controller.CollectorRuns, p.phase(0))
	assert.Equal(t, "unknown", p.s.Snapshot(shop).Gates[2].State, "neither opened nor closed")
	assert.Equal(t, "closed", p.s.Snapshot(shop).Gates[3].State, "nobody's gate is driven shut")
}

func TestLeastRunDelaysTheAutomaticAlone(t *testing.T) {
	shop := smallShop(shopOptions{})
	shop.Linger = 0
	p := ready(t, shop)
	p.cut(0, 3*second)
	p.wait(20 * second)
	assert.Equal(t, controller.Lingering, p.phase(0))
	assert.Equal(t, controller.BecauseLeastRun.Sentence(), p.s.Snapshot(shop).Collectors[0].Why)
	p.wait(20 * second)
	assert.Equal(t, controller.Coasting, p.phase(0), "thirty seconds after the start")
	p = ready(t, shop)
	p.cut(0, 3*second)
	p.press(controller.HaltPressed)
	assert.Equal(t, controller.Coasting, p.phase(0), "it never delays halt")
}

func TestTheRestIsWholeToTheMillisecond(t *testing.T) {
	p := ready(t, smallShop(shopOptions{}))
	p.cut(0, 10*second)
	p.press(controller.HaltPressed)
	p.press(controller.ReadyPressed)
	off := p.now
	p.wait(second)
	p.runs(0)
	p.now = off + 59_999
	p.do(controller.Event{Kind: controller.MachineSeen, By: controller.FromSensor, N: 2, V: int32(current.Running)})
	assert.Equal(t, controller.CollectorOff, p.phase(0))
	p.now++
	p.do(controller.Event{Kind: controller.Wake})
	assert.Equal(t, controller.Starting, p.phase(0))
}

func TestFinishLeavesFlushesForLater(t *testing.T) {
	p := ready(t, smallShop(shopOptions{}))
	p.runs(0)
	p.wait(10 * second)
	p.runs(1)
	p.wait(10 * second)
	p.idles(0)
	p.idles(1)
	p.press(controller.FinishPressed)
	p.log = nil
	p.wait(20 * second)
	assert.NotContains(t, kinds(p.log), controller.OpenGate)
	assert.Equal(t, controller.Coasting, p.phase(0))
	p.wait(2 * controller.Minute)
	p.log = nil
	p.cut(2, 10*second)
	p.wait(40 * second)
	assert.Contains(t, kinds(p.log), controller.Note, "the branches are cleared at the next quiet moment")
}

func TestHaltEndsAHold(t *testing.T) {
	p := ready(t, smallShop(shopOptions{}))
	p.ask(controller.Event{Kind: controller.HoldGate, N: 2, V: 600_000})
	p.wait(300)
	p.press(controller.HaltPressed)
	assert.Equal(t, gates.DriveNone, p.drive[2])
	p.press(controller.ReadyPressed)
	p.wait(5 * second)
	assert.False(t, p.open().Has(2), "Ready opens only the gates of machines that run")
}

func TestTheLastKnownWayStaysThoughNobodyNeedsIt(t *testing.T) {
	shop := smallShop(shopOptions{})
	shop.Gates[2].Motion, shop.MovingAtOnce = gates.Limits{Hand: true}, 4
	shop.Collectors[0].Planner = fixed{&plan.Answer{Verdict: plan.NotJudged, Weakest: plan.NoDuct, Short: plan.NoMachine, Mend: plan.NoMachine}}
	p := ready(t, shop)
	for _, g := range []uint8{0, 3} {
		p.ask(controller.Event{Kind: controller.HoldGate, N: g, V: 2000})
	}
	p.wait(5 * second)
	require.Equal(t, gates.Of(0, 3), p.open())
	p.runs(2)
	p.wait(20 * second)
	assert.Equal(t, controller.CollectorRuns, p.phase(0))

	assert.Equal(t, 1, p.open().Len(), "one of two is closed, not both")
}

func TestThePlannerCannotShutACutter(t *testing.T) {
	shop := smallShop(shopOptions{})
	shop.Collectors[0].Planner = fixed{&plan.Answer{Open: gates.Of(2), Needed: gates.Of(2), Verdict: plan.Carries, Weakest: plan.NoDuct, Short: plan.NoMachine, Mend: plan.NoMachine}}
	p := ready(t, shop)
	p.runs(0)
	p.wait(5 * second)
	p.runs(2)
	p.wait(20 * second)
	assert.True(t, p.open().Has(0), "a running machine's gate is never shut")
	p.idles(0)
	p.wait(3 * second)
	assert.True(t, p.open().Has(0), "nor while its cutter turns")
	p.wait(10 * second)
	assert.False(t, p.open().Has(0))
}

func TestTwoCollectorsAreSpaced(t *testing.T) {
	p := ready(t, smallShop(shopOptions{two: true}))
	p.runs(0)
	p.runs(2)
	p.wait(1500)
	assert.Equal(t, controller.CollectorRuns, p.phase(0))
	assert.Equal(t, controller.CollectorOff, p.phase(1))
	assert.False(t, p.stands(controller.NoAir), "it is on its way")
	p.wait(4 * second)
	assert.Equal(t, controller.CollectorRuns, p.phase(1))
}

func TestStepAllocatesNothing(t *testing.T) {
	p := ready(t, smallShop(shopOptions{two: true, nested: true}))
	out := make([]controller.Effect, 0, 64)
	now, i := p.now, 0
	n := testing.AllocsPerRun(500, func() {
		i++
		now += 100
		controller.Step(p.shop, &p.s, controller.Event{At: now, Kind: controller.MachineSeen, N: uint8(i % 3), V: int32(1 + i/3%2), Ref: 1}, out[:0])
		p.s.Outputs(p.shop)
		p.s.Wake(p.shop)
	})
	assert.Zero(t, n)
}

func BenchmarkStep(b *testing.B) {
	p := ready(b, smallShop(shopOptions{}))
	out := make([]controller.Effect, 0, 64)
	now := p.now
	for i := range b.N {
		now += 100
		controller.Step(p.shop, &p.s, controller.Event{At: now, Kind: controller.MachineSeen, N: uint8(i % 3), V: int32(1 + i/3%2)}, out[:0])
	}
}

func TestAnEagerShopStartsWhenTheHourAllows(t *testing.T) {
	p := ready(t, smallShop(shopOptions{eager: true}))
	for _, age := range []controller.Span{controller.Hour - 130*second, 10 * second, 10 * second} {
		p.do(controller.Event{Kind: controller.StartStored, V: int32(age)})
	}
	free := p.now + 130_000
	p.cut(0, 90*second)
	p.press(controller.FinishPressed)
	p.wait(15 * second)
	require.Equal(t, controller.Coasting, p.phase(0))
	p.runs(0)
	p.wait(controller.Span(free-p.now) - 1)
	assert.Equal(t, controller.Coasting, p.phase(0))
	assert.True(t, p.stands(controller.StartsSpent), "the hour is what it waits for")
	p.wait(1)
	assert.Equal(t, controller.Starting, p.phase(0), "although the motor has not rested")
}

func TestAStartThatIsSeenWhileHaltedCallsNobody(t *testing.T) {
	p := ready(t, smallShop(shopOptions{}))
	p.cut(0, 10*second)
	p.press(controller.HaltPressed)
	p.put(0, 500)
	require.True(t, p.stands(controller.GateMoved))
	p.runs(0)
	p.idles(0)
	p.runs(0)
	assert.True(t, p.stands(controller.GateMoved), "nobody's start outranks the hand that moved it")
}
