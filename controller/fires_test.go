package controller_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/current"
	"ductwarden/gates"
)

// A moment is one step of a trace written by hand: after so much time an event, and what a bad core would do.
type moment struct {
	after controller.Span
	ev    controller.Event
	out   []controller.Effect
}

func at(after controller.Span, k controller.EventKind, n, v int, out ...controller.Effect) moment {
	return moment{after, controller.Event{Kind: k, By: controller.FromSensor, N: uint8(n), V: int32(v)}, out}
}

func does(k controller.EffectKind, n int, why ...controller.Reason) controller.Effect {
	e := controller.Effect{Kind: k, N: uint8(n)}
	if len(why) > 0 {
		e.Why = why[0]
	}
	return e
}

const (
	anything = int(controller.Everything)
	minute   = controller.Minute
)

// onDuty are the first moments of a rested shop on duty, all idle, all gates shut.
func onDuty() []moment {
	return []moment{
		at(1, controller.Restarted, 0, 0), at(0, controller.GateSeen, 0, int(gates.SeenClosed)), at(0, controller.GateSeen, 2, int(gates.SeenClosed)),
		at(0, controller.GateSeen, 3, int(gates.SeenClosed)), at(0, controller.MachineSeen, 0, int(current.Idle)), at(0, controller.MachineSeen, 2, int(current.Idle)),
		at(0, controller.CollectorSeen, 0, int(controller.Still)), at(2*minute, controller.ReadyPressed, 0, 0),
	}
}

// blowing is the saw running with its air, for so long.
func blowing(d controller.Span) []moment {
	return append(onDuty(),
		at(10, controller.MachineSeen, 0, int(current.Running), does(controller.OpenGate, 0)),
		at(1000, controller.GateSeen, 0, int(gates.SeenOpen), does(controller.RestGate, 0, controller.BecauseArrived), does(controller.StartCollector, 0)),
		at(300, controller.CollectorSeen, 0, int(controller.Turning)),
		at(d, controller.Wake, 0, 0))
}

