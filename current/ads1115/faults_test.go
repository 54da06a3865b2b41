package ads1115_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/current"
	"ductwarden/current/ads1115"
	"ductwarden/current/ads1115/chip"
)

const ms = time.Millisecond

func quietBoard(t *testing.T, opt chip.Options) (*board, *ads1115.Chip, [4]*ads1115.Channel, *time.Duration) {
	now := new(time.Duration)
	*now = ms
	b := newBoard(now, opt)
	c, chs := fourClamps(t, b)
	run(t, c, now, 3*time.Second)
	for _, ch := range chs {
		require.Equal(t, current.Idle, ch.Belief())
	}
	return b, c, chs, now
}

func TestSingleErrorsAreRiddenOut(t *testing.T) {
	b, c, chs, now := quietBoard(t, chip.Options{})
	for range 50 {
		b.fail = 2
		run(t, c, now, 97*ms)
		for _, ch := range chs {
			require.Equal(t, current.Idle, ch.Belief())
		}
	}
	assert.Equal(t, 100, c.Failures())
	assert.False(t, c.Lost())
	assert.NoError(t, c.Err(), "it works now")
	b.fail = 1
	for c.Err() == nil {
		run(t, c, now, ms)
	}
	require.ErrorIs(t, c.Err(), errNoise, "the bus's own error is kept")
	require.EqualError(t, c.Err(), "ads1115@0x48: arbitration lost")
}

func TestLostAndFoundAgain(t *testing.T) {
	b, c, chs, now := quietBoard(t, chip.Options{})
	b.amps[2] = sine(2, 50, 0)
	run(t, c, now, 300*ms)
	require.Equal(t, current.Running, chs[2].Belief())
	b.broken = true
	count := b.count
	for !c.Lost() {
		run(t, c, now, ms)
	}
	assert.Equal(t, 3, b.count-count, "three errors in a row")
	for _, ch := range chs {
		assert.Equal(t, current.Lost, ch.Health())
		assert.Equal(t, current.Unknown, ch.Belief(), "unknown is not idle")
	}
	require.ErrorIs(t, c.Err(), chip.ErrNoAnswer)
	run(t, c, now, 30*time.Second)
	count = b.count
	run(t, c, now, 60*time.Second)
	assert.LessOrEqual(t, b.count-count, 13, "a lost chip hardly loads its bus")
	b.broken = false
	b.chip.Reset()
	at := *now
	for chs[2].Belief() != current.Running {
		run(t, c, now, ms)
		require.Less(t, *now-at, 6*time.Second)
	}
	run(t, c, now, 500*ms)
	for i, ch := range chs {
		assert.Equal(t, current.Good, ch.Health())
		assert.Equal(t, i == 2, ch.Belief() == current.Running)
	}
	assert.NoError(t, c.Err())
}

func TestAnotherChipAtTheAddress(t *testing.T) {
	now := new(time.Duration)
	*now = ms
	b := newBoard(now, chip.Options{})
	c, err := ads1115.New(stubborn{b}, 0x48)
	require.NoError(t, err)
	ch, err := c.Clamp(ads1115.Ain0, ads1115.Volts4096, lathe)
	require.NoError(t, err)
	run(t, c, now, 2*time.Second)
	require.ErrorIs(t, c.Err(), ads1115.ErrOther)
	require.ErrorContains(t, c.Err(), "ads1115@0x48: another chip answers at this address")
	assert.Equal(t, current.Unknown, ch.Belief())
	assert.True(t, c.Lost())
}

// stubborn reads FFh whatever was written, as a servo board or an empty register file may.
type stubborn struct{ *board }

func (s stubborn) Tx(_ uint16, _, r []byte) error {
	for i := range r {
		r[i] = 0xff
	}
	return nil
}

func TestBrownOutWhileRunning(t *testing.T) {
	b, c, chs, now := quietBoard(t, chip.Options{})
	b.amps[0] = sine(2, 60, 0)
	run(t, c, now, time.Second)
	require.Equal(t, current.Running, chs[0].Belief())
	b.chip.SetPower(false)
	run(t, c, now, 20*ms)
	b.chip.SetPower(true)
	for range 1000 {
		run(t, c, now, ms)
		for i, ch := range chs {
			if i > 0 {
				require.NotEqual(t, current.Running, ch.Belief(), "nothing else starts")
				continue
			}
			require.NotEqual(t, current.Idle, ch.Belief(), "the motor is not believed to have ended")
		}
	}
	assert.Equal(t, current.Running, chs[0].Belief())
}

// The supply of the bias moves while a motor runs, and stays moved when it ends: no current is no current.
func TestBiasMovesDuringARun(t *testing.T) {
	for _, shift := range []float64{-0.15, -0.03, 0.03, 0.15} {
		b, c, chs, now := quietBoard(t, chip.Options{})
		b.amps[1] = sine(2, 50, 0)
		run(t, c, now, time.Second)
		require.Equal(t, current.Running, chs[1].Belief())
		b.amps[1] = nil
		for i := range b.bias {
			b.bias[i] += shift
		}
		at := *now
		for chs[1].Belief() != current.Idle {
			run(t, c, now, ms)
			require.Less(t, *now-at, 1500*ms, "shift %v V", shift)
		}
		for range 3000 {
			run(t, c, now, ms)
			for _, ch := range chs {
				require.Equal(t, current.Idle, ch.Belief(), "shift %v V", shift)
			}
		}
	}
}

