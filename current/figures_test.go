package current_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"ductwarden/current"
)

// few takes the small number, or the large one with -long.
func few(small, large int) int {
	if *long {
		return large
	}
	return small
}

// starter makes one start: the current in A at a time in seconds after the onset.
type starter func(r *rand.Rand) func(t float64) float64

func steady(low, high float64) starter {
	return func(r *rand.Rand) func(float64) float64 {
		k := runningA * (low + (high-low)*r.Float64())
		wave := harmonics(r, [2]float64{50, 60}[r.IntN(2)])
		return func(t float64) float64 { return k * wave(t) }
	}
}

func inrush(low, high float64) starter {
	return func(r *rand.Rand) func(float64) float64 {
		run := steady(low, high)(r)
		until := 0.2 + 0.8*r.Float64()
		return func(t float64) float64 {
			if t < until {
				return 5 * run(t)
			}
			return run(t)
		}
	}
}

// motors are starts of the motor model, 0.5 to 5 hp, idle and loaded, light and heavy wheels, at random phases of
// the mains, scaled so that the idling current is the given multiple of the running level.
func motors(low, high float64, n int) starter {
	r := rand.New(rand.NewPCG(5, 5))
	var waves [][]float64
	for range n {
		m := [2]machineData{fiveHorsepower, threeHorsepower}[r.IntN(2)].scaled(0.5 + 4.5*r.Float64())
		wave := m.start(2*math.Pi*r.Float64(), 0.3*r.Float64(), 1+3*r.Float64(), 1200*ms)
		k := runningA * (low + (high-low)*r.Float64()) / rmsOf(m.start(0, 0, 1, 1500*ms)[1400:])
		for i := range wave {
			wave[i] *= k
		}
		waves = append(waves, wave)
	}
	return func(r *rand.Rand) func(float64) float64 {
		wave := waves[r.IntN(len(waves))]
		return func(t float64) float64 {
			x := t * 1000
			i := min(int(x), len(wave)-2)
			return wave[i] + (wave[i+1]-wave[i])*min(1, x-float64(i))
		}
	}
}

func shaped(low, high float64, wave func(r *rand.Rand, hz float64) func(float64) float64) starter {
	return func(r *rand.Rand) func(float64) float64 {
		k := runningA * (low + (high-low)*r.Float64())
		w := toRMS(wave(r, [2]float64{50, 60}[r.IntN(2)]))
		return func(t float64) float64 { return k * w(t) }
	}
}

// fastStarts measures starts on a converter that samples one channel a thousand times a second.
func fastStarts(t *testing.T, n int, one starter) (d, p delays) {
	noises := []float64{math.Hypot(0.1, 0.1), math.Hypot(0.2, 0.1), math.Hypot(0.3, 0.1)}
	var dets [3]current.Detector
	var bias [3]float64
	for i, noise := range noises {
		dets[i], bias[i] = warm(t, benchSettings(), noise, uint64(i))
	}
	r := rand.New(rand.NewPCG(1, 1))
	for range n {
		k := r.IntN(3)
		det, rule := dets[k], plain{n: r.IntN(20)}
		amps := one(r)
		lead := int(40 + 10*r.Float64())
		part := r.Float64() // the onset lies between two samples
		seen, ruleSeen := false, false
		for i := 1; i < 2000 && (!seen || !ruleSeen); i++ {
			a := noises[k] * r.NormFloat64()
			since := time.Duration(float64(i-lead)*1e6 + part*1e6)
			if since >= 0 {
				a += amps(since.Seconds())
			}
			c := code(a, bias[k])
			det.Add(15*time.Second+time.Duration(i)*ms, c)
			rule.add((float64(c) - bias[k]) * stepA)
			if !seen && det.Belief() == current.Running {
				seen = true
				d.add(since)
			}
			if !ruleSeen && rule.running {
				ruleSeen = true
				p.add(since)
			}
		}
		d.missed += b2i(!seen)
		p.missed += b2i(!ruleSeen)
	}
	return d, p
}

