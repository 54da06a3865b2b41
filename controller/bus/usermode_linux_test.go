package bus_test

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/bus"
)

var usermode = flag.String("usermode", "", "a user-mode kernel with GPIO simulation, as testdata/usermode.sh builds one; the lines are tested inside it")

// TestMain ends a user-mode kernel whose first process this is.
func TestMain(m *testing.M) {
	flag.Parse()
	code := m.Run()
	if os.Getpid() == 1 {
		fmt.Println("inside: exit", code)
		_ = syscall.Reboot(syscall.LINUX_REBOOT_CMD_POWER_OFF)
	}
	os.Exit(code)
}

// The lines against a real kernel: its own interface, its GPIO simulation.
func TestLinesOnAUserModeKernel(t *testing.T) {
	if *usermode == "" {
		t.Skip("give -usermode the path of a user-mode kernel with GPIO simulation; testdata/usermode.sh builds one in about five minutes")
	}
	root := t.TempDir()
	for _, d := range []string{"proc", "sys", "dev", "tmp"} {
		require.NoError(t, os.Mkdir(filepath.Join(root, d), 0o755))
	}
	c := exec.Command("go", "test", "-c", "-o", filepath.Join(root, "inside"), ".")
	c.Env = append(os.Environ(), "CGO_ENABLED=0") // there is nothing but this file in there
	out, err := c.CombinedOutput()
	require.NoError(t, err, string(out))
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	k := exec.CommandContext(ctx, *usermode, "mem=96M", "root=/dev/root", "rootfstype=hostfs", "rootflags="+root, "rw", "quiet",
		"con=null", "con0=null,fd:1", "init=/inside", "--", "-test.run=^TestInsideAUserModeKernel$", "-test.v")
	k.Env = append(os.Environ(), "TMPDIR="+t.TempDir())
	began := time.Now()
	out, err = k.CombinedOutput()
	t.Logf("%v in all\n%s", time.Since(began).Round(time.Millisecond), out)
	require.NoError(t, err)
	require.Contains(t, string(out), "inside: exit 0")
	require.Contains(t, string(out), "--- PASS: TestInsideAUserModeKernel")
}

// simulated is a GPIO chip of the kernel's simulation with eight lines.
type simulated struct {
	t    *testing.T
	path string // of the device
	sys  string // of its controls
}

func mount(t *testing.T, kind, at string) {
	require.NoError(t, os.MkdirAll(at, 0o755))
	if err := syscall.Mount("none", at, kind, 0, ""); err != syscall.EBUSY {
		require.NoError(t, err, kind)
	}
}

func write(t *testing.T, path, text string) {
	t.Helper()
	require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
}

func (s *simulated) read(name string) string {
	b, err := os.ReadFile(name)
	require.NoError(s.t, err)
	return strings.TrimSpace(string(b))
}

func simulate(t *testing.T) *simulated {
	mount(t, "proc", "/proc")
	mount(t, "sysfs", "/sys")
	mount(t, "devtmpfs", "/dev")
	mount(t, "configfs", "/sys/kernel/config")
	dir := "/sys/kernel/config/gpio-sim/shop"
	require.NoError(t, os.MkdirAll(dir+"/bank/line5", 0o755))
	write(t, dir+"/bank/num_lines", "8")
	write(t, dir+"/bank/label", "shop")
	write(t, dir+"/bank/line5/name", "GPIO5")
	write(t, dir+"/live", "1")
	s := &simulated{t: t}
	chip := s.read(dir + "/bank/chip_name")
	s.path, s.sys = "/dev/"+chip, "/sys/devices/platform/"+s.read(dir+"/dev_name")+"/"+chip
	return s
}

// pull is what a switch outside does to a line.
func (s *simulated) pull(line int, up bool) {
	write(s.t, fmt.Sprintf("%s/sim_gpio%d/pull", s.sys, line), map[bool]string{true: "pull-up", false: "pull-down"}[up])
}

func (s *simulated) value(line int) string {
	return s.read(fmt.Sprintf("%s/sim_gpio%d/value", s.sys, line))
}

