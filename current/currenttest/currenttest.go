// Package currenttest holds what every meter must pass: a meter is put on a bench where its machine can be
// started and stopped and its wire cut, in virtual time.
package currenttest

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/current"
)

// Bench is one meter with its machine. Every function may be called again and again.
type Bench struct {
	Meter current.Meter
	// Machine starts and stops what is measured.
	Machine func(now time.Duration, running bool)
	// Wire cuts and mends what the reading comes through: the chip's supply, the line, the broker. Nil for a meter
	// whose word outlives its wire, such as a button's call.
	Wire func(now time.Duration, whole bool)
	// Feed, where it is set, is called once a millisecond before the meter is polled: for meters that are fed.
	Feed func(now time.Duration)
	// Measures says that the meter has a current to tell, and Current what it should tell in mA while running.
	Measures bool
	Current  int32
	// Allowances: how long a start, an end, and the notice of a cut wire may take.
	Start, End, Notice time.Duration
}

// clock drives a bench: the meter is polled when it asks to be, and never runs ahead.
type clock struct {
	t    *testing.T
	b    Bench
	now  time.Duration
	next time.Duration
	errs int
}

func (c *clock) advance(d time.Duration) { c.until(d, func() bool { return false }) }

// until advances by at most d and stops when done is true; it reports the time that this took.
func (c *clock) until(d time.Duration, done func() bool) time.Duration {
	from := c.now
	for c.now < from+d && !done() {
		c.now += 250 * time.Microsecond
		if c.b.Feed != nil && c.now%time.Millisecond == 0 {
			c.b.Feed(c.now)
			c.next = c.now
		}
		if c.next == 0 || c.now < c.next {
			continue
		}
		next, err := c.b.Meter.Poll(c.now)
		if err != nil {
			c.errs++
		}
		require.True(c.t, next == 0 || next > c.now, "Poll at %v wants to be called again at %v, which is not in the future", c.now, next)
		c.next = next
	}
	return c.now - from
}

func (c *clock) expect(what current.Belief, within time.Duration, why string) time.Duration {
	c.t.Helper()
	took := c.until(within, func() bool { return c.b.Meter.Belief() == what })
	require.Equal(c.t, what, c.b.Meter.Belief(), "%s (waited %v, health %v)", why, took, c.b.Meter.Health())
	return took
}

// Run puts meters through what every meter must pass; make returns a fresh bench, machine idle and wire whole.
func Run(t *testing.T, make func(t *testing.T) Bench) {
	begin := func(t *testing.T) *clock {
		c := &clock{t: t, b: make(t), now: time.Millisecond, next: time.Millisecond}
		c.b.Machine(c.now, false)
		return c
	}
	idle := func(t *testing.T) *clock {
		c := begin(t)
		c.expect(current.Idle, 2*time.Second, "an idle machine is seen idle")
		c.advance(500 * time.Millisecond)
		return c
	}

	t.Run("knows nothing before it has read", func(t *testing.T) {
		c := begin(t)
		assert.Equal(t, current.Unknown, c.b.Meter.Belief())
		assert.Equal(t, current.HealthUntried, c.b.Meter.Health())
		_, ok := c.b.Meter.RMS()
		assert.False(t, ok)
		assert.NotEmpty(t, c.b.Meter.String())
	})
	t.Run("start and end", func(t *testing.T) {
		c := idle(t)
		assert.Equal(t, current.Good, c.b.Meter.Health())
		for range 3 {
			c.b.Machine(c.now, true)
			c.expect(current.Running, c.b.Start, "a start is seen")
			c.advance(1500 * time.Millisecond)
			require.Equal(t, current.Running, c.b.Meter.Belief(), "it keeps running")
			rms, ok := c.b.Meter.RMS()
			assert.Equal(t, c.b.Measures, ok)
			if c.b.Measures {
				assert.InEpsilon(t, c.b.Current, rms, 0.05)
			}
			c.b.Machine(c.now, false)
			c.expect(current.Idle, c.b.End, "its end is seen")
			c.advance(700 * time.Millisecond)
			require.Equal(t, current.Idle, c.b.Meter.Belief())
		}
	})
	t.Run("idle stays idle", func(t *testing.T) {
		c := idle(t)
		c.until(20*time.Second, func() bool { return c.b.Meter.Belief() != current.Idle })
		assert.Equal(t, current.Idle, c.b.Meter.Belief())
		assert.Equal(t, current.Good, c.b.Meter.Health())
		assert.Zero(t, c.errs)
	})
	t.Run("a cut wire is no idle machine", func(t *testing.T) {
		for _, running := range []bool{false, true} {
			c := idle(t)
			if c.b.Wire == nil {
				t.Skip("its word outlives its wire")
			}
			if running {
				c.b.Machine(c.now, true)
				c.expect(current.Running, c.b.Start, "a start is seen")
			}
			c.b.Wire(c.now, false)
			was := c.b.Meter.Belief()
			c.until(c.b.Notice, func() bool { return c.b.Meter.Belief() != was })
			require.Equal(t, current.Unknown, c.b.Meter.Belief(), "running %v: the next belief is unknown, nothing else", running)
			assert.True(t, c.b.Meter.Health().Blind())
			c.until(3*time.Second, func() bool { return c.b.Meter.Belief() != current.Unknown })
			require.Equal(t, current.Unknown, c.b.Meter.Belief(), "and stays unknown")
			c.b.Wire(c.now, true)
			want := current.Idle
			if running {
				want = current.Running
			}
			c.until(15*time.Second, func() bool { return c.b.Meter.Belief() != current.Unknown })
			require.Equal(t, want, c.b.Meter.Belief(), "a mended wire tells the truth first")
			assert.False(t, c.b.Meter.Health().Blind())
		}
	})
	t.Run("a stalled program starts nothing", func(t *testing.T) {
		c := idle(t)
		c.now += 3 * time.Second
		c.until(3*time.Second, func() bool { return c.b.Meter.Belief() == current.Running })
		assert.Equal(t, current.Idle, c.b.Meter.Belief())
	})
	t.Run("polled too early", func(t *testing.T) {
		c := idle(t)
		c.b.Machine(c.now, true)
		from := c.now
		for c.b.Meter.Belief() != current.Running && c.now < from+c.b.Start {
			c.advance(time.Millisecond)
			for range 3 {
				_, err := c.b.Meter.Poll(c.now)
				require.NoError(t, err)
			}
		}
		assert.Equal(t, current.Running, c.b.Meter.Belief())
	})
}
