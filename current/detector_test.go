package current_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/current"
)

// line feeds a detector in A at a rate, on a bias, in steps of a milliampere unless its settings say otherwise.
type line struct {
	t      *testing.T
	d      *current.Detector
	at     time.Duration
	period time.Duration
	bias   float64
	noise  float64
	r      *rand.Rand
	saw    []change
}

func newLine(t *testing.T, s current.Settings, period time.Duration) *line {
	t.Helper()
	d, err := current.NewDetector(s)
	require.NoError(t, err)
	return &line{t: t, d: d, period: period, noise: 0.1, r: rand.New(rand.NewPCG(1, 2)), bias: float64(s.Bias)}
}

// feed adds samples for a time; the wave gets the time since this began.
func (l *line) feed(long time.Duration, wave func(t float64) float64) {
	for from := l.at; l.at < from+long; l.at += l.period {
		a := l.noise * l.r.NormFloat64()
		if wave != nil {
			a += wave((l.at - from).Seconds())
		}
		was := l.d.Belief()
		l.d.Add(l.at, current.Sample(math.Round(a*1000+l.bias)))
		if b := l.d.Belief(); b != was {
			l.saw = append(l.saw, change{l.at, b})
		}
	}
}

func sine(rms, hz float64) func(float64) float64 {
	return func(t float64) float64 { return rms * math.Sqrt2 * math.Sin(2*math.Pi*hz*t+0.7) }
}

// The case of a recorded motor, with a generated one: any rate, both mains, shapes of several machines.
func TestGeneratedMotorAtAnyRate(t *testing.T) {
	for _, period := range []time.Duration{4 * ms, 2 * ms, ms, 500 * time.Microsecond, 100 * time.Microsecond, 21 * time.Microsecond} {
		for _, hz := range []float64{50, 60} {
			t.Run(fmt.Sprintf("%v/%v", period, hz), func(t *testing.T) {
				r := rand.New(rand.NewPCG(uint64(period), uint64(hz)))
				wave := harmonics(r, hz)
				l := newLine(t, current.TraceSettings(1200, 600), period)
				l.feed(2*time.Second, nil)
				onset := l.at
				l.feed(5*time.Second, func(t float64) float64 { return 1.95 * wave(t) })
				rms, ok := l.d.RMS()
				require.True(t, ok)
				assert.InEpsilon(t, 1950, rms, 0.03)
				end := l.at
				l.feed(3*time.Second, nil)
				requireOneRun(t, l.saw, onset, end)
			})
		}
	}
}

func TestMotorModelStarts(t *testing.T) {
	for i, m := range []machineData{fiveHorsepower, threeHorsepower, threeHorsepower.scaled(0.5)} {
		wave := m.start(float64(i), 0.2, 2, 4*time.Second)
		l := newLine(t, current.TraceSettings(1200, 600), ms)
		l.feed(2*time.Second, nil)
		onset := l.at
		l.feed(4*time.Second, func(t float64) float64 { return wave[min(len(wave)-1, int(t*1000+0.5))] })
		end := l.at
		l.feed(3*time.Second, nil)
		requireOneRun(t, l.saw, onset, end)
	}
}

// The same whole numbers give the same beliefs at the same times, and the same readings, on every processor.
func TestSameOnEveryProcessor(t *testing.T) {
	d, err := current.NewDetector(current.Settings{
		Scale: current.Scale{Milliamperes: 125_000, Codes: 33_300}, Running: 1200, Idle: 600,
		Low: 0, High: 26_400, BiasLow: 10_560, BiasHigh: 15_840, Flat: 2 * time.Second,
	})
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(11, 12))
	last, digest := current.Unknown, uint64(14695981039346656037)
	saw := ""
	for i := range 12_000 {
		at := time.Duration(i)*ms + time.Duration(r.IntN(200_000))
		v := 13_200 + r.IntN(60) - 30
		if i >= 3000 && i < 8000 { // a triangle of 20 ms
			v += max(-500, min(500, 40*(5-max(i%20-5, 5-i%20-1))*4))
		}
		d.Add(at, current.Sample(v))
		rms, _ := d.RMS()
		for _, x := range []uint64{uint64(d.Belief()), uint64(rms), uint64(d.Health())} {
			digest = (digest ^ x) * 1099511628211
		}
		if b := d.Belief(); b != last {
			saw += fmt.Sprintf("%v:%d ", at, b)
			last = b
		}
	}
	assert.Equal(t, "132.033767ms:1 3.04613177s:2 8.430111206s:1 ", saw)
	assert.Equal(t, uint64(0xd508c1f0c55ddd13), digest)
}