// within prints a figure beside its goal and asserts it.
func within(t *testing.T, what string, d delays, p50, p99, worst time.Duration) {
	t.Helper()
	t.Logf("%-48s %v   goal %v, %v, %v", what, &d, p50, p99, worst)
	assert.LessOrEqual(t, d.at(50), p50, "%s: p50", what)
	assert.LessOrEqual(t, d.at(99), p99, "%s: p99", what)
	assert.LessOrEqual(t, d.at(100), worst, "%s: worst", what)
	assert.Zero(t, d.missed, "%s: missed", what)
}

// Onset to event on a fast converter, in signal time, beside the plain rule on the same signals.
func TestFiguresOfAFastConverter(t *testing.T) {
	for _, c := range []struct {
		name            string
		starts          starter
		n               int
		p50, p99, worst time.Duration
	}{
		{"1.5 times the threshold, no inrush", steady(1.5, 1.5), few(600, 100_000), 30 * ms, 45 * ms, 60 * ms},
		{"1.5 to 5 times, no inrush", steady(1.5, 5), few(600, 100_000), 30 * ms, 40 * ms, 60 * ms},
		{"with inrush, 1.5 to 5 times", inrush(1.5, 5), few(600, 100_000), 25 * ms, 25 * ms, 40 * ms},
		{"motor model, 1.5 to 5 times", motors(1.5, 5, few(16, 400)), few(600, 50_000), 25 * ms, 25 * ms, 40 * ms},
		{"recorded motor without load, 1.5 to 5 times", recorded(t, 1.5, 5), few(600, 50_000), 30 * ms, 45 * ms, 60 * ms},
		{"universal, fired at 90 degrees, 2 to 5 times", shaped(2, 5, func(r *rand.Rand, hz float64) func(float64) float64 {
			return phaseCut(hz, 2*math.Pi*r.Float64(), math.Pi/2)
		}), few(500, 20_000), 90 * ms, 120 * ms, 200 * ms},
		{"universal, fired at 135 degrees, 1.5 to 5 times", shaped(1.5, 5, func(r *rand.Rand, hz float64) func(float64) float64 {
			return phaseCut(hz, 2*math.Pi*r.Float64(), 3*math.Pi/4)
		}), few(500, 20_000), 100 * ms, 120 * ms, 200 * ms},
		{"drive, pulses of a quarter, 1.5 to 5 times", shaped(1.5, 5, func(r *rand.Rand, hz float64) func(float64) float64 {
			return rectifier(hz, 2*math.Pi*r.Float64(), 0.25)
		}), few(500, 20_000), 100 * ms, 120 * ms, 200 * ms},
		{"5 % above the threshold", steady(1.05, 1.05), few(500, 20_000), 250 * ms, 400 * ms, 1000 * ms},
	} {
		if c.starts == nil {
			continue
		}
		d, p := fastStarts(t, c.n, c.starts)
		within(t, c.name, d, c.p50, c.p99, c.worst)
		t.Logf("%-48s %v", "   plain 20 ms rule, two of two", &p)
	}
}

// yearOfNothing simulates the events of some channel-years on an idle machine and counts what starts.
func falseStarts(t *testing.T, s stress, years float64, seed uint64) (detector, rule int) {
	const noise = 0.32
	warmed, bias := warm(t, benchSettings(), noise, seed)
	det := warmed
	var p plain
	r := rand.New(rand.NewPCG(seed, 99))
	d := newDisturbance(r, s)
	const base = 15 * time.Second
	ends := years * 365.25 * 86400
	running := false
	for tick := int64(d.next()*1000) - 40; float64(tick)/1000 < ends; tick++ {
		at := float64(tick) / 1000
		if at > d.busyUntil && at < d.next()-0.1 { // nothing happens until then
			tick = int64((d.next()-0.04)*1000) / 20 * 20
			at = float64(tick) / 1000
			p.n, p.sum = 0, 0
		}
		c := code(d.amps(at)+noise*r.NormFloat64(), bias)
		det.Add(base+time.Duration(tick)*ms, c)
		if b := det.Belief() == current.Running; b != running {
			running = b
			detector += b2i(b)
		}
		p.add((float64(c) - bias) * stepA)
	}
	return detector, p.everStarted
}

