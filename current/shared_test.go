package current_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"

	"ductwarden/current"
	"ductwarden/current/ads1115"
	"ductwarden/current/ads1115/chip"
)

// shared is one multiplexed converter with a clamp at each of its four inputs, in virtual time. Everything runs
// through the driver and the register model, so a conversion is the mean over its time, and turning takes time.
type shared struct {
	now      time.Duration
	chip     *chip.Chip
	driver   *ads1115.Chip
	channels [4]*ads1115.Channel
	amps     [4]func(t float64) float64 // A at a time in seconds
	noise    float64
	r        *rand.Rand
}

func (s *shared) String() string                  { return "bus" }
func (s *shared) SetSpeed(physic.Frequency) error { return nil }
func (s *shared) Tx(_ uint16, w, r []byte) error  { return s.chip.Tx(s.now, w, r) }
func (s *shared) running(i int) bool              { return s.channels[i].Belief() == current.Running }
func (s *shared) quiet(i int)                     { s.amps[i] = func(float64) float64 { return 0 } }
func (s *shared) set(i int, from float64, w func(float64) float64) {
	s.amps[i] = func(t float64) float64 {
		if t < from {
			return 0
		}
		return w(t - from)
	}
}

func newShared(t testing.TB, clock float64, noise float64, seed uint64) *shared {
	const points = 4
	s := &shared{now: time.Millisecond, noise: noise, r: rand.New(rand.NewPCG(seed, 3))}
	var bias [4]float64
	s.chip = chip.New(func(pin int, at time.Duration) float64 {
		a := s.amps[pin](at.Seconds()) + s.noise*math.Sqrt(points)*s.r.NormFloat64()
		return bias[pin] + 0.0333*a
	}, chip.Options{ClockError: clock, Points: points})
	var err error
	s.driver, err = ads1115.New(s, 0x48)
	require.NoError(t, err)
	for i := range s.channels {
		bias[i] = 1.65 + 0.05*(s.r.Float64()-0.5)
		s.quiet(i)
		s.channels[i], err = s.driver.Clamp(ads1115.Ain0+ads1115.Input(i), ads1115.Volts4096, ads1115.Clamp{
			Microvolts: 33_300, Running: runningA * 1000, Idle: idleA * 1000, Hold: 1,
		})
		require.NoError(t, err)
	}
	s.until(15*time.Second, func() bool { return false })
	for _, ch := range s.channels {
		require.Equal(t, current.Idle, ch.Belief())
	}
	return s
}

// until polls for at most d, or until done.
func (s *shared) until(d time.Duration, done func() bool) bool {
	for end := s.now + d; s.now < end; {
		next, _ := s.driver.Poll(s.now)
		if done() {
			return true
		}
		s.now = next + time.Duration(s.r.IntN(100))*time.Microsecond // a scheduler is never exact
	}
	return false
}

// sharedStarts measures starts and ends; couples says that an inrush shows in the three other channels.
func sharedStarts(t *testing.T, s *shared, n int, one starter, couples bool, busy int) (starts, ends delays, wrong int) {
	for i := range busy {
		s.set(3-i, s.now.Seconds(), steady(2, 3)(s.r))
	}
	s.until(time.Second, func() bool { return false })
	for range n {
		k := s.r.IntN(4 - busy)
		onset := s.now + 300*time.Millisecond + time.Duration(s.r.Int64N(int64(60*time.Millisecond)))
		s.set(k, onset.Seconds(), one(s.r))
		if couples {
			for i := range 4 - busy {
				if i != k {
					cross := harmonics(s.r, 50)
					s.set(i, onset.Seconds(), func(t float64) float64 {
						if t > 0.5 {
							return 0
						}
						return 1.2 * cross(t)
					})
				}
			}
		}
		others := func() bool {
			for i := range 4 {
				if i != k && s.running(i) != (i >= 4-busy) {
					return true
				}
			}
			return false
		}
		if s.until(2*time.Second, func() bool { return s.running(k) }) && s.now >= onset {
			starts.add(s.now - onset)
		} else {
			starts.missed++
		}
		wrong += b2i(s.until(700*time.Millisecond, others))
		for i := range 4 - busy {
			s.quiet(i)
		}
		stop := s.now
		if s.until(2*time.Second, func() bool { return !s.running(k) }) {
			ends.add(s.now - stop)
		} else {
			ends.missed++
		}
	}
	return starts, ends, wrong
}