func TestJustAboveTheThreshold(t *testing.T) {
	l := newLine(t, current.TraceSettings(1200, 600), ms)
	l.feed(3*time.Second, nil)
	l.feed(5*time.Second, sine(1.14, 60))
	require.Len(t, l.saw, 1, "5 %% below the threshold is not running")
	l.feed(time.Second, sine(1.26, 60))
	require.Equal(t, current.Running, l.d.Belief(), "5 %% above it is")
	l.feed(5*time.Second, sine(0.66, 60))
	require.Equal(t, current.Running, l.d.Belief(), "between the two levels it stays")
	l.feed(time.Second, sine(0.5, 60))
	require.Equal(t, current.Idle, l.d.Belief())
}

func TestStandbyIsNotRunning(t *testing.T) {
	l := newLine(t, current.TraceSettings(1200, 600), ms)
	l.feed(5*time.Second, nil)
	l.feed(60*time.Second, sine(0.4, 50)) // a lamp is left on
	require.Equal(t, current.Idle, l.d.Belief())
	_, _, idle, ok := l.d.Learnt()
	require.True(t, ok)
	assert.InDelta(t, 410, idle, 40, "its current is learnt as the idle level")
	assert.Equal(t, current.Good, l.d.Health())
	from := l.at
	l.feed(500*ms, sine(2, 50))
	require.Equal(t, current.Running, l.d.Belief())
	assert.Less(t, l.d.Since()-from, 60*ms)
	assert.InDelta(t, float64(from), float64(l.d.Onset()), float64(15*ms), "the onset is known better than the decision")
	l.feed(time.Second, sine(0.4, 50))
	require.Equal(t, current.Idle, l.d.Belief())

	l.feed(60*time.Second, sine(0.75, 50)) // more than half of the running level
	require.Equal(t, current.Idle, l.d.Belief())
	assert.Equal(t, current.Noisy, l.d.Health())
	l.feed(10*time.Second, nil)
	assert.Equal(t, current.Good, l.d.Health())
}

func TestIdleLevelKnownBeforehand(t *testing.T) {
	s := current.TraceSettings(1200, 600)
	s.Quiet = 400
	l := newLine(t, s, ms)
	_, _, idle, ok := l.d.Learnt()
	require.True(t, ok)
	assert.Equal(t, int32(400), idle)
	l.feed(20*time.Second, nil)
	_, _, idle, _ = l.d.Learnt()
	assert.InDelta(t, 100, idle, 20, "what is seen wins in the end")
}