// falseGoal is what may happen under each stress.
func falseGoal(stress int) string {
	if stress == 0 {
		return "none"
	}
	return "under 1"
}

func TestFalseStarts(t *testing.T) {
	for i, s := range stresses {
		years := 0.003
		if *long {
			years = [5]float64{20, 5, 5, 5, 5}[i]
		}
		n, rule := falseStarts(t, s, years, uint64(i))
		t.Logf("%-48s %.2f false starts a channel-year in %.2f, goal %s (plain rule: %.0f)", s.name, float64(n)/years, years, falseGoal(i), float64(rule)/years)
		if i == 0 {
			assert.Zero(t, n, s.name)
		}
		assert.LessOrEqual(t, float64(n), math.Max(0, years), s.name)
	}
}

// fastEnds measures the time from a motor's last current to idle, the contactor's arc included.
func TestFiguresOfAnEnd(t *testing.T) {
	warmed, bias := warm(t, benchSettings(), 0.32, 7)
	r := rand.New(rand.NewPCG(8, 8))
	var d delays
	for range few(1000, 50_000) {
		det := warmed
		amps := steady(1.5, 5)(r)
		stop := 400 + r.Float64()*20
		arc := 1 + 2*r.Float64()
		for i := 1; i < 3000; i++ {
			since := float64(i) - stop // ms
			a := 0.32 * r.NormFloat64()
			switch {
			case since < 0:
				a += amps(float64(i) / 1000)
			case since < arc:
				a += 15
			}
			det.Add(15*time.Second+time.Duration(i)*ms, code(a, bias))
			if since > 0 && det.Belief() == current.Idle {
				d.add(time.Duration(since * 1e6))
				break
			}
			if since < 0 && i > 100 && det.Belief() != current.Running {
				t.Fatalf("idle %v before the end", -since)
			}
		}
	}
	within(t, "time to idle, 1.5 to 5 times, arc included", d, 40*ms, 45*ms, 60*ms)
}

// A machine that runs must never be believed idle: steadily at 1.5 times the threshold, with a lost half-cycle
// every second, and on the narrow pulses of a phase control.
func TestFalseIdle(t *testing.T) {
	for _, c := range []struct {
		name  string
		one   starter
		drop  bool
		days  float64
		phase float64
	}{
		{"1.5 times the threshold", steady(1.5, 1.5), false, 10, 0},
		{"a lost half-cycle every second", steady(1.5, 1.5), true, 1, 0},
		{"just below the threshold", steady(0.87, 0.87), false, 1, 0},
		{"fired at 135 degrees", shaped(1.5, 1.5, func(r *rand.Rand, hz float64) func(float64) float64 {
			return phaseCut(hz, 0, 3*math.Pi/4)
		}), false, 1, 0},
		{"half-wave, as a brake draws", shaped(1.5, 1.5, func(r *rand.Rand, hz float64) func(float64) float64 {
			return func(t float64) float64 { return max(0, math.Sin(2*math.Pi*hz*t)) }
		}), false, 0.2, 0},
	} {
		det, bias := warm(t, benchSettings(), 0.32, 7)
		r := rand.New(rand.NewPCG(8, 8))
		amps := c.one(r)
		strong := steady(3, 3)(r) // first a clear start
		n := int64(few(20, int(c.days*86400))) * 1000
		idles := 0
		var was = true
		for i := int64(1); i < n; i++ {
			a := 0.32 * r.NormFloat64()
			if !c.drop || i%1000 < 990 {
				if i < 500 {
					a += strong(float64(i) / 1000)
				} else {
					a += amps(float64(i) / 1000)
				}
			}
			det.Add(15*time.Second+time.Duration(i)*ms, code(a, bias))
			if i < 200 {
				continue
			}
			running := det.Belief() == current.Running
			idles += b2i(was && !running)
			was = running
		}
		t.Logf("%-48s %d false ends in %.1f hours, goal none", c.name, idles, float64(n)/3.6e6)
		assert.Zero(t, idles, c.name)
	}
}