// Runs only as the first process of a user-mode kernel.
//
// Last result, in a kernel 6.1.192 built by testdata/usermode.sh on x86_64: all four pass, 0.5 s inside and 1.6 s with
// the kernel's start and end; a line that is given back falls to where its simulated pull leaves it.
func TestInsideAUserModeKernel(t *testing.T) {
	if os.Getpid() != 1 {
		t.Skip("runs inside a user-mode kernel, which TestLinesOnAUserModeKernel starts")
	}
	s := simulate(t)
	var name syscall.Utsname
	require.NoError(t, syscall.Uname(&name))
	chip, err := bus.OpenLines(s.path)
	require.NoError(t, err)
	assert.Equal(t, 8, chip.Lines)
	byLabel, err := bus.OpenLines("shop")
	require.NoError(t, err)
	require.NoError(t, byLabel.Close())
	five, err := chip.Find("GPIO5")
	require.NoError(t, err)
	assert.Equal(t, 5, five)

	t.Run("an output has its first level, and reading leaves it one", func(t *testing.T) {
		for _, c := range []struct {
			low, initial bool
			value        string
		}{{false, false, "0"}, {false, true, "1"}, {true, false, "1"}, {true, true, "0"}} {
			o, err := chip.Output(bus.OutputLine{Offset: 0, Name: "start", ActiveLow: c.low, Initial: c.initial})
			require.NoError(t, err)
			assert.Equal(t, c.value, s.value(0))
			level, err := o.Level()
			require.NoError(t, err)
			assert.Equal(t, c.initial, level)
			info, err := chip.Line(0)
			require.NoError(t, err)
			assert.True(t, info.Output, "reading changed its direction")
			assert.Equal(t, "ductwarden start", info.Consumer)
			require.NoError(t, o.Set(!c.initial))
			assert.NotEqual(t, c.value, s.value(0))
			require.NoError(t, o.Set(c.initial))
			require.NoError(t, o.Close())
			assert.Equal(t, "0", s.value(0), "what a line does that is given back is the kernel's affair: here it falls")
		}
	})
	t.Run("a line in use is told with its user", func(t *testing.T) {
		o, err := chip.Output(bus.OutputLine{Offset: 5, Name: "lamp"})
		require.NoError(t, err)
		defer o.Close()
		_, err = chip.Output(bus.OutputLine{Offset: 5})
		require.ErrorIs(t, err, syscall.EBUSY)
		assert.ErrorContains(t, err, `in use by "ductwarden lamp"`)
		assert.ErrorContains(t, err, "line 5 (GPIO5)")
	})
	t.Run("bias, polarity and debounce arrive", func(t *testing.T) {
		in, err := chip.Inputs([]bus.InputLine{
			{Offset: 1, Bias: bus.PullUp, ActiveLow: true, Debounce: 5 * time.Millisecond}, {Offset: 2, Bias: bus.PullDown}, {Offset: 3, Bias: bus.PullUp},
		})
		require.NoError(t, err)
		defer in.Close()
		levels, err := in.Read()
		require.NoError(t, err)
		assert.Equal(t, uint64(1<<2), levels, "an open contact to ground reads as not active")
		s.pull(1, false)
		require.Eventually(t, func() bool {
			levels, err = in.Read()
			return err == nil && levels == 1<<0|1<<2
		}, 10*time.Second, time.Millisecond)
		info, err := chip.Line(1)
		require.NoError(t, err)
		assert.Equal(t, 5*time.Millisecond, info.Debounce)
		assert.True(t, info.ActiveLow)
		assert.Equal(t, bus.PullUp, info.Bias)
		assert.False(t, info.Output)
	})
	t.Run("edges come with their times, in order", func(t *testing.T) {
		in, err := chip.Inputs([]bus.InputLine{{Offset: 6, Bias: bus.PullDown, Edges: bus.BothEdges}, {Offset: 7, Bias: bus.PullDown, ActiveLow: true, Edges: bus.BothEdges}})
		require.NoError(t, err)
		defer in.Close()
		var all []bus.Edge
		buf := make([]bus.Edge, 64)
		for range 3 {
			for _, p := range []struct {
				line int
				up   bool
			}{{6, true}, {7, true}, {6, false}, {7, false}} {
				s.pull(p.line, p.up)
				got := 0
				require.Eventually(t, func() bool { // two before the first is read are one to an interrupt's thread
					n, err := in.Edges(buf)
					require.NoError(t, err)
					all = append(all, buf[:n]...)
					got += n
					return got > 0
				}, 10*time.Second, time.Millisecond, "line %d up %v after %d edges", p.line, p.up, len(all))
			}
		}
		require.Len(t, all, 12)
		last := map[int]time.Duration{}
		rising := map[int]bool{0: true, 1: false}
		for _, e := range all {
			assert.Greater(t, e.At, last[e.Line])
			assert.Equal(t, rising[e.Line], e.Rising, "line %d", e.Line)
			assert.False(t, e.Missed)
			last[e.Line], rising[e.Line] = e.At, !rising[e.Line]
		}
	})
	require.NoError(t, chip.Close())
}
