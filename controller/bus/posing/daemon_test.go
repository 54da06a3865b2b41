//go:build linux && (amd64 || arm64)

package posing_test

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/bus/posing"
	"ductwarden/controller/starter/chargepump"
	adc "ductwarden/current/ads1115/chip"
	pwm "ductwarden/gates/pca9685/chip"
)

// The built program as a black box: it is given a posing bus and posing lines in place of the computer's own, and
// only pulses, voltages and its exit are looked at.

// built is the program, built once.
var built = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "posing")
	if err != nil {
		return "", err
	}
	if err := lookAtSources(); err != nil {
		return "", err
	}
	path := filepath.Join(dir, "ductwarden")
	out, err := exec.Command("go", "build", "-o", path, "ductwarden/cmd/ductwarden").CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("%w: %s", err, out)
	}
	return path, nil
})

// lookAtSources asks for the state of every file of the module: go test takes a kept result for good only while the
// files that the test has looked at are unchanged, and does not know what the built program is made of.
func lookAtSources() error {
	root := filepath.Join("..", "..", "..")
	return filepath.WalkDir(root, func(path string, d os.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && path != root && strings.HasPrefix(d.Name(), "."):
			return filepath.SkipDir
		case !d.IsDir():
			_, err = os.Stat(path)
		}
		return err
	})
}

// shop is a small shop of metal that is none.
type shop struct {
	t       *testing.T
	bus     *posing.Bus
	pins    *posing.Lines
	servos  *pwm.Chip
	clamps  *adc.Chip
	program *posing.Guest
	log     lockedBuffer
	current atomic.Int64 // mA rms through the saw's clamp
	second  atomic.Int64 // and through the planer's
	clamped int          // machines with a clamp, beyond the two
	start   time.Time
	page    string // address of its page
}

type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

const (
	startLine, readyLine, sawLine, planerLine = 17, 6, 0, 1 // lines, and the servos' channels
	open, closed                              = 1900 * time.Microsecond, 1100 * time.Microsecond
)

// one lets a single program run where all would take the same lock file.
var one sync.Mutex

// openShop starts the program on a shop file with more lines.
func openShop(t *testing.T, more ...string) *shop {
	t.Helper()
	return openSpoilt(t, func(*shop) {}, more...)
}

// openSpoilt starts the program where something is wrong.
func openSpoilt(t *testing.T, spoil func(*shop), more ...string) *shop {
	t.Helper()
	if _, err := os.Stat("/run/ductwarden"); err == nil {
		one.Lock()
		t.Cleanup(one.Unlock)
	}
	files := posing.Start(t)
	s := &shop{t: t, bus: posing.NewBus(), pins: posing.NewLines("posing", "GPIO", 32), servos: pwm.New(0x40, 25_000_000), start: time.Now(), page: freeAddress(t)}
	s.clamps = adc.New(s.voltage, adc.Options{})
	s.bus.Attach(0x40, s.servos)
	s.bus.Attach(0x48, s.clamps)
	spoil(s)
	dir := t.TempDir()
	file := filepath.Join(dir, "shop.yaml")
	require.NoError(t, os.WriteFile(file, fmt.Appendf(nil, `buses: {main: %s}
lines: %s
console: {socket: %s/console.sock}
journal: {path: %s/journal.db}
starts: {path: %s/starts}
page: {listen: "%s", access: %s/access, viewing: open}
collectors:
  - name: collector
    motor: {power: 2 hp, poles: 2, phases: 1, rest: 5 s, least_run: 5 s, spin_up: 1 s, coast: 1 s}
    starter: {line: GPIO17}
gates:
  - {name: saw, actuator: {servo: {chip: pca9685@0x40, channel: 0, open: 1900 us, closed: 1100 us, travel: 200 ms}}}
  - {name: planer, actuator: {servo: {chip: pca9685@0x40, channel: 1, open: 1900 us, closed: 1100 us, travel: 200 ms}}}
machines:
  - {name: saw, gates: [saw], run_down: 1 s, sensors: [{clamp: {adc: ads1115@0x48, channel: 0, scale: 33.3 mV/A, running: 2.5 A, idle: 1.2 A}}]}
  - {name: planer, gates: [planer], run_down: 1 s, sensors: [{clamp: {adc: ads1115@0x48, channel: 1, scale: 33.3 mV/A, running: 2.5 A, idle: 1.2 A}}]}
%sinputs: {ready: {offset: 6, active: low}}
`, files.I2C("i2c-91", s.bus), files.Lines("gpiochip91", s.pins), dir, dir, dir, s.page, dir, s.moreMachines()), 0o600))
	for _, line := range more {
		f, err := os.OpenFile(file, os.O_APPEND|os.O_WRONLY, 0)
		require.NoError(t, err)
		_, err = fmt.Fprintln(f, line)
		require.NoError(t, errors.Join(err, f.Close()))
	}

	exe, err := built()
	require.NoError(t, err)
	s.program, err = files.Command(exe, "run", "--config", file)
	require.NoError(t, err)
	s.program.Env = append(s.program.Env, "TMPDIR="+dir)
	s.program.Stdout, s.program.Stderr = &s.log, &s.log
	require.NoError(t, s.program.Start())
	t.Cleanup(func() {
		_ = s.program.Process.Kill()
		_ = s.program.Wait()
		if t.Failed() {
			t.Log(s.log.String())
		}
	})
	return s
}

