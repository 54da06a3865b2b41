package main

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/loop"
)

// After a program that died with the collector on, the shop stands by until a person has acknowledged what the file of
// starts knows of it; after an orderly end Ready is enough.
func TestADisorderlyEndIsNamedAndAcknowledged(t *testing.T) {
	for _, c := range []struct {
		ending loop.Ending
		names  string // "" : nothing to acknowledge
	}{
		{loop.OrderlyEnd, ""},
		{loop.StillOff, "a crash, or it was killed"},
		{loop.StillOn, "while a collector was on: a crash, or the power was cut"},
	} {
		th, err := newTheatreAfter(t.Context(), troubledShop(t), 1, c.ending)
		require.NoError(t, err)
		pass := func(d time.Duration) { th.clock.Advance(t.Context(), th.clock.Now()+d) }
		mode := func() string { pass(time.Second); return th.loop.Snapshots().Latest().Mode }
		ready := func() {
			th.loop.Post(controller.Event{Kind: controller.ReadyPressed, By: controller.FromButton})
		}
		require.Equal(t, "standing_by", mode())
		ready()
		if c.names == "" {
			assert.Equal(t, "on_duty", mode())
			continue
		}
		assert.Equal(t, "standing_by", mode(), "not before somebody has looked")
		var told *controller.AlarmSnapshot
		for _, a := range th.loop.Snapshots().Latest().Alarms {
			if a.Key == "unclean_end" {
				told = &a
			}
		}
		require.NotNil(t, told)
		assert.True(t, strings.HasSuffix(told.Text, c.names), told.Text)
		blade := th.sim.Blade(th.gate("planer"))
		th.sim.Switch(th.machine("thickness planer"), true)
		pass(30 * time.Second)
		assert.False(t, th.sim.Powered(0))
		assert.Equal(t, blade, th.sim.Blade(th.gate("planer")), "nothing has moved")
		th.sim.Switch(th.machine("thickness planer"), false)
		th.loop.Post(controller.Event{Kind: controller.Acknowledged, By: controller.FromButton, N: uint8(controller.UncleanEnd)})
		pass(time.Second)
		ready()
		assert.Equal(t, "on_duty", mode())
	}
}
