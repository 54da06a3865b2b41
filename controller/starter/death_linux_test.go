package starter_test

import (
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"ductwarden/controller"
	"ductwarden/controller/loop"
	"ductwarden/controller/plan"
	"ductwarden/controller/starter"
	"ductwarden/controller/starter/chargepump"
	"ductwarden/gates"
)

// The test starts itself again as a child that keeps a collector on with the real loop, core and starter. The child's line is a pipe into which each level goes with its time; the parent models the charge
// pump behind it, lets the child die in many ways, and measures how long the line stays alive.

const childEnv = "STARTER_TEST_CHILD"

func TestMain(m *testing.M) {
	if how := os.Getenv(childEnv); how != "" {
		child(how)
	}
	os.Exit(m.Run())
}

// record is a level with its time on the clock that both processes share.
type record struct {
	at    time.Duration
	level bool
}

func monotonic() time.Duration {
	var t unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &t); err != nil {
		panic(err)
	}
	return time.Duration(t.Nano())
}

// pipeLine is a line that is a pipe.
type pipeLine struct{ w *os.File }

func (l pipeLine) Set(level bool) error {
	b := binary.LittleEndian.AppendUint64(nil, uint64(monotonic()))
	if level {
		b = append(b, 1)
	} else {
		b = append(b, 0)
	}
	_, err := l.w.Write(b)
	return err
}

// needed plans nothing but the gates of the demand; all air is good.
type needed struct{ shop *controller.Shop }

func (n needed) Choose(q plan.Question) plan.Answer {
	a := plan.Answer{Verdict: plan.Carries, Margin: 1000, Share: 10000, Weakest: plan.NoDuct, Short: plan.NoMachine, Mend: plan.NoMachine, Clear: 1000}
	for m := range (q.Running | q.Down).All() {
		a.Needed |= n.shop.Machines[m].Needs
	}
	a.Open = a.Needed | q.StuckOpen
	return a
}

// slide is a gate without proof that needs nothing.
type slide struct{}

func (slide) Drive(time.Duration, gates.Drive) error    { return nil }
func (slide) Poll(time.Duration) (time.Duration, error) { return 0, nil }
func (slide) Halt() error                               { return nil }
func (slide) String() string                            { return "slide" }

// oneSweep is a shop with one gate, one collector, and a sweep that calls its air.
func oneSweep() *controller.Shop {
	shop := &controller.Shop{
		Name:     "one sweep",
		Machines: []controller.Machine{{ID: "sweep", Name: "sweep", Needs: gates.Of(0), Collectors: gates.Of(0), Button: 3_600_000}},
		Gates:    []controller.Gate{{ID: "sweep", Name: "sweep", Motion: gates.Limits{Travel: 100}}},
		Collectors: []controller.Collector{{ID: "collector", Name: "collector", Starter: true, Ways: []controller.Set{gates.Of(0)},
			StartsPerHour: 8, Rest: 100, LeastRun: 1000, SpinUp: 100, Coast: 1000, ProveOn: 2000, ProveOff: 3000}},
		Linger: 10_000, LongestLinger: 60_000, LeastClearing: 5000, MovingAtOnce: 2, MovesPerMinute: 6,
		LongestRun: controller.DefaultLongestRun, LongRunGrace: controller.DefaultLongRunGrace, InrushSpacing: 100, Warning: 0, PathLost: 3000,
	}
	shop.Collectors[0].Planner = needed{shop}
	return shop
}

// death is how a child ends when it is told to: after a completed scan, on the lane of the core.
func death(how string, told <-chan os.Signal) {
	select {
	case <-told:
	default:
		return
	}
	switch how {
	case "panic":
		panic("a mistake in the program, with the collector on")
	case "exit":
		os.Exit(3)
	case "hang":
		select {}
	}
}