// moreMachines are the lines of a shop file for machines with a clamp beyond the two.
func (s *shop) moreMachines() string {
	var b strings.Builder
	for i := 2; i < s.clamped; i++ {
		fmt.Fprintf(&b, "  - {name: machine %d, gates: [saw], sensors: [{clamp: {adc: ads1115@%#x, channel: %d, scale: 33.3 mV/A, running: 2.5 A, idle: 1.2 A}}]}\n", i, 0x48+i/4, i%4)
	}
	return b.String()
}

// freeAddress is one that nobody listens at.
func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().String()
}

// voltage is what the saw's clamp gives: half the supply, and 33.3 mV for each ampere at 50 Hz.
func (s *shop) voltage(pin int, at time.Duration) float64 {
	v := 1.65 + 0.0004*math.Sin(2*math.Pi*613*at.Seconds()) // a little noise, or the channel would look frozen
	sine := 0.0333 / 1000 * math.Sqrt2 * math.Sin(2*math.Pi*50*at.Seconds())
	switch pin {
	case 0:
		v += float64(s.current.Load()) * sine
	case 1:
		v += float64(s.second.Load()) * sine
	}
	return v
}

func (s *shop) pulse(ch int) (w time.Duration) {
	s.bus.Do(func(now time.Duration) { w = s.servos.Pulse(now, ch) })
	return w
}

// collector tells whether the charge pump behind the start line holds.
func (s *shop) collector() bool {
	var p chargepump.Pump
	now := time.Duration(0)
	for _, c := range s.pins.Look(startLine).Log {
		p.Set(c.At, c.High)
		now = c.At
	}
	return p.Holds(max(now, s.pins.Now()))
}

func (s *shop) until(what string, holds func() bool) {
	s.t.Helper()
	require.Eventually(s.t, holds, 30*time.Second, time.Millisecond, what)
}

// ready presses the button until the program is on duty, which the first reaction shows.
func (s *shop) ready() {
	s.t.Helper()
	s.until("the program takes its lines", func() bool { return s.program.Ended() || s.pins.Look(readyLine).Consumer != "" })
	require.False(s.t, s.program.Ended(), "the program ended")
	s.until("the servo board is set up", func() (up bool) {
		s.bus.Do(func(time.Duration) { up = s.servos.Register(0xFE) == 121 })
		return up
	})
	time.Sleep(time.Second) // the clamps are believed
	s.pins.Drive(readyLine, false)
	time.Sleep(200 * time.Millisecond)
	s.pins.Drive(readyLine, true)
}

func near(w, want time.Duration) bool {
	return w > want-10*time.Microsecond && w < want+10*time.Microsecond
}

func TestTheBuiltProgramOnPosingMetal(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	s.ready()
	assert.Zero(t, s.pulse(sawLine)+s.pulse(planerLine), "nothing moves before it must")
	assert.False(t, s.collector())

	s.current.Store(6000)
	began := time.Now()
	s.until("the saw's gate is driven open", func() bool { return near(s.pulse(sawLine), open) })
	t.Logf("from current to pulse: %v", time.Since(began).Round(time.Millisecond))
	s.until("the collector comes on", s.collector)
	t.Logf("from current to collector: %v", time.Since(began).Round(time.Millisecond))

	asked := time.Now()
	require.NoError(t, s.program.Process.Signal(syscall.SIGTERM))
	require.NoError(t, s.program.Wait())
	t.Logf("from SIGTERM to the end: %v", time.Since(asked).Round(time.Millisecond))
	assert.Less(t, time.Since(asked), 10*time.Second)
	assert.False(t, s.pins.Look(startLine).High, "the start line is left off")
	s.until("the collector goes off", func() bool { return !s.collector() })
}