// TestObserversFire gives each observer a trace in which its rule is broken.
func TestObserversFire(t *testing.T) {
	start, stop := does(controller.StartCollector, 0), func(why controller.Reason) controller.Effect { return does(controller.StopCollector, 0, why) }
	open, shut := func(g int) controller.Effect { return does(controller.OpenGate, g) }, func(g int) controller.Effect { return does(controller.CloseGate, g) }
	rest := func(g int, why controller.Reason) controller.Effect { return does(controller.RestGate, g, why) }
	saw, off := at(10, controller.MachineSeen, 0, int(current.Running)), at(10, controller.MachineSeen, 0, int(current.Idle))
	with := func(m moment, out ...controller.Effect) moment { m.out = out; return m }
	network := func(m moment) moment { m.ev.By, m.ev.Ref = controller.FromNetwork, 1; return m }
	wake := func(d controller.Span, out ...controller.Effect) moment { return at(d, controller.Wake, 0, 0, out...) }
	refused := controller.Effect{Kind: controller.Answered, V: 1}
	opened := []moment{with(saw, open(0)), at(1000, controller.GateSeen, 0, int(gates.SeenOpen), rest(0, controller.BecauseArrived))}
	again := func(from []moment, more ...moment) []moment { return append(append([]moment{}, from...), more...) }
	two := shopOptions{two: true}
	for _, c := range []struct {
		name, rule string
		shop       shopOptions
		trace      []moment
	}{
		{"no gate is open", "I1", shopOptions{}, again(onDuty(), with(saw, open(0), start))},
		{"another machine's gate is open", "I1", shopOptions{}, again(onDuty(), at(0, controller.GateSeen, 2, int(gates.SeenOpen)), with(saw, start))},
		{"the program cannot switch it", "I1", shopOptions{noStarter: true}, again(onDuty(), again(opened, wake(10, start))...)},
		{"no such collector", "I1", shopOptions{}, again(onDuty(), wake(1, does(controller.StartCollector, 3)))},
		{"a way is lost and the line stays on", "I2", shopOptions{}, again(blowing(minute), at(0, controller.GateSeen, 0, int(gates.SeenNeither)), wake(2999), wake(1))},
		{"the last gate closes", "I3", shopOptions{}, again(blowing(minute), wake(0, shut(0)))},
		{"a gate closes though all stay open", "I3", shopOptions{all: true}, again(blowing(minute), at(0, controller.GateSeen, 2, int(gates.SeenOpen)), wake(0, shut(2)))},
		{"during the rest", "I4", shopOptions{}, again(blowing(minute), off, wake(1000, stop(controller.BecauseFinish)), wake(59_999, start))},
		{"rested at program start", "I4", shopOptions{}, []moment{at(1, controller.Restarted, 0, 0), wake(59_999, start)}},
		{"five in an hour", "I5", shopOptions{}, again(blowing(minute), wake(0, stop(0)), wake(minute, start), wake(minute, stop(0)), wake(minute, start), wake(minute, stop(0)), wake(minute, start), wake(minute, stop(0)), wake(minute, start))},
		{"by its own switch", "I5", shopOptions{}, again(onDuty(), at(0, controller.StartStored, 0, 0), at(0, controller.StartStored, 0, 0), at(0, controller.StartStored, 0, 0),
			at(0, controller.CollectorSeen, 0, int(controller.Turning)), at(0, controller.CollectorSeen, 0, int(controller.Still)), wake(2*minute, start))},
		{"before its least run", "I6", shopOptions{}, again(blowing(1000), wake(28_000, stop(controller.BecauseLingered)))},
		{"before Ready", "I7", shopOptions{}, []moment{at(1, controller.Restarted, 0, 0), wake(minute, open(0))}},
		{"unclean and not acknowledged", "I7", shopOptions{}, []moment{at(1, controller.Restarted, 0, 1), at(1, controller.ReadyPressed, 0, 0), wake(minute, open(0))}},
		{"nobody has called", "I8", shopOptions{}, again(onDuty(), wake(10, start))},
		{"it ran at Ready", "I8", shopOptions{}, []moment{at(1, controller.Restarted, 0, 0), at(1, controller.MachineSeen, 0, int(current.Running)), at(2*minute, controller.ReadyPressed, 0, 0), wake(10, start)}},
		{"a line stays on after halt", "I9", shopOptions{}, again(blowing(minute), at(0, controller.HaltPressed, 0, 0))},
		{"a line comes on again after halt", "I9", shopOptions{}, again(blowing(minute), at(0, controller.HaltPressed, 0, 0, stop(controller.BecauseHalted)), wake(2*minute, start))},
		{"a request without the right", "I10", shopOptions{network: controller.NetworkRequests}, again(onDuty(), network(at(0, controller.CallAir, 0, 1000)))},
		{"a stop refused", "I10", shopOptions{network: controller.NetworkStop}, again(onDuty(), with(network(at(0, controller.HaltPressed, 0, 0)), refused))},
		{"the network starts it", "I10", shopOptions{}, again(onDuty(), again(opened, with(network(at(0, controller.Acknowledged, anything, 0)), refused, start))...)},
		{"three at once", "I11", shopOptions{}, again(onDuty(), with(saw, open(0), open(2), open(3)))},
		{"a gate that is not there", "I12", shopOptions{}, again(onDuty(), wake(0, open(7)))},
		{"a gate that is off", "I12", shopOptions{}, again(onDuty(), at(0, controller.SelectGate, 0, int(gates.Off)), with(saw, open(0)))},
		{"driven too long", "I13", shopOptions{}, again(onDuty(), with(saw, open(0)), wake(4499), wake(1))},
		{"driven after halt", "I13", shopOptions{}, again(onDuty(), with(saw, open(0)), at(1, controller.HaltPressed, 0, 0))},
		{"settled, creeps, untold", "I14", shopOptions{}, again(blowing(minute), at(0, controller.GateSeen, 1, 0), at(0, controller.MachineSeen, 1, int(current.Running)), wake(999), wake(1))},
		{"a running machine's gate closes", "I15", shopOptions{}, again(blowing(minute), at(0, controller.GateSeen, 2, int(gates.SeenOpen)), wake(1, shut(0)))},
		{"a fault closes another's gate", "I15", shopOptions{}, again(onDuty(), at(0, controller.MachineSeen, 0, int(current.Unknown), shut(2)))},
		{"a fault stops the air of another", "I15", shopOptions{}, again(blowing(minute), at(0, controller.MachineSeen, 2, int(current.Unknown), stop(controller.BecauseLingered)))},
		{"it still turns and its way is shut", "I16", shopOptions{}, again(blowing(minute), wake(0, stop(controller.BecauseFinish)), wake(1, shut(0)))},
		{"a fault is forgotten", "I17", shopOptions{}, again(blowing(minute), at(0, controller.CollectorSeen, 0, int(controller.Still)), wake(2000, stop(controller.BecauseTripped)), off, wake(2*minute), with(saw, start))},
		{"acknowledged while it still runs", "I17", shopOptions{}, again(blowing(minute), wake(0, stop(controller.BecauseContactor)), at(1, controller.Acknowledged, anything, 0), at(1, controller.CollectorSeen, 0, int(controller.Still)), wake(2*minute, start))},
		{"no way, not acknowledged", "I17", shopOptions{}, again(blowing(minute), wake(0, stop(controller.BecauseNoPath)), at(1, controller.CollectorSeen, 0, int(controller.Still)), wake(2*minute, start))},
		{"it did not stop, not acknowledged", "I17", shopOptions{}, again(blowing(minute), wake(0, stop(controller.BecauseFinish)), wake(3000), wake(1), at(1, controller.CollectorSeen, 0, int(controller.Still)), wake(2*minute, start))},
		{"seven moves", "I22", shopOptions{}, again(onDuty(), wake(1, open(0)), wake(1, shut(0)), wake(1, open(0)), wake(1, shut(0)), wake(1, open(0)), wake(1, shut(0)), wake(1, open(0)))},
		{"nobody is asked after a long run", "I23", shopOptions{}, again(blowing(minute), wake(30*minute))},
		{"run by hand and nobody answers", "I23", shopOptions{}, again(onDuty(), at(0, controller.SelectCollector, 0, int(gates.HeldOpen), start), wake(minute), wake(35*minute), wake(7*minute))},
		{"a gate opens a step late", "I24", shopOptions{}, again(onDuty(), saw)},
		{"no air and nobody is told", "I25", shopOptions{}, again(onDuty(), again(opened, wake(30_000), wake(40_000))...)},
		{"on for nobody", "I26", shopOptions{}, again(blowing(minute), off, wake(5000), wake(331_000))},
		{"a third try", "I27", shopOptions{}, again(onDuty(), with(saw, open(0)), wake(3000, rest(0, controller.BecauseTriesAgain)), wake(500, does(controller.OpenGate, 0, controller.BecauseTriesAgain)),
			wake(3000, rest(0, controller.BecauseTriesAgain)))},
		{"gives up at once", "I27", shopOptions{}, again(onDuty(), with(saw, open(0)), wake(3000, rest(0, controller.BecauseGaveUp)))},
		{"failed and moves", "I27", shopOptions{}, again(onDuty(), with(saw, open(0)), wake(3000, rest(0, controller.BecauseTriesAgain)), wake(500, does(controller.OpenGate, 0, controller.BecauseTriesAgain)),
			wake(4500, rest(0, controller.BecauseGaveUp)), wake(1000, open(0)))},
		{"a second try of nothing", "I27", shopOptions{}, again(onDuty(), with(saw, does(controller.OpenGate, 0, controller.BecauseTriesAgain)))},
		{"stopped for a fault, untold", "I29", shopOptions{}, again(blowing(minute), wake(0, stop(controller.BecauseTripped)))},
		{"both switches, untold", "I29", shopOptions{}, again(onDuty(), at(0, controller.GateSeen, 0, int(gates.SeenBoth)))},
		{"the disconnect is open", "D1", shopOptions{}, again(onDuty(), at(0, controller.DisconnectSeen, anything, 1), with(saw, open(0)))},
		{"it stays on", "D1", shopOptions{}, again(blowing(minute), at(0, controller.DisconnectSeen, anything, 1))},
		{"two at once", "D2", two, again(blowing(1000), wake(1000, does(controller.StartCollector, 1)))},
		{"proof unreadable", "D3", shopOptions{}, again(onDuty(), again(opened, at(0, controller.CollectorSeen, 0, int(controller.Unreadable)), wake(1, start))...)},
		{"a held gate closes", "D4", shopOptions{}, again(onDuty(), at(0, controller.HoldGate, 2, 10_000), wake(9999, shut(2)))},
		{"no clearing", "D5", shopOptions{}, again(blowing(minute), off, wake(4999, stop(controller.BecauseLingered)))},
		{"an effect without its level", "D6", shopOptions{}, again(onDuty(), again(opened, wake(1, start))...)},
	} {
		t.Run(c.rule+" "+c.name, func(t *testing.T) {
			r := ruleOf(c.rule)
			require.NotNil(t, r)
			w := watch(smallShop(c.shop), r)
			w.carries = carriesSmall
			now := controller.Instant(0)
			for i, m := range c.trace {
				assert.Empty(t, w.wrong, "broken before the end, by moment %d", i-1)
				now += controller.Instant(m.after)
				m.ev.At = now
				w.see(m.ev, m.out, &controller.State{}) // a state in which nothing stands and nothing is on
				if c.rule == "D6" && i < len(c.trace)-1 {
					w.wrong = nil
				}
			}
			require.NotEmpty(t, w.wrong)
			assert.True(t, strings.HasPrefix(w.wrong[0], c.rule+": "), "%v", w.wrong)
			fired[c.rule] = true
		})
	}
	for _, r := range ruleList() {
		assert.True(t, fired[r.id], "%s has no trace in which it fires", r.id)
	}
}

// fired are the observers that a test has seen fire.
var fired = map[string]bool{}

// carriesSmall is what the ducts of the small shop carry, as the tests' own table: the lathe needs the air of the planer's
// or the sweep's gate beside its own, and with the saw it needs the planer's.
func carriesSmall(open, running gates.Set) bool {
	switch {
	case running.Has(0) && running.Has(1):
		return open.Has(2)
	case running.Has(1):
		return open.Has(2) || open.Has(3)
	}
	return true
}