func child(how string) {
	l := pipeLine{os.NewFile(3, "line")}
	var s starter.Starter
	var err error
	if how == "level" {
		s, err = starter.NewLevel("pipe", l)
	} else {
		s, err = starter.NewPulsed(starter.PulsedSettings{Name: "pipe", Line: l})
	}
	if err != nil {
		panic(err)
	}
	told := make(chan os.Signal, 1)
	signal.Notify(told, syscall.SIGUSR1)
	r := loop.NewReal()
	whole, err := loop.New(loop.Parts{Shop: oneSweep(), Scheduler: r, Starters: []loop.Starter{s},
		Actuators: []loop.Actuator{{Lane: "gates", Gate: 0, Actuator: slide{}}}, Feed: func() { death(how, told) }})
	if err != nil {
		panic(err)
	}
	go func() {
		time.Sleep(200 * time.Millisecond) // the motor's rest
		whole.Post(controller.Event{Kind: controller.ReadyPressed, By: controller.FromButton}, controller.Event{Kind: controller.MachinePressed, By: controller.FromButton})
	}()
	fmt.Fprintln(os.Stderr, r.Run(context.Background()))
	os.Exit(4)
}

// life is a running child and what is known of its line.
type life struct {
	cmd   *exec.Cmd
	lines chan record // closed when the child is gone
	pump  chargepump.Pump
	last  record
}

func begin(t *testing.T, how string) *life {
	t.Helper()
	exe, err := os.Executable()
	require.NoError(t, err)
	r, w, err := os.Pipe()
	require.NoError(t, err)
	l := &life{cmd: exec.Command(exe), lines: make(chan record, 1000)}
	l.cmd.Env = append(os.Environ(), childEnv+"="+how)
	l.cmd.ExtraFiles = []*os.File{w}
	require.NoError(t, l.cmd.Start())
	require.NoError(t, w.Close())
	go func() {
		defer close(l.lines)
		defer r.Close()
		var b [9]byte
		for {
			if _, err := io.ReadFull(r, b[:]); err != nil {
				return
			}
			l.lines <- record{time.Duration(binary.LittleEndian.Uint64(b[:])), b[8] == 1}
		}
	}()
	t.Cleanup(func() {
		_ = l.cmd.Process.Kill()
		_ = l.cmd.Wait()
	})
	return l
}

// read takes what has come through the line within a time, or until the child is gone.
func (l *life) read(within time.Duration, enough func() bool) {
	end := time.After(within)
	for !enough() {
		select {
		case r, ok := <-l.lines:
			if !ok {
				return
			}
			l.pump.Set(r.at, r.level)
			l.last = r
		case <-end:
			return
		}
	}
}

// limit is ten times the pump's own half second: what is measured is printed, and a slow machine does not fail.
const limit = 5 * time.Second

func TestTheLineDiesWithTheProgram(t *testing.T) {
	for _, c := range []struct {
		name, how string
		signal    syscall.Signal
	}{
		{"killed", "run", syscall.SIGKILL},
		{"stopped", "run", syscall.SIGSTOP},
		{"panics", "panic", syscall.SIGUSR1},
		{"exits", "exit", syscall.SIGUSR1},
		{"hangs", "hang", syscall.SIGUSR1},
		{"aborted by the watchdog", "run", syscall.SIGABRT},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			l := begin(t, c.how)
			l.read(20*time.Second, func() bool { return l.pump.Holds(l.last.at) && l.last.at > 0 && l.pump.Until() > 0 })
			require.True(t, l.pump.Holds(l.last.at), "the collector never came on")
			died := monotonic()
			require.NoError(t, l.cmd.Process.Signal(c.signal))
			l.read(1500*time.Millisecond, func() bool { return false })
			alive := l.pump.Until() - died
			t.Logf("the line stayed alive for %v", alive.Round(time.Millisecond))
			assert.Less(t, alive, limit)
			assert.False(t, l.pump.Holds(died+limit))
		})
	}
}

// The same test on a plain line, to show that it could have failed: that line stays on for good.
func TestALevelLineStaysOnWhenTheProgramDies(t *testing.T) {
	l := begin(t, "level")
	l.read(20*time.Second, func() bool { return l.last.level })
	require.True(t, l.last.level)
	require.NoError(t, l.cmd.Process.Kill())
	l.read(20*time.Second, func() bool { return false })
	assert.True(t, l.last.level)
	s, err := starter.NewLevel("x", &line{})
	require.NoError(t, err)
	assert.Contains(t, s.LeavesBehind(), "keeps its level when the program dies")
}