// cutting brings a shop to where the saw runs, its gate is open and the collector is on.
func cutting(t *testing.T) *shop {
	s := openShop(t)
	s.ready()
	s.current.Store(6000)
	s.until("the saw's gate is driven open", func() bool { return near(s.pulse(sawLine), open) })
	s.until("the collector comes on", s.collector)
	s.until("the servo is released", func() bool { return s.pulse(sawLine) == 0 })
	return s
}

// keeps looks for a while whether the air stays on and no gate is driven shut.
func (s *shop) keeps(length time.Duration) {
	s.t.Helper()
	for end := time.Now().Add(length); time.Now().Before(end); time.Sleep(2 * time.Millisecond) {
		require.True(s.t, s.collector(), "the saw is cutting, and the collector went off")
		require.False(s.t, near(s.pulse(sawLine), closed), "the saw is cutting, and its gate is driven shut")
	}
}

func TestTheBuiltProgramOnBadDays(t *testing.T) {
	t.Parallel()
	s := cutting(t)
	for _, bad := range []struct {
		name string
		day  posing.Script
	}{
		{"the clamps do not answer", posing.Script{Addr: 0x48, Kind: posing.NoAnswer}},
		{"the servo board does not answer", posing.Script{Addr: 0x40, Kind: posing.NoAnswer}},
		{"the bus is stuck", posing.Script{Kind: posing.TimeOut}},
		{"the clamps hold the bus", posing.Script{Addr: 0x48, Kind: posing.TimeOut}},
		{"every transfer is lost", posing.Script{Kind: posing.Lost}},
		{"wrong bits in what the servo board says", posing.Script{Addr: 0x40, Kind: posing.FlipRead, Times: 1, Bit: 5}},
		{"wrong bits in what the clamps say", posing.Script{Addr: 0x48, Kind: posing.FlipRead, Times: 5, Bit: 12}},
	} {
		s.bus.Trouble(bad.day)
		s.keeps(600 * time.Millisecond)
		s.bus.Clear()
		s.keeps(900 * time.Millisecond)
		t.Logf("%s: the air stayed on", bad.name)
	}

	sag := time.Now()
	s.bus.Do(func(time.Duration) { s.servos.Brownout() })
	s.until("the saw's gate is driven open again", func() bool { return near(s.pulse(sawLine), open) })
	t.Logf("from the servo board's reset to the gate driven open again: %v", time.Since(sag).Round(time.Millisecond))
	s.keeps(time.Second)

	killed := s.pins.Now()
	require.NoError(t, s.program.Process.Kill())
	s.until("the collector goes off", func() bool { return !s.collector() })
	t.Logf("from SIGKILL to the collector off: %v", (s.pins.Now() - killed).Round(time.Millisecond))
	assert.Less(t, s.pins.Now()-killed, 5*time.Second)
}

func TestTheBuiltProgramOnABusThatIsNotThere(t *testing.T) {
	exe, err := built()
	require.NoError(t, err)
	dir := t.TempDir()
	file := filepath.Join(dir, "shop.yaml")
	require.NoError(t, os.WriteFile(file, []byte("buses: {main: /dev/i2c-94}\nconsole: {socket: "+dir+"/c.sock}\ngates: [{name: saw, actuator: {servo: {chip: pca9685@0x40, channel: 0, open: 1900 us, closed: 1100 us}}}]\n"), 0o600))
	c := exec.Command(exe, "run", "--config", file)
	c.Env = append(os.Environ(), "TMPDIR="+dir)
	out, err := c.CombinedOutput()
	assert.Error(t, err)
	assert.Equal(t, 1, c.ProcessState.ExitCode())
	assert.Contains(t, string(out), "there is no I2C bus /dev/i2c-94")
	assert.Equal(t, 1, bytes.Count(out, []byte("\n")), "one sentence")
}
