package mcp3208_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/spi"

	"ductwarden/current"
	"ductwarden/current/currenttest"
	"ductwarden/current/mcp3208"
	"ductwarden/current/mcp3208/chip"
)

var errWire = errors.New("transfer failed")

// port is a connection to one chip in virtual time, with clamps at its eight inputs.
type port struct {
	now   *time.Duration
	chip  chip.Chip
	amps  [8]func(at time.Duration) float64
	noise *rand.Rand
	fail  int
}

func newPort(now *time.Duration) *port {
	p := &port{now: now, noise: rand.New(rand.NewPCG(3, 4))}
	p.chip.In = func(input int, at time.Duration) float64 {
		v := 1.65 + 0.002*p.noise.NormFloat64()
		if p.amps[input] != nil {
			v += 0.0333 * p.amps[input](at)
		}
		return v
	}
	return p
}

func (p *port) String() string       { return "test port" }
func (p *port) Duplex() conn.Duplex  { return conn.Full }
func (p *port) Tx(w, r []byte) error { return p.TxPackets([]spi.Packet{{W: w, R: r}}) }
func (p *port) TxPackets(all []spi.Packet) error {
	if p.fail > 0 {
		p.fail--
		return errWire
	}
	for _, k := range all {
		p.chip.Tx(*p.now, k.W, k.R)
	}
	return nil
}

func sine(rms, hz float64) func(time.Duration) float64 {
	return func(at time.Duration) float64 { return rms * math.Sqrt2 * math.Sin(2*math.Pi*hz*at.Seconds()) }
}

type onClock struct {
	*mcp3208.Channel
	now *time.Duration
}

func (o onClock) Poll(now time.Duration) (time.Duration, error) {
	*o.now = now
	return o.Channel.Poll(now)
}

func TestMeter(t *testing.T) {
	currenttest.Run(t, func(t *testing.T) currenttest.Bench {
		now := new(time.Duration)
		p := newPort(now)
		c := mcp3208.New(p, "SPI0.0", 0)
		ch, err := c.Clamp(5, mcp3208.Clamp{Microvolts: 33_300, Running: 1200, Idle: 600})
		require.NoError(t, err)
		return currenttest.Bench{
			Meter: onClock{ch, now},
			Machine: func(at time.Duration, running bool) {
				p.amps[5] = nil
				if running {
					p.amps[5] = sine(2, 60)
				}
			},
			Wire:     func(at time.Duration, whole bool) { p.chip.Dead = !whole },
			Measures: true, Current: 2000,
			Start: 60 * time.Millisecond, End: time.Second, Notice: time.Second,
		}
	})
}

func TestEightChannels(t *testing.T) {
	now := new(time.Duration)
	p := newPort(now)
	c := mcp3208.New(p, "SPI0.0", 5_000_000)
	p.chip.Supply = 5
	p.chip.In = func(input int, at time.Duration) float64 {
		v := 2.5
		if p.amps[input] != nil {
			v += 0.0333 * p.amps[input](at)
		}
		return v
	}
	var chs [8]*mcp3208.Channel
	var err error
	for i := range chs {
		chs[i], err = c.Clamp(i, mcp3208.Clamp{Microvolts: 33_300, Running: 1200, Idle: 600})
		require.NoError(t, err)
		if i%2 == 1 {
			p.amps[i] = sine(float64(i)+1, 50)
		}
	}
	*now = time.Millisecond
	poll := func() {
		next, err := c.Poll(*now)
		require.NoError(t, err)
		require.Greater(t, next, *now)
		*now = next
	}
	for *now < time.Second {
		poll()
	}
	for i, ch := range chs {
		rms, ok := ch.RMS()
		require.True(t, ok)
		if i%2 == 1 {
			assert.Equal(t, current.Running, ch.Belief(), "channel %d", i)
			assert.InEpsilon(t, 1000*(i+1), rms, 0.02, "channel %d", i)
			continue
		}
		assert.Equal(t, current.Idle, ch.Belief(), "channel %d", i)
		assert.Less(t, rms, int32(50))
	}
	assert.Zero(t, testing.AllocsPerRun(1000, func() {
		next, _ := c.Poll(*now)
		*now = next
	}))
	assert.Equal(t, "mcp3208@SPI0.0/7", chs[7].String())
}

func TestErrors(t *testing.T) {
	now := new(time.Duration)
	p := newPort(now)
	c := mcp3208.New(p, "SPI0.0", 0)
	ch, err := c.Clamp(0, mcp3208.Clamp{Microvolts: 33_300, Running: 1200, Idle: 600})
	require.NoError(t, err)
	_, err = c.Clamp(0, mcp3208.Clamp{Microvolts: 33_300, Running: 1200, Idle: 600})
	require.EqualError(t, err, "mcp3208@SPI0.0/0: the input is in use already")
	_, err = c.Clamp(8, mcp3208.Clamp{})
	require.ErrorContains(t, err, "it has inputs 0 to 7")
	_, err = c.Clamp(1, mcp3208.Clamp{})
	require.ErrorContains(t, err, "give its volts for one ampere")
	step := func(d time.Duration) (last error) {
		for until := *now + d; *now < until; {
			next, err := c.Poll(*now)
			if err != nil {
				last = err
			}
			*now = max(next, *now+time.Millisecond)
		}
		return last
	}
	require.NoError(t, step(time.Second))
	p.fail = 2
	require.ErrorIs(t, step(100*time.Millisecond), errWire, "the bus's own error is kept")
	assert.Equal(t, current.Idle, ch.Belief(), "two lost transfers are no lost chip")
	assert.Equal(t, 2, c.Failures())
	p.fail = 3
	require.ErrorIs(t, step(50*time.Millisecond), errWire)
	assert.True(t, c.Lost())
	assert.Equal(t, current.Lost, ch.Health())
	require.NoError(t, step(time.Second))
	assert.False(t, c.Lost())
	assert.NoError(t, c.Err())
	p.chip.Dead = true
	require.ErrorIs(t, step(100*time.Millisecond), mcp3208.ErrNoAnswer)
	before := c.Failures()
	_ = step(20 * time.Second)
	assert.LessOrEqual(t, c.Failures()-before, 12, "a lost chip is asked less and less")
}
