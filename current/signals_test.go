package current_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ductwarden/current"
)

var long = flag.Bool("long", false, "take the figures of detection from many more starts, years and days")

// The bench of the figures: running 1.5 A, idle 0.9 A, a thousand samples a second in steps of 73 mA (a 12-bit
// converter behind a clamp of the 100 A class), standby current and noise as white noise.
const (
	runningA = 1.5
	idleA    = 0.9
	stepA    = 0.073
	ms       = time.Millisecond
)

func benchSettings() current.Settings {
	return current.Settings{
		Scale: current.Scale{Milliamperes: 73, Codes: 1}, Running: runningA * 1000, Idle: idleA * 1000,
		Low: 0, High: 4095, BiasLow: 1638, BiasHigh: 2458,
		Hold: 1, // the figures are before any hold
	}
}

// warm is a detector that has looked at an idle channel of the given noise for a while, and its bias in codes.
func warm(t testing.TB, s current.Settings, noise float64, seed uint64) (current.Detector, float64) {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 17))
	bias := 2048 + r.Float64() - 0.5
	d, err := current.NewDetector(s)
	require.NoError(t, err)
	for at := time.Duration(0); at < 15*time.Second; at += ms {
		d.Add(at, code(noise*r.NormFloat64(), bias))
	}
	require.Equal(t, current.Idle, d.Belief())
	require.Equal(t, current.Good, d.Health())
	return *d, bias
}

func code(amps, bias float64) current.Sample {
	return current.Sample(max(0, min(4095, math.Round(amps/stepA+bias))))
}

// plain is the rule that detection is compared with: true RMS over 20 ms, running after two windows in a row
// above the running level, idle after two below the idle level.
type plain struct {
	n           int
	sum         float64
	above       int
	below       int
	running     bool
	everStarted int
}

func (p *plain) add(amps float64) {
	p.sum += amps * amps
	if p.n++; p.n < 20 {
		return
	}
	rms := math.Sqrt(p.sum / 20)
	p.n, p.sum = 0, 0
	p.above, p.below = (p.above+1)*b2i(rms >= runningA), (p.below+1)*b2i(rms < idleA)
	if !p.running && p.above >= 2 {
		p.running = true
		p.everStarted++
	}
	if p.running && p.below >= 2 {
		p.running = false
	}
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// delays collects times and tells their distribution.
type delays struct {
	all    []time.Duration
	missed int
}

func (d *delays) add(v time.Duration) { d.all = append(d.all, v) }

func (d *delays) at(percent float64) time.Duration {
	if len(d.all) == 0 {
		return 0
	}
	slices.Sort(d.all)
	i := int(math.Ceil(percent/100*float64(len(d.all)))) - 1
	return d.all[max(0, i)]
}

func (d *delays) String() string {
	f := func(v time.Duration) float64 { return float64(v.Microseconds()) / 1000 }
	return fmt.Sprintf("p50 %5.1f  p99 %5.1f  max %5.1f ms, missed %d of %d", f(d.at(50)), f(d.at(99)), f(d.at(100)), d.missed, len(d.all)+d.missed)
}

// harmonics is a motor's current of 1 A rms with up to 20 % of third and 10 % of fifth harmonic at any phases.
func harmonics(r *rand.Rand, hz float64) func(t float64) float64 {
	a3, a5 := 0.2*r.Float64(), 0.1*r.Float64()
	p1, p3, p5 := 2*math.Pi*r.Float64(), 2*math.Pi*r.Float64(), 2*math.Pi*r.Float64()
	k := math.Sqrt2 / math.Sqrt(1+a3*a3+a5*a5)
	w := 2 * math.Pi * hz
	return func(t float64) float64 {
		return k * (math.Sin(w*t+p1) + a3*math.Sin(3*w*t+p3) + a5*math.Sin(5*w*t+p5))
	}
}

// stress is how bad the disturbances are. Spikes come once a minute, 10 to 20 A for 1 to 3 ms; a neighbour's
// inrush couples 1.2 A rms for half a second, four times an hour, each beginning with its contactor's spike.
type stress struct {
	name     string
	tail     float64 // ms: time constant with which a spike falls
	louder   float64 // crosstalk in its first 40 ms
	bouncing float64 // share of spikes that bounce, 1 to 3 more within 10 ms
}

var stresses = []stress{
	{"spikes and crosstalk", 0, 1, 0},
	{"spikes with tails of 1 ms", 1, 1, 0},
	{"crosstalk above the threshold for 40 ms", 0, 1.5, 0},
	{"a fifth of the spikes bounce", 0, 1, 0.2},
	{"some of each", 0.5, 1.3, 0.1},
}

// disturbance is one channel's: spikes and crosstalk as they come over the time of a channel.
type disturbance struct {
	r         *rand.Rand
	s         stress
	spikes    []spike // present and near ones
	nextSpike float64 // s
	crossFrom float64
	crossWave func(float64) float64
	nextCross float64
	busyUntil float64
}

type spike struct{ from, to, amps float64 }

func newDisturbance(r *rand.Rand, s stress) *disturbance {
	d := &disturbance{r: r, s: s, crossFrom: -10}
	d.nextSpike, d.nextCross = 60*r.ExpFloat64(), 900*r.ExpFloat64()
	return d
}

// next is when something begins.
func (d *disturbance) next() float64 { return min(d.nextSpike, d.nextCross) }

func (d *disturbance) spike(at float64) {
	one := func(at float64) {
		s := spike{at, at + 0.001*(1+2*d.r.Float64()), 10 + 10*d.r.Float64()}
		if d.r.IntN(2) == 0 {
			s.amps = -s.amps
		}
		d.spikes = append(d.spikes, s)
	}
	one(at)
	if d.r.Float64() < d.s.bouncing {
		for range 1 + d.r.IntN(3) {
			one(at + 0.010*d.r.Float64())
		}
	}
	d.busyUntil = max(d.busyUntil, at+0.16)
}

// amps is the disturbance at a time in seconds; times must rise.
func (d *disturbance) amps(t float64) float64 {
	for t >= d.nextSpike {
		d.spike(d.nextSpike)
		d.nextSpike += 60 * d.r.ExpFloat64()
	}
	for t >= d.nextCross {
		d.spike(d.nextCross)
		d.crossFrom, d.crossWave = d.nextCross, harmonics(d.r, [2]float64{50, 60}[d.r.IntN(2)])
		d.busyUntil = max(d.busyUntil, d.nextCross+0.66)
		d.nextCross += 900 * d.r.ExpFloat64()
	}
	v := 0.0
	live := d.spikes[:0]
	for _, s := range d.spikes {
		switch {
		case t < s.from:
		case t < s.to:
			v += s.amps
		case d.s.tail > 0:
			v += s.amps * math.Exp(-(t-s.to)*1000/d.s.tail)
		}
		if t < s.to+0.02 {
			live = append(live, s)
		}
	}
	d.spikes = live
	if since := t - d.crossFrom; since >= 0 && since < 0.5 {
		k := 1.2
		if since < 0.04 {
			k *= d.s.louder
		}
		v += k * d.crossWave(t)
	}
	return v
}