func TestSoftStartDriveAndBrake(t *testing.T) {
	t.Run("a soft start is one start", func(t *testing.T) {
		l := newLine(t, current.TraceSettings(1200, 600), ms)
		l.feed(3*time.Second, nil)
		wave := sine(3, 50)
		l.feed(5*time.Second, func(t float64) float64 { return min(1, t/4) * wave(t) })
		require.Len(t, l.saw, 2, "%v", l.saw)
		assert.InDelta(t, 4.7, l.saw[1].at.Seconds(), 0.3, "when it passes the running level")
	})
	t.Run("a drive's pulses run without a break", func(t *testing.T) {
		l := newLine(t, current.TraceSettings(1200, 600), ms)
		l.feed(3*time.Second, nil)
		l.feed(60*time.Second, toRMS(rectifier(50, 0, 0.2)))
		require.Len(t, l.saw, 1, "a drive that waits draws less than it runs")
		wave := toRMS(rectifier(50, 0, 0.2))
		l.feed(60*time.Second, func(t float64) float64 { return 2 * wave(t) })
		require.Len(t, l.saw, 2, "%v", l.saw)
		l.feed(time.Second, nil)
		require.Len(t, l.saw, 3)
	})
	t.Run("a brake belongs to the run", func(t *testing.T) {
		l := newLine(t, current.TraceSettings(1200, 600), ms)
		l.feed(3*time.Second, nil)
		l.feed(3*time.Second, sine(2, 50))
		l.feed(150*ms, nil) // changeover
		brake := func(t float64) float64 { return 8 * max(0, math.Sin(2*math.Pi*50*t)) }
		l.feed(2*time.Second, brake)
		require.Equal(t, current.Running, l.d.Belief())
		end := l.at
		l.feed(2*time.Second, nil)
		require.Len(t, l.saw, 3, "%v", l.saw)
		assert.Less(t, l.saw[2].at-end, 700*ms)
	})
	t.Run("a late brake is no start", func(t *testing.T) {
		s := current.TraceSettings(1200, 600)
		s.Brake = 3 * time.Second
		l := newLine(t, s, ms)
		l.feed(3*time.Second, nil)
		l.feed(3*time.Second, sine(2, 50))
		l.feed(600*ms, nil)
		require.Equal(t, current.Idle, l.d.Belief())
		l.feed(2*time.Second, func(t float64) float64 { return 8 * max(0, math.Sin(2*math.Pi*50*t)) })
		require.Len(t, l.saw, 3, "%v", l.saw)
		l.feed(2*time.Second, sine(2, 50))
		require.Len(t, l.saw, 4, "what flows after the brake's time is a start: %v", l.saw)
	})
	t.Run("a winding's changeover is no end", func(t *testing.T) {
		l := newLine(t, current.TraceSettings(1200, 600), ms)
		l.feed(3*time.Second, nil)
		for range 3 {
			l.feed(time.Second, sine(2, 50))
			l.feed(350*ms, nil)
		}
		require.Len(t, l.saw, 2, "%v", l.saw)
	})
}

func TestMovedBiasIsNoStart(t *testing.T) {
	for _, shift := range []float64{-3000, -700, 700, 1500, 3000, 30_000} {
		s := current.TraceSettings(1200, 600)
		s.Bias, s.BiasKnown = 13_200, false
		l := newLine(t, s, ms)
		l.bias = 13_200
		l.feed(3*time.Second, nil)
		require.Equal(t, current.Idle, l.d.Belief())
		l.bias += shift
		l.feed(2*time.Second, nil)
		require.Len(t, l.saw, 1, "a shift of %v: %v", shift, l.saw)
		bias, ok, _, _ := l.d.Learnt()
		require.True(t, ok)
		assert.InDelta(t, l.bias, bias, 20)
		from := l.at
		l.feed(time.Second, sine(2, 60))
		require.Equal(t, current.Running, l.d.Belief())
		assert.Less(t, l.d.Since()-from, 100*ms)
		l.bias -= shift // while it runs, and it ends in the same moment
		l.feed(2*time.Second, nil)
		require.Equal(t, current.Idle, l.d.Belief(), "a shift of %v at the end", shift)
	}
}

// A neighbour's inrush below the threshold with its contactor's spikes in it is no start, however it falls.
func TestSpikesWithinCrosstalk(t *testing.T) {
	for shift := range 20 {
		l := newLine(t, current.TraceSettings(1200, 600), ms)
		l.feed(3*time.Second, nil)
		cross := sine(0.9, 50)
		l.feed(500*ms, func(t float64) float64 {
			if i := int(t*1000) - shift; i >= 0 && i < 180 && i%60 < 3 {
				return 20
			}
			return cross(t)
		})
		l.feed(500*ms, nil)
		require.Len(t, l.saw, 1, "%v", l.saw)
	}
}

