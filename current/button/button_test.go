package button_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/current"
	"ductwarden/current/button"
	"ductwarden/current/currenttest"
)

const ms = time.Millisecond

// A button stands for a machine that it starts and stops by presses.
func TestMeter(t *testing.T) {
	for _, low := range []bool{false, true} {
		currenttest.Run(t, func(t *testing.T) currenttest.Bench {
			b, err := button.New(button.Settings{Name: "GPIO26", ActiveLow: low, For: time.Hour})
			require.NoError(t, err)
			want := false
			var pressedAt time.Duration
			return currenttest.Bench{
				Meter:   b,
				Machine: func(now time.Duration, on bool) { want = on },
				Feed: func(now time.Duration) {
					_, calling := b.Calling()
					switch {
					case pressedAt > 0 && now-pressedAt < 100*ms:
					case pressedAt > 0 && now-pressedAt < 200*ms:
						b.Line(now, low)
						return
					default:
						pressedAt = 0
						if calling != want && b.Belief() != current.Unknown {
							pressedAt = now
						}
					}
					b.Line(now, (pressedAt > 0) != low)
				},
				Start: 300 * ms, End: 300 * ms,
			}
		})
	}
}

func press(b *button.Button, at time.Duration) {
	b.Line(at, true)
	_, _ = b.Poll(at + 30*ms)
	b.Line(at+100*ms, false)
	_, _ = b.Poll(at + 130*ms)
}

func released(t *testing.T, s button.Settings) *button.Button {
	s.Name = "GPIO26"
	b, err := button.New(s)
	require.NoError(t, err)
	b.Line(0, false)
	next, _ := b.Poll(0)
	assert.Equal(t, 20*ms, next)
	_, _ = b.Poll(next)
	require.Equal(t, current.Idle, b.Belief())
	return b
}

func TestPressCallsAndEnds(t *testing.T) {
	b := released(t, button.Settings{For: 3 * time.Second})
	press(b, time.Second)
	assert.Equal(t, current.Running, b.Belief())
	until, ok := b.Calling()
	require.True(t, ok)
	assert.Equal(t, 4030*ms, until)
	next, _ := b.Poll(1200 * ms)
	assert.Equal(t, until, next)
	_, _ = b.Poll(until - 1)
	assert.Equal(t, current.Running, b.Belief())
	_, _ = b.Poll(until)
	assert.Equal(t, current.Idle, b.Belief(), "its time is over")
	next, _ = b.Poll(until)
	assert.Zero(t, next)

	press(b, 10*time.Second)
	press(b, 11*time.Second)
	assert.Equal(t, current.Idle, b.Belief(), "another press ends it")
	assert.Equal(t, 3, b.Presses())
	press(b, 12*time.Second)
	b.End()
	assert.Equal(t, current.Idle, b.Belief())
}

func TestBounceIsOnePress(t *testing.T) {
	b := released(t, button.Settings{For: time.Minute})
	for at := time.Second; at < time.Second+50*ms; at += 7 * ms {
		b.Line(at, true)
		b.Line(at+5*ms, false)
	}
	assert.Zero(t, b.Presses())
	b.Line(2*time.Second, true)
	for at := 2 * time.Second; at < 3*time.Second; at += 5 * ms {
		b.Line(at, true)
	}
	assert.Equal(t, 1, b.Presses(), "holding it down is one press")
}

func TestHeldDownAtTheStart(t *testing.T) {
	b, err := button.New(button.Settings{Name: "GPIO26", For: time.Minute})
	require.NoError(t, err)
	for at := time.Duration(0); at < 40*time.Second; at += 100 * ms {
		b.Line(at, true)
	}
	assert.Zero(t, b.Presses(), "no press until it has been let go")
	assert.Equal(t, current.Flat, b.Health(), "it seems to be stuck")
	b.Line(41*time.Second, false)
	_, _ = b.Poll(42 * time.Second)
	assert.Equal(t, current.Good, b.Health())
	press(b, 43*time.Second)
	assert.Equal(t, current.Running, b.Belief())
	b.Fail(44 * time.Second)
	assert.Equal(t, current.Running, b.Belief(), "a call goes on to its end")
	assert.Equal(t, current.Lost, b.Health())
	b.Line(45*time.Second, true)
	_, _ = b.Poll(46 * time.Second)
	assert.Equal(t, 1, b.Presses(), "after a lost line it must be seen released first")
}

func TestSettings(t *testing.T) {
	_, err := button.New(button.Settings{Name: "GPIO26"})
	require.EqualError(t, err, "button GPIO26: it calls the air for 0s: give a time up to 4h0m0s")
	_, err = button.New(button.Settings{Name: "GPIO26", For: time.Minute, Debounce: -1})
	require.ErrorContains(t, err, "give 0 s to 2 s")
}