// Onset to event and end to idle on a multiplexed converter with four channels.
func TestFiguresOfASharedConverter(t *testing.T) {
	for _, c := range []struct {
		name            string
		clock           float64
		starts          starter
		couples         bool
		busy            int
		n               int
		p50, p99, worst time.Duration
	}{
		{"1.5 times, no inrush, 860 S/s", 0, steady(1.5, 1.5), false, 0, few(400, 20_000), 65 * ms, 100 * ms, 130 * ms},
		{"1.5 times, no inrush, 774 S/s", -0.1, steady(1.5, 1.5), false, 0, few(400, 20_000), 65 * ms, 100 * ms, 130 * ms},
		{"1.5 times, no inrush, 946 S/s", 0.1, steady(1.5, 1.5), false, 0, few(400, 20_000), 65 * ms, 100 * ms, 130 * ms},
		{"1.5 to 5 times, no inrush", 0, steady(1.5, 5), false, 0, few(400, 20_000), 65 * ms, 100 * ms, 130 * ms},
		{"with inrush in the others too", 0, inrush(1.5, 5), true, 0, few(400, 20_000), 65 * ms, 100 * ms, 130 * ms},
		{"motor model", 0, motors(1.5, 5, few(16, 400)), true, 0, few(400, 20_000), 65 * ms, 100 * ms, 130 * ms},
		{"1.5 times, the three others running", 0, steady(1.5, 1.5), false, 3, few(100, 10_000), 65 * ms, 150 * ms, 200 * ms},
		{"drive, pulses of a quarter, 1.5 to 5 times", 0, shaped(1.5, 5, func(r *rand.Rand, hz float64) func(float64) float64 {
			return rectifier(hz, 2*math.Pi*r.Float64(), 0.25)
		}), false, 0, few(100, 2_000), 600 * ms, 1200 * ms, 1500 * ms},
	} {
		s := newShared(t, c.clock, math.Hypot(0.2, 0.1), 5)
		starts, ends, wrong := sharedStarts(t, s, c.n, c.starts, c.couples, c.busy)
		within(t, c.name, starts, c.p50, c.p99, c.worst)
		assert.Zero(t, wrong, "%s: another channel was believed to start or end", c.name)
		if c.busy == 0 && c.worst <= 130*ms {
			within(t, "   end to idle", ends, 70*ms, 100*ms, 250*ms) // the goal speaks of p99; one end in 20,000 takes 200 ms
		}
	}
}

// The same false starts on a shared converter, per channel-year; time in which nothing happens is left out.
func TestFalseStartsOfASharedConverter(t *testing.T) {
	for i, stress := range stresses {
		years := 0.002 // channel-years
		if *long {
			years = [5]float64{20, 4, 4, 4, 4}[i]
		}
		s := newShared(t, 0, 0.32, uint64(i))
		var ds [4]*disturbance
		skipped := -s.now.Seconds()
		for k := range ds {
			d := newDisturbance(rand.New(rand.NewPCG(uint64(i), uint64(k))), stress)
			ds[k] = d
			s.amps[k] = func(t float64) float64 { return d.amps(t + skipped) }
		}
		ends := years / 4 * 365.25 * 86400
		var was [4]bool
		n := 0
		s.until(1<<62-s.now, func() bool {
			t := s.now.Seconds() + skipped
			busy, next := 0.0, math.Inf(1)
			for k, d := range ds {
				busy, next = max(busy, d.busyUntil), min(next, d.next())
				n += b2i(s.running(k) && !was[k])
				was[k] = s.running(k)
			}
			if t > busy && next > t+0.05 {
				skipped += next - 0.03 - t
			}
			return t > ends
		})
		t.Logf("%-48s %.2f false starts a channel-year in %.3f, goal %s", stress.name, float64(n)/years, years, falseGoal(i))
		if i == 0 {
			assert.Zero(t, n, stress.name)
		}
		assert.LessOrEqual(t, float64(n), years, stress.name)
	}
}
