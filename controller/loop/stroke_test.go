package loop

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"ductwarden/controller"
	"ductwarden/current"
)

func TestStrokeCountsOneProvedDrive(t *testing.T) {
	at := func(s *stroke, now int64, state string, proved, driven bool) int64 {
		s.see(controller.Instant(now), &controller.GateSnapshot{State: state, Proved: proved}, driven)
		return s.last
	}
	var s stroke
	at(&s, 100, "closed", true, false)
	at(&s, 200, "opening", false, true)
	at(&s, 500, "opening", false, true)
	assert.EqualValues(t, 620, at(&s, 820, "open", true, false))
	at(&s, 1000, "closing", false, true)
	at(&s, 4000, "closing", false, false) // rests before another try
	at(&s, 4500, "closing", false, true)
	assert.EqualValues(t, 620, at(&s, 5000, "closed", true, false), "two tries are no stroke")
	at(&s, 6000, "opening", false, true)
	assert.EqualValues(t, 620, at(&s, 7200, "open", false, false), "an assumed end says nothing of the time")
	at(&s, 8000, "closing", false, true)
	assert.EqualValues(t, 700, at(&s, 8700, "closed", true, false))
}

func TestStrokeIsShown(t *testing.T) {
	r := newRig(t)
	r.onDuty()
	r.meters[0].belief = current.Running
	r.run(3 * time.Second)
	g := r.snap().Gates[0]
	assert.Equal(t, "open", g.State)
	assert.Positive(t, g.StrokeMS)
	assert.Less(t, g.StrokeMS, int64(200), "the rig's blade follows at once")
}
