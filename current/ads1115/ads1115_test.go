package ads1115_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/current"
	"ductwarden/current/ads1115"
	"ductwarden/current/ads1115/chip"
	"ductwarden/current/currenttest"
)

var lathe = ads1115.Clamp{Microvolts: 33_300, Running: 1200, Idle: 600}

func TestMeter(t *testing.T) {
	for name, opt := range map[string]chip.Options{
		"nominal": {}, "slow clock": {ClockError: -0.1}, "fast clock": {ClockError: 0.1},
	} {
		for _, channels := range []int{1, 4} {
			t.Run(name, func(t *testing.T) {
				currenttest.Run(t, func(t *testing.T) currenttest.Bench { return bench(t, opt, channels) })
			})
		}
	}
}

func bench(t *testing.T, opt chip.Options, channels int) currenttest.Bench {
	now := new(time.Duration)
	b := newBoard(now, opt)
	c, err := ads1115.New(b, 0x48)
	require.NoError(t, err)
	var first *ads1115.Channel
	for i := range channels {
		ch, err := c.Clamp(ads1115.Ain0+ads1115.Input(i), ads1115.Volts4096, lathe)
		require.NoError(t, err)
		if i == 0 {
			first = ch
		}
	}
	return currenttest.Bench{
		Meter: onClock{first, now},
		Machine: func(at time.Duration, running bool) {
			b.amps[0] = nil
			if running {
				b.amps[0] = sine(2, 50, 1)
			}
		},
		Wire:     func(at time.Duration, whole bool) { b.chip.SetPower(whole) },
		Measures: true, Current: 2000,
		Start: 150 * time.Millisecond, End: 1500 * time.Millisecond, Notice: time.Second,
	}
}

// onClock lets the board see the time of each poll.
type onClock struct {
	*ads1115.Channel
	now *time.Duration
}

func (o onClock) Poll(now time.Duration) (time.Duration, error) {
	*o.now = now
	return o.Channel.Poll(now)
}

// run polls a chip for a while, in virtual time.
func run(t *testing.T, c *ads1115.Chip, now *time.Duration, d time.Duration) {
	t.Helper()
	until := *now + d
	for *now < until {
		next, _ := c.Poll(*now)
		require.Greater(t, next, *now)
		*now = next
	}
}

func fourClamps(t *testing.T, b *board) (*ads1115.Chip, [4]*ads1115.Channel) {
	c, err := ads1115.New(b, 0x48)
	require.NoError(t, err)
	var chs [4]*ads1115.Channel
	for i := range chs {
		chs[i], err = c.Clamp(ads1115.Ain0+ads1115.Input(i), ads1115.Volts4096, lathe)
		require.NoError(t, err)
	}
	return c, chs
}

func TestNoAllocations(t *testing.T) {
	now := new(time.Duration)
	*now = time.Millisecond
	b := newBoard(now, chip.Options{})
	b.amps[2] = sine(3, 60, 0)
	c, chs := fourClamps(t, b)
	run(t, c, now, 2*time.Second)
	require.Equal(t, current.Running, chs[2].Belief())
	assert.Zero(t, testing.AllocsPerRun(2000, func() {
		next, _ := c.Poll(*now)
		*now = next
	}))
}

func TestResetIsNoticed(t *testing.T) {
	now := new(time.Duration)
	*now = time.Millisecond
	b := newBoard(now, chip.Options{})
	b.amps[1] = sine(2, 60, 0)
	c, chs := fourClamps(t, b)
	run(t, c, now, 2*time.Second)
	for range 5 {
		resets := c.Resets()
		b.chip.Reset()
		at := *now
		for c.Resets() == resets {
			run(t, c, now, time.Millisecond)
			require.Less(t, *now-at, 250*time.Millisecond, "the reset is noticed")
			for i, ch := range chs {
				require.Equal(t, i == 1, ch.Belief() == current.Running, "channel %d", i)
			}
		}
		require.ErrorIs(t, c.Err(), ads1115.ErrReset)
		run(t, c, now, 700*time.Millisecond)
		require.NoError(t, c.Err())
		for i, ch := range chs {
			require.Equal(t, i == 1, ch.Belief() == current.Running, "channel %d", i)
			require.Equal(t, current.Good, ch.Health())
		}
	}
}