// A voltage and clamps on one chip: the voltage is looked at now and then and does not slow the clamps.
func TestVoltageBesideClamps(t *testing.T) {
	now := new(time.Duration)
	*now = ms
	b := newBoard(now, chip.Options{})
	c, err := ads1115.New(b, 0x48)
	require.NoError(t, err)
	ch, err := c.Clamp(ads1115.Ain0, ads1115.Volts4096, lathe)
	require.NoError(t, err)
	tap, err := c.Voltage(ads1115.Ain1, ads1115.Volts4096, 200_000, 3_000_000)
	require.NoError(t, err)
	b.bias[1] = 0.75
	assert.Equal(t, current.HealthUntried, tap.Health())
	run(t, c, now, 10*time.Second)
	v, ok := tap.Microvolts()
	require.True(t, ok)
	assert.InDelta(t, 750_000, v, 500)
	b.bias[1] = 1.25
	run(t, c, now, 8*time.Second)
	v, _ = tap.Microvolts()
	assert.InDelta(t, 1_250_000, v, 5000)
	b.bias[1] = 0.05
	run(t, c, now, 10*time.Second)
	_, ok = tap.Microvolts()
	assert.False(t, ok)
	assert.Equal(t, current.OutOfRange, tap.Health(), "a torn wire")
	assert.Equal(t, current.Unknown, tap.Belief())
	_, ok = tap.RMS()
	assert.False(t, ok)
	_, ok = ch.Microvolts()
	assert.False(t, ok)
	b.broken = true
	run(t, c, now, time.Second)
	assert.Equal(t, current.Lost, tap.Health())

	only, err := ads1115.New(b, 0x48)
	require.NoError(t, err)
	next, err := only.Poll(*now)
	assert.NoError(t, err)
	assert.Zero(t, next, "a chip without channels wants nothing")
	_, err = only.Voltage(ads1115.Ain3, ads1115.Volts4096, 5, 5)
	require.ErrorContains(t, err, "ads1115@0x48 input 3: level:")
}

// Neither a neighbour's current nor its bias leaks through the multiplexer, and every reading is true: within 4 %,
// or 8 % where the chip's clock is 10 % off and conversions are read twice or left out.
func TestReadingsAreTrue(t *testing.T) {
	for _, off := range []float64{-0.1, 0, 0.1} {
		for _, hz := range []float64{50, 60} {
			now := new(time.Duration)
			*now = ms
			b := newBoard(now, chip.Options{ClockError: off})
			b.bias = [4]float64{1.5, 1.8, 1.45, 1.7}
			c, chs := fourClamps(t, b)
			run(t, c, now, 2*time.Second)
			b.amps[1] = sine(20, hz, 0.4)
			b.amps[3] = sine(2.5, hz, 2)
			run(t, c, now, 2*time.Second)
			for range 50 {
				run(t, c, now, 237*ms)
				for i, want := range []float64{0, 20_000, 0, 2500} {
					got, ok := chs[i].RMS()
					require.True(t, ok)
					if want == 0 {
						assert.Less(t, got, int32(60), "input %d", i)
						continue
					}
					assert.InEpsilon(t, want, got, map[bool]float64{true: 0.04, false: 0.08}[off == 0], "input %d at %v Hz, clock %v", i, hz, off)
				}
			}
		}
	}
}

func TestDifferential(t *testing.T) {
	now := new(time.Duration)
	*now = ms
	b := newBoard(now, chip.Options{})
	c, err := ads1115.New(b, 0x48)
	require.NoError(t, err)
	clamp := lathe
	var chs [3]*ads1115.Channel
	for i, in := range []ads1115.Input{ads1115.Between0And3, ads1115.Between1And3, ads1115.Between2And3} {
		chs[i], err = c.Clamp(in, ads1115.Volts1024, clamp)
		require.NoError(t, err)
	}
	b.bias = [4]float64{1.65, 1.65, 1.65, 1.65}
	run(t, c, now, 3*time.Second)
	b.amps[1] = sine(2, 50, 0)
	run(t, c, now, 2*time.Second)
	rms, _ := chs[1].RMS()
	assert.InEpsilon(t, 2000, rms, 0.03)
	assert.Equal(t, current.Idle, chs[0].Belief())
	assert.Equal(t, current.Running, chs[1].Belief())
	assert.Equal(t, "ads1115@0x48/1-3", chs[1].String())
	require.NotNil(t, chs[1].Detector())
}

