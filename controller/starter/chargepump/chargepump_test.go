package chargepump

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

const ms = time.Millisecond

func TestPullsInWithPulsesAndDropsOutWithout(t *testing.T) {
	var p Pump
	assert.False(t, p.Holds(0))
	assert.Zero(t, p.Until())
	level := false
	now := time.Second
	for range 3 {
		level = !level
		p.Set(now, level)
		assert.False(t, p.Holds(now), "a glitch or two start nothing")
		now += 25 * ms
	}
	p.Set(now, !level)
	assert.True(t, p.Holds(now))
	assert.Equal(t, now+500*ms, p.Until())
	p.Set(now+400*ms, !level)
	assert.Equal(t, now+500*ms, p.Until(), "the same level again is no change")
	assert.True(t, p.Holds(now+500*ms))
	assert.False(t, p.Holds(now+501*ms))
}

func TestALevelHoldsNothing(t *testing.T) {
	for _, level := range []bool{true, false} {
		p := Pump{DropOut: 300 * ms, Charge: 2}
		p.Set(1, true)
		p.Set(2, false)
		p.Set(3, level)
		assert.True(t, p.Holds(3))
		assert.False(t, p.Holds(400*ms), "stuck at either level")
	}
}

func TestSlowChangesDoNotCharge(t *testing.T) {
	var p Pump
	level := false
	for now := time.Second; now < time.Minute; now += 501 * ms {
		level = !level
		p.Set(now, level)
		assert.False(t, p.Holds(now))
	}
}
