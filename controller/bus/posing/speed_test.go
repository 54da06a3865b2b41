//go:build linux && (amd64 || arm64)

package posing_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"

	"ductwarden/current"
	"ductwarden/current/ads1115"
	adc "ductwarden/current/ads1115/chip"
)

var long = flag.Bool("long", false, "take the times of the built program from many more starts")

// spread is the distribution of some times.
type spread []time.Duration

func (d spread) at(share float64) time.Duration {
	slices.Sort(d)
	return d[max(0, int(math.Ceil(share*float64(len(d))))-1)]
}

func (d spread) String() string {
	return fmt.Sprintf("p50 %v  p99 %v  max %v of %d", d.at(0.5).Round(time.Millisecond/10), d.at(0.99).Round(time.Millisecond/10), d.at(1).Round(time.Millisecond/10), len(d))
}

// virtual is a converter whose bus costs nothing.
type virtual struct {
	now  time.Duration
	chip *adc.Chip
}

func (v *virtual) String() string                  { return "virtual" }
func (v *virtual) SetSpeed(physic.Frequency) error { return nil }
func (v *virtual) Tx(_ uint16, w, r []byte) error  { return v.chip.Tx(v.now, w, r) }

// inSignalTime is how long detection takes by itself on the signal of the shop, with two channels, at random phase.
func inSignalTime(t *testing.T, n int) (d spread) {
	r := rand.New(rand.NewPCG(1, 1))
	var onset time.Duration
	v := &virtual{now: time.Millisecond}
	v.chip = adc.New(func(pin int, at time.Duration) float64 {
		x := 1.65 + 0.0004*r.NormFloat64()
		if pin == 0 && at >= onset && onset > 0 {
			x += 0.0333 * 6 * math.Sqrt2 * math.Sin(2*math.Pi*50*at.Seconds())
		}
		return x
	}, adc.Options{})
	c, err := ads1115.New(v, 0x48)
	require.NoError(t, err)
	var ch [2]*ads1115.Channel
	for i := range ch {
		ch[i], err = c.Clamp(ads1115.Ain0+ads1115.Input(i), ads1115.Volts4096, current.Clamp{Microvolts: 33_300, Running: 2500, Idle: 1200, Hold: 1})
		require.NoError(t, err)
	}
	until := func(end time.Duration, b current.Belief) bool {
		for v.now < end && ch[0].Belief() != b {
			next, err := c.Poll(v.now)
			require.NoError(t, err)
			v.now = next
		}
		return ch[0].Belief() == b
	}
	for range n {
		require.True(t, until(v.now+5*time.Second, current.Idle))
		onset = v.now + 400*time.Millisecond + time.Duration(r.Int64N(int64(40*time.Millisecond)))
		require.True(t, until(v.now+5*time.Second, current.Running))
		d = append(d, v.now-onset)
		onset = 0
	}
	return d
}

// What bus, kernel, scheduling and the control loop add to the detection, from the current to the servo's pulse.
func TestFromCurrentToPulse(t *testing.T) {
	t.Parallel()
	n := 2
	if *long {
		n = 60
	}
	s := openShop(t)
	s.bus.SetClock(400_000)
	s.ready()
	r := rand.New(rand.NewPCG(2, 2))
	var d spread
	for i := range n {
		watched, line := &s.current, sawLine
		if i%2 == 1 {
			watched, line = &s.second, planerLine
		}
		s.until("the gate rests", func() bool { return s.pulse(sawLine)+s.pulse(planerLine) == 0 })
		time.Sleep(time.Duration(r.Int64N(int64(100 * time.Millisecond))))
		watched.Store(6000)
		began := time.Now()
		s.until("the gate is driven open", func() bool { return near(s.pulse(line), open) })
		d = append(d, time.Since(began))
		s.until("the other gate has closed and rests", func() bool { return s.pulse(sawLine)+s.pulse(planerLine) == 0 })
		watched.Store(0)
		time.Sleep(2500 * time.Millisecond) // its run-down, and the hold before it
	}
	alone := inSignalTime(t, 500)
	t.Logf("detection alone, in signal time: %v", alone)
	t.Logf("the built program on a bus of 400 kHz, current to pulse: %v", d)
	t.Logf("on top: %v at p50", (d.at(0.5) - alone.at(0.5)).Round(time.Millisecond/10))
	assert.Less(t, d.at(1), 3*time.Second)
}

// What the built program costs with 8 and 16 watched channels, its kernel's share included. A machine's goal is
// 25 MB; only ten times that fails.
func TestWhatTheBuiltProgramCosts(t *testing.T) {
	t.Parallel()
	span := 2 * time.Second
	if *long {
		span = 20 * time.Second
	}
	for _, n := range []int{8, 16} {
		s := openSpoilt(t, func(s *shop) {
			for chip := range n/4 - 1 {
				s.bus.Attach(uint16(0x49+chip), adc.New(s.voltage, adc.Options{}))
			}
			s.clamped = n
		})
		s.ready()
		began, before := time.Now(), processorTime(t, s.program.Process.Pid)
		time.Sleep(span)
		used, took := processorTime(t, s.program.Process.Pid)-before, time.Since(began)
		resident, own := residentSize(t, s.program.Process.Pid)
		t.Logf("%d channels: %.1f %% of one processor, %.1f MB resident (goal 25), of which %.1f MB its own", n, 100*used.Seconds()/took.Seconds(), resident, own)
		assert.Less(t, resident, 250.0)
		require.NoError(t, s.program.Process.Kill())
		_ = s.program.Wait()
	}
}

// processorTime is what a process has used, its kernel's share included (proc(5), stat).
func processorTime(t *testing.T, pid int) time.Duration {
	t.Helper()
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	require.NoError(t, err)
	fields := strings.Fields(string(b[strings.LastIndexByte(string(b), ')')+2:]))
	sum := int64(0)
	for _, f := range fields[11:13] { // utime and stime
		v, err := strconv.ParseInt(f, 10, 64)
		require.NoError(t, err)
		sum += v
	}
	return time.Duration(sum) * time.Second / 100 // clock ticks are hundredths of a second
}

// residentSize is the memory that a process holds, MB, and how much of it is its own: the rest is the program's file.
func residentSize(t *testing.T, pid int) (all, own float64) {
	t.Helper()
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	require.NoError(t, err)
	for name, to := range map[string]*float64{"VmRSS:": &all, "RssAnon:": &own} {
		_, after, ok := strings.Cut(string(b), name)
		require.True(t, ok)
		kb, err := strconv.ParseFloat(strings.Fields(after)[0], 64)
		require.NoError(t, err)
		*to = kb / 1024
	}
	return all, own
}