func TestResetOfADifferentialChip(t *testing.T) {
	now := new(time.Duration)
	*now = ms
	b := newBoard(now, chip.Options{})
	c, err := ads1115.New(b, 0x48)
	require.NoError(t, err)
	ch, err := c.Clamp(ads1115.Between0And1, ads1115.Volts1024, lathe)
	require.NoError(t, err)
	run(t, c, now, 2*time.Second)
	b.amps[0] = sine(2, 50, 0)
	run(t, c, now, time.Second)
	require.Equal(t, current.Running, ch.Belief())
	for i := range 20 {
		run(t, c, now, time.Duration(200+17*i)*ms)
		b.chip.Reset() // it reads zero from now on, as a quiet clamp does
		at, resets := *now, c.Resets()
		for c.Resets() == resets {
			run(t, c, now, ms)
			require.Less(t, *now-at, 250*ms)
		}
		run(t, c, now, 100*ms)
		require.Equal(t, current.Running, ch.Belief())
	}
}

// visits are the times between two turns of the multiplexer.
func visits(b *board) (longest time.Duration, bursts int) {
	for i := 1; i < len(b.turns); i++ {
		d := b.turns[i] - b.turns[i-1]
		longest = max(longest, d)
		bursts += map[bool]int{true: 1}[d >= 50*ms]
	}
	return longest, bursts
}

func TestBurstsOfRunningChannels(t *testing.T) {
	b, c, chs, now := quietBoard(t, chip.Options{})
	b.turns = nil
	run(t, c, now, 20*time.Second)
	longest, _ := visits(b)
	assert.Less(t, longest, 25*ms, "idle channels are only looked at")
	b.amps[0], b.amps[3] = sine(2, 50, 0), sine(4, 50, 0)
	run(t, c, now, time.Second)
	b.turns = nil
	run(t, c, now, 20*time.Second)
	longest, bursts := visits(b)
	assert.Less(t, longest, 60*ms)
	assert.InDelta(t, 8, bursts, 1, "each running channel has its burst every 5 s")
	require.Equal(t, current.Running, chs[0].Belief())
}

// An input that floats never lets its bias be learnt; it must not starve the others.
func TestFloatingInputStarvesNobody(t *testing.T) {
	now := new(time.Duration)
	*now = ms
	b := newBoard(now, chip.Options{})
	b.amps[0] = func(at time.Duration) float64 { return 20 * math.Sin(float64(at/(30*ms))) }
	c, chs := fourClamps(t, b)
	run(t, c, now, 3*time.Second)
	longest, _ := visits(b)
	assert.InDelta(t, 150, longest.Milliseconds(), 10)
	assert.Equal(t, current.Unknown, chs[0].Belief())
	assert.Equal(t, current.OutOfRange, chs[0].Health(), "an input without a bias is told of")
	for range 5 {
		b.amps[1] = sine(2, 50, 0)
		at := *now
		for chs[1].Belief() != current.Running {
			run(t, c, now, ms)
			require.Less(t, *now-at, 400*ms)
		}
		b.amps[1] = nil
		run(t, c, now, 900*ms)
		require.Equal(t, current.Idle, chs[1].Belief())
	}
}

func TestRefused(t *testing.T) {
	b := newBoard(new(time.Duration), chip.Options{})
	_, err := ads1115.New(b, 0x40)
	require.EqualError(t, err, "ads1115: address 0x40: the chip can only be at 0x48 to 0x4b")
	c, err := ads1115.New(b, 0x4b)
	require.NoError(t, err)
	_, err = c.Clamp(ads1115.Ain0, ads1115.Volts4096, ads1115.Clamp{Running: 5, Idle: 1})
	require.ErrorContains(t, err, "ads1115@0x4b input 0: a clamp of 0 uV/A")
	_, err = c.Clamp(ads1115.Ain0, ads1115.Volts4096, lathe)
	require.NoError(t, err)
	_, err = c.Clamp(ads1115.Ain0, ads1115.Volts4096, lathe)
	require.EqualError(t, err, "ads1115@0x4b input 0: it is in use already")
	_, err = c.Clamp(ads1115.Between0And1, ads1115.Volts4096, lathe)
	require.ErrorContains(t, err, "in use", "a pin is an input or half of a difference")
	_, err = c.Clamp(ads1115.Between2And3, ads1115.Volts4096, lathe)
	require.NoError(t, err)
}

// Transfers a second of a whole chip: what it asks of a bus (860 conversions, turning and checking).
func TestTransfers(t *testing.T) {
	b, c, _, now := quietBoard(t, chip.Options{})
	count := b.count
	run(t, c, now, 10*time.Second)
	perSecond := (b.count - count) / 10
	t.Logf("%d transfers a second", perSecond)
	assert.Less(t, perSecond, 1000)
	assert.Greater(t, perSecond, 600)
}

func BenchmarkPoll(b *testing.B) {
	now := new(time.Duration)
	*now = ms
	bd := newBoard(now, chip.Options{Points: 1})
	c, err := ads1115.New(bd, 0x48)
	require.NoError(b, err)
	for i := range 4 {
		_, err := c.Clamp(ads1115.Ain0+ads1115.Input(i), ads1115.Volts4096, lathe)
		require.NoError(b, err)
	}
	b.ReportAllocs()
	b.ResetTimer()
	for range b.N {
		next, _ := c.Poll(*now)
		*now = next
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(*now)*1000, "ms-CPU/s-4ch")
}