func TestBiasIsNotLearntWhileItMoves(t *testing.T) {
	s := current.TraceSettings(1200, 600)
	s.BiasKnown = false
	l := newLine(t, s, ms)
	l.bias = 5000
	l.feed(70*ms, nil)
	l.bias = 13_000
	l.feed(35*ms, nil)
	_, ok, _, _ := l.d.Learnt()
	require.False(t, ok)
	l.feed(25*ms, nil)
	_, ok, _, _ = l.d.Learnt()
	require.False(t, ok)
	require.True(t, l.d.Stay())
	l.feed(80*ms, nil)
	bias, ok, _, _ := l.d.Learnt()
	require.True(t, ok)
	assert.InDelta(t, 13_000, bias, 100)
	l2 := newLine(t, s, ms)
	l2.feed(time.Second, sine(3, 50))
	bias, ok, _, _ = l2.d.Learnt()
	require.True(t, ok, "a motor that runs at the start does not keep the bias from being learnt")
	assert.InDelta(t, 0, bias, 100)
	assert.Equal(t, current.Running, l2.d.Belief())
}

func TestSamplesOutOfOrderAreLeft(t *testing.T) {
	l := newLine(t, current.TraceSettings(1200, 600), ms)
	l.feed(time.Second, nil)
	for range 1000 {
		l.d.Add(100*ms, 20_000)
	}
	assert.Equal(t, current.Idle, l.d.Belief())
}

func TestNoAllocationsInAdd(t *testing.T) {
	l := newLine(t, current.TraceSettings(1200, 600), ms)
	wave := sine(2, 50)
	i := 0
	assert.Zero(t, testing.AllocsPerRun(5000, func() {
		i++
		l.d.Add(time.Duration(i)*ms, current.Sample(1000*wave(float64(i)/1000)))
	}))
}

func TestSettings(t *testing.T) {
	good := current.TraceSettings(1200, 600)
	require.NoError(t, good.Check())
	for _, c := range []struct {
		change func(*current.Settings)
		says   string
	}{
		{func(s *current.Settings) { s.Running = 0 }, "running is 0 mA: give a level from 1 mA to 1000 A"},
		{func(s *current.Settings) { s.Idle = 1200 }, "idle must be above zero and below running"},
		{func(s *current.Settings) { s.Scale.Codes = 0; s.Scale.Milliamperes = 5 }, "both must be above zero"},
		{func(s *current.Settings) { s.Scale = current.Scale{Milliamperes: 5000, Codes: 1} }, "it cannot tell them apart; use a finer range"},
		{func(s *current.Settings) { s.Period = 10 * ms }, "the time between samples is 10ms: give 1 us to 5ms"},
		{func(s *current.Settings) { s.Low, s.High = 5, 4 }, "a lower bound of the codes is above its upper bound"},
		{func(s *current.Settings) { s.Quiet = 1200 }, "learn it again with the machine off"},
		{func(s *current.Settings) { s.Hold = time.Hour }, "a time of the detection is 1h0m0s"},
	} {
		s := good
		c.change(&s)
		_, err := current.NewDetector(s)
		require.ErrorContains(t, err, c.says)
	}
	_, err := current.NewDetector(current.Settings{})
	require.ErrorContains(t, err, "running is 0 mA")
	require.ErrorContains(t, err, "idle must be", "all problems at once")
}

func BenchmarkAdd(b *testing.B) {
	d, bias := warm(b, benchSettings(), 0.32, 1)
	r := rand.New(rand.NewPCG(1, 1))
	var codes [1024]current.Sample
	for i := range codes {
		codes[i] = code(0.32*r.NormFloat64(), bias)
	}
	b.ReportAllocs()
	for i := range b.N {
		d.Add(15*time.Second+time.Duration(i)*ms, codes[i%1024])
	}
	// at a thousand samples a second and channel
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)*16_000/1e6, "ms-CPU/s-16ch")
}
