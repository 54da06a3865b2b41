package contact_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/current"
	"ductwarden/current/contact"
	"ductwarden/current/currenttest"
)

func TestMeter(t *testing.T) {
	for _, low := range []bool{false, true} {
		currenttest.Run(t, func(t *testing.T) currenttest.Bench {
			c, err := contact.New(contact.Settings{Name: "GPIO25", ActiveLow: low})
			require.NoError(t, err)
			whole, running := true, false
			return currenttest.Bench{
				Meter:   c,
				Machine: func(now time.Duration, on bool) { running = on },
				Wire:    func(now time.Duration, ok bool) { whole = ok },
				Feed: func(now time.Duration) {
					if !whole {
						c.Fail(now)
						return
					}
					c.Line(now, running != low)
				},
				Start: 60 * time.Millisecond, End: 60 * time.Millisecond, Notice: 10 * time.Millisecond,
			}
		})
	}
}

func TestBounceIsNoStart(t *testing.T) {
	c, err := contact.New(contact.Settings{Name: "GPIO25"})
	require.NoError(t, err)
	c.Line(0, false)
	next, _ := c.Poll(0)
	assert.Equal(t, contact.DefaultDebounce, next)
	_, _ = c.Poll(next)
	require.Equal(t, current.Idle, c.Belief())
	for at := 100 * time.Millisecond; at < 300*time.Millisecond; at += 49 * time.Millisecond {
		c.Line(at, true)
		c.Line(at+48*time.Millisecond, false)
		require.Equal(t, current.Idle, c.Belief(), "at %v", at)
	}
	c.Line(time.Second, true)
	next, _ = c.Poll(time.Second)
	assert.Equal(t, 1050*time.Millisecond, next)
	_, _ = c.Poll(next)
	assert.Equal(t, current.Running, c.Belief())
	next, _ = c.Poll(next)
	assert.Zero(t, next, "nothing waits any more")
	assert.Equal(t, "contact@GPIO25", c.String())
}

func TestSettings(t *testing.T) {
	_, err := contact.New(contact.Settings{Name: "GPIO25", Debounce: time.Minute})
	assert.EqualError(t, err, "contact GPIO25: a debounce of 1m0s: give 0 s to 2 s")
}
