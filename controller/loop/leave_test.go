package loop

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/current"
)

// leave asks a rig's loop to leave, and lets it turn meanwhile.
func (r *rig) leave() (left Left, err error) {
	done := make(chan struct{})
	go func() {
		defer close(done)
		left, err = r.Leave(context.Background())
	}()
	for {
		select {
		case <-done:
			return left, err
		case <-time.After(time.Millisecond):
			r.run(Scan)
		}
	}
}

func TestALoopLeavesAtRestOnly(t *testing.T) {
	r := newRig(t)
	r.onDuty()
	refused := func(why string) {
		t.Helper()
		_, err := r.leave()
		var s Stirring
		require.True(t, errors.As(err, &s), "%v", err)
		assert.Contains(t, strings.Join(s, "; "), why)
	}
	r.meters[0].belief = current.Running
	r.run(100 * time.Millisecond)
	refused("saw runs")
	r.run(5 * time.Second)
	refused("collector runs")
	r.meters[0].belief = current.Idle
	r.run(200 * time.Millisecond)
	refused("saw runs down")
	r.run(4 * time.Second)
	refused("collector is clearing")
	r.Post(controller.Event{Kind: controller.FinishPressed, By: controller.FromPage})
	r.run(8 * time.Second)
	refused("the wheel of collector still turns")
	r.run(30 * time.Second)
	r.Post(controller.Event{Kind: controller.SelectGate, By: controller.FromPage, N: 1, V: 2})
	r.run(time.Second)
	refused("gate lathe is off")
	r.Post(controller.Event{Kind: controller.SelectGate, By: controller.FromPage, N: 1, V: 0})
	r.run(time.Second)
	r.Post(controller.Event{Kind: controller.HoldGate, By: controller.FromPage, N: 1, V: 60_000})
	r.run(2 * time.Second)
	refused("gate lathe is held open")
	r.Post(controller.Event{Kind: controller.SelectGate, By: controller.FromPage, N: 1, V: 0})
	r.Post(controller.Event{Kind: controller.SelectCollector, By: controller.FromPage, N: 0, V: 2})
	r.run(time.Second)
	refused("collector is off")
	r.Post(controller.Event{Kind: controller.SelectCollector, By: controller.FromPage, N: 0, V: 0})
	r.run(time.Second)

	left, err := r.leave()
	require.NoError(t, err)
	steps := r.steps
	assert.Equal(t, []string{"collector"}, left.IDs)
	r.meters[1].belief = current.Running
	r.press(lineReady)
	r.run(10 * time.Second)
	assert.Equal(t, steps, r.steps, "it takes nothing in any more")
	assert.False(t, r.motor.on)

	// The loop that takes its place, under a file without the disconnect's contact, with the lathe running.
	next := newRig(t, func(p *Parts) {
		p.Anew, p.Resumed = true, &left.State
		p.Scheduler.(*Virtual).now = r.clock.now
		p.Shop.OnDutyAfterStart = true
		p.Lines[0].Uses = p.Lines[0].Uses[:lineDisconnect]
	})
	next.meters[1].belief = current.Running
	next.run(2 * time.Second)
	s := next.snap()
	assert.Equal(t, "standing_by", s.Mode, "whatever the shop chose")
	assert.Equal(t, "running", s.Machines[1].State, "what is seen is told anew")
	assert.Equal(t, "closed", s.Gates[0].State, "seen by its switch")
	assert.Equal(t, "still", s.Collectors[0].Feedback)
	assert.Equal(t, 7, s.Collectors[0].StartsLeft, "one start of this hour is made")
	assert.Empty(t, next.slides[0].drives, "nothing moves")
	assert.Empty(t, next.slides[1].drives)
	next.press(lineReady)
	next.run(5 * time.Second)
	assert.Equal(t, "on_duty", next.snap().Mode)
	assert.False(t, next.motor.on, "it ran before its start could be seen")
}

// A disconnect that was open under the file before, and has no contact any more, does not hold the shop up for ever; one
// that has its contact is seen open anew.
func TestADisconnectIsToldAnew(t *testing.T) {
	for fitted, want := range map[bool]string{true: "work_on_collector/collector", false: ""} {
		r := newRig(t)
		r.onDuty()
		r.in.set(lineDisconnect, true)
		r.run(time.Second)
		left, err := r.leave()
		require.NoError(t, err)
		next := newRig(t, func(p *Parts) {
			p.Anew, p.Resumed = true, &left.State
			p.Scheduler.(*Virtual).now = r.clock.now
			if !fitted {
				p.Lines[0].Uses = p.Lines[0].Uses[:lineDisconnect]
			}
		})
		next.in.set(lineDisconnect, true)
		next.run(time.Second)
		got := ""
		for _, s := range next.Loop.state.Standing(next.shop, nil) {
			if s.Is == controller.WorkOnCollector {
				got = "work_on_collector/collector"
			}
		}
		assert.Equal(t, want, got)
	}
}
