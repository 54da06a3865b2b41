package loop

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/current"
	"ductwarden/gates"
)

// borrower notes when it is called, and what it has been given.
type borrower struct {
	moves []time.Duration
	every time.Duration
}

func (b *borrower) Move(now time.Duration, a gates.Actuator) (time.Duration, error) {
	b.moves = append(b.moves, now)
	_ = a.Drive(now, gates.DriveOpen)
	return now + b.every, nil
}

func TestTheBenchKeepsTheAutomaticAway(t *testing.T) {
	r := newRig(t)
	r.run(85 * time.Second)
	require.NoError(t, r.Reserve())
	assert.True(t, r.Reserved())
	r.run(time.Second)
	assert.Contains(t, r.snap().Why, "somebody jogs a gate", "people are told")
	steps := r.steps
	r.press(lineReady)
	r.press(lineButton)
	for _, kind := range []controller.EventKind{controller.ReadyPressed, controller.CallAir, controller.HoldGate, controller.SelectGate, controller.SelectCollector, controller.MachinePressed} {
		got := r.answer(Request{Event: controller.Event{Kind: kind, V: 5000}})
		assert.Equal(t, Answer{Why: controller.BecauseBench}, got, "%v", kind)
	}
	assert.Equal(t, "standing_by", r.snap().Mode)
	assert.Equal(t, steps, r.steps, "the core was not even asked")
	assert.True(t, r.answer(Request{Event: controller.Event{Kind: controller.HaltPressed}}).Accepted, "what stops is taken at any time")

	r.Free()
	r.press(lineReady)
	require.Equal(t, "on_duty", r.snap().Mode)
	assert.ErrorIs(t, r.Reserve(), ErrOnDuty)
	assert.False(t, r.Reserved())
	r.press(lineHalt)
	assert.NoError(t, r.Reserve())
}

func TestALentGateIsMovedByTheBorrowerAlone(t *testing.T) {
	r := newRig(t)
	r.run(85 * time.Second)
	b := &borrower{every: 50 * time.Millisecond}
	require.True(t, r.Lend(0, b))
	r.run(time.Second)
	assert.InDelta(t, 20, len(b.moves), 2, "as often as it asked to be")
	assert.True(t, r.slides[0].open)
	assert.False(t, r.snap().Gates[0].Hand, "its switch shows the borrower's doing, not a hand's")
	b.every = time.Hour
	r.run(time.Second)
	n := len(b.moves)
	r.run(time.Second)
	assert.InDelta(t, 4, len(b.moves)-n, 1, "and not rarer than a level is driven again")
	r.Nudge(0)
	n = len(b.moves)
	r.run(time.Millisecond)
	assert.Len(t, b.moves, n+1)

	r.Return(0)
	r.run(time.Second)
	assert.Len(t, b.moves, n+1)
	assert.Equal(t, 1, r.slides[0].halts, "made inert, once")
	assert.Equal(t, "open", r.snap().Gates[0].State, "as its switch says")
	assert.False(t, r.snap().Gates[0].Hand, "who jogged it has not taken it from the automatic")
	r.press(lineReady)
	r.meters[1].belief = current.Running
	r.run(5 * time.Second)
	assert.False(t, r.slides[0].open, "the automatic has it again, and shuts what nobody needs")

	none := newRig(t, func(p *Parts) { p.Actuators = p.Actuators[1:] })
	assert.False(t, none.Lend(0, b), "a gate slid by hand cannot be lent")
}

// Where a returned gate stands is known to nobody, unless its switches say.
func TestAReturnedGateIsNotTrusted(t *testing.T) {
	blind := func(p *Parts) {
		p.Shop.Gates[0].Motion = gates.Limits{Travel: 600}
		p.Lines[0].Uses[0].For, p.Lines[0].Uses[1].For = BinEmptied, BinEmptied
	}
	r := newRig(t, blind)
	r.onDuty()
	r.meters[0].belief = current.Running
	r.run(5 * time.Second)
	require.Equal(t, "open", r.snap().Gates[0].State)
	r.press(lineHalt)
	r.run(30 * time.Second)
	require.Equal(t, "open", r.snap().Gates[0].State)
	require.True(t, r.Lend(0, &borrower{every: time.Second}))
	r.run(time.Second)
	r.Return(0)
	r.run(time.Second)
	assert.Equal(t, "unknown", r.snap().Gates[0].State)
}

func TestSight(t *testing.T) {
	r := newRig(t)
	r.meters[0].belief, r.meters[0].rms = current.Running, 8200
	r.meters[1].health = current.Flat
	r.run(time.Second)
	seen := r.Sight(nil)
	require.Len(t, seen, 3)
	assert.Equal(t, Seen{Name: "meter", Machines: gates.Of(0), Collector: -1, Milliamperes: 8200, Measured: true, Belief: current.Running, Health: current.Good}, seen[0])
	assert.Equal(t, current.Flat, seen[1].Health)
	assert.Equal(t, 0, seen[2].Collector)
	assert.False(t, r.Unheard(0))
	r.state.Silent = true
	r.run(time.Second)
	assert.True(t, r.Unheard(0))
}
