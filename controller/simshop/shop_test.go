package simshop

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
	"ductwarden/controller/airflow"
	"ductwarden/controller/loop"
	"ductwarden/current"
	"ductwarden/current/ads1115"
	"ductwarden/gates"
	"ductwarden/gates/pca9685"
	"ductwarden/gates/relay"
	"ductwarden/gates/servo"
)

// bench is the test's shop under a virtual clock.
type bench struct {
	*Shop
	*loop.Virtual
	t    *testing.T
	file *config.Shop
}

func newBench(t *testing.T, o Options) *bench {
	t.Helper()
	file, err := config.Load("testdata/bench.yaml")
	require.NoError(t, err)
	v := loop.NewVirtual(loop.AsFastAsMayBe)
	var air []*airflow.Model
	for _, tree := range file.Trees() {
		m, err := airflow.Compile(tree.Network)
		require.NoError(t, err)
		air = append(air, m)
	}
	b := &bench{Shop: New(file, air, v.Now, o), Virtual: v, t: t, file: file}
	v.Add("shop", "shop", b.Shop)
	return b
}

func (b *bench) run(d time.Duration) { b.Advance(b.t.Context(), b.Virtual.Now()+d) }

// pulseLine toggles the start line as a pulsed starter does, until told otherwise.
func (b *bench) pulseLine() (stop func()) {
	line, level, on := b.Line(*b.file.Collectors[0].Starter.Line), false, true
	b.Add("core", "pulses", loop.TaskFunc(func(now time.Duration) time.Duration {
		if on {
			level = !level
			_ = line.Set(level)
		}
		return now + 25*time.Millisecond
	}))
	return func() { on = false }
}

func TestNoiseHasUnitDeviationAndRepeats(t *testing.T) {
	n := noise(7)
	sum, squares, N := 0.0, 0.0, 20000
	for i := range N {
		x := n.at(3, time.Duration(i)*time.Microsecond)
		sum += x
		squares += x * x
	}
	assert.InDelta(t, 0, sum/float64(N), 0.03)
	assert.InDelta(t, 1, squares/float64(N), 0.03)
	assert.Equal(t, n.at(3, time.Second), n.at(3, time.Second))
	assert.NotEqual(t, n.at(3, time.Second), n.at(4, time.Second))
	for k := range 100 {
		u := n.unit(k)
		assert.True(t, u >= 0 && u < 1)
	}
}

// The true RMS of the waveform is what the motor says it draws.
func TestMotorCurrent(t *testing.T) {
	m := motor{full: 6, mains: 50, runUp: runUp, standby: 0.05}
	rms := func(from time.Duration) float64 {
		sum := 0.0
		const step = 100 * time.Microsecond
		for i := range 1000 { // 100 ms: five cycles
			a := m.amperes(from + time.Duration(i)*step)
			sum += a * a
		}
		return math.Sqrt(sum / 1000)
	}
	assert.InDelta(t, 0.05, rms(time.Second), 0.001)
	m.switched(time.Second, true)
	m.switched(time.Second, true)
	assert.Equal(t, 1, m.switches)
	assert.InDelta(t, inrushTimes*6, rms(1050*time.Millisecond), 2)
	assert.InDelta(t, 2.05, rms(5*time.Second), 0.02, "a third of full load, and the standby")
	m.load = 1
	assert.InDelta(t, 5, rms(5*time.Second), 1.2)
	m.blown = true
	assert.InDelta(t, 0.05, rms(6*time.Second), 0.001)
}

// The converter's driver sees the motor through the simulated registers.
func TestDriverSeesAMachine(t *testing.T) {
	b := newBench(t, Options{Seed: 1})
	chip, err := ads1115.New(b.Bus(0), 0x48)
	require.NoError(t, err)
	ch, err := chip.Clamp(ads1115.Ain0, ads1115.Volts4096, ads1115.Clamp{Microvolts: 33_300, Running: 1200, Idle: 600})
	require.NoError(t, err)
	b.Add("bus", "chip", loop.TaskFunc(func(now time.Duration) time.Duration {
		next, err := chip.Poll(now)
		assert.NoError(t, err)
		return next
	}))
	b.run(2 * time.Second)
	assert.Equal(t, current.Idle, ch.Belief())
	b.Switch(0, true)
	at := b.Virtual.Now()
	for ch.Belief() != current.Running && b.Virtual.Now() < at+time.Second {
		b.run(time.Millisecond)
	}
	assert.Less(t, b.Virtual.Now()-at, 150*time.Millisecond)
	b.run(8 * time.Second)
	ma, ok := ch.RMS()
	assert.True(t, ok)
	assert.InDelta(t, 1200*overRunning, ma, 80)
	b.Switch(0, false)
	b.run(1500 * time.Millisecond)
	assert.Equal(t, current.Idle, ch.Belief())

	for _, how := range []clampFault{ClampShorted, ClampFrozen} {
		b.BreakClamp(0, how)
		b.run(5 * time.Second)
		assert.Equal(t, current.Unknown, ch.Belief(), "%d: %v", how, ch.Health())
		b.BreakClamp(0, ClampSound)
		b.run(5 * time.Second)
		assert.Equal(t, current.Idle, ch.Belief())
	}
	b.Silence(config.Chip{Kind: "ads1115", Address: 0x48}, true)
	chip.Poll(b.Virtual.Now())
}

// The servo's driver moves the blade through the pulse board's registers, in its travel time.
func TestDriverMovesAServoGate(t *testing.T) {
	b := newBench(t, Options{})
	board, err := pca9685.New(b.Bus(0), pca9685.Settings{Addr: 0x40})
	require.NoError(t, err)
	sv, err := servo.New(board, servo.Settings{Board: board.String(), Open: 1900 * time.Microsecond, Closed: 1100 * time.Microsecond, Travel: 600 * time.Millisecond})
	require.NoError(t, err)
	b.Add("bus", "board", loop.TaskFunc(func(now time.Duration) time.Duration { n, _ := board.Poll(now); return n }))
	b.run(100 * time.Millisecond)
	require.NoError(t, sv.Drive(b.Virtual.Now(), gates.DriveOpen))
	b.run(300 * time.Millisecond)
	assert.InDelta(t, 0.5, b.Blade(0), 0.03)
	b.run(310 * time.Millisecond)
	assert.InDelta(t, 1, b.Blade(0), 0.01)
	require.NoError(t, sv.Drive(b.Virtual.Now(), gates.DriveNone))
	b.Slide(0, 0.2)
	b.run(time.Second)
	assert.InDelta(t, 0.2, b.Blade(0), 1e-9, "without pulses friction holds it where a hand has put it")
	b.Stick(0, true)
	require.NoError(t, sv.Drive(b.Virtual.Now(), gates.DriveClose))
	b.run(time.Second)
	assert.InDelta(t, 0.2, b.Blade(0), 1e-9)
	b.Stick(0, false)
	b.run(time.Second)
	assert.InDelta(t, 0, b.Blade(0), 0.01)
	assert.Equal(t, 2, b.Strokes(0))

	b.BrownOut(config.Chip{Kind: "pca9685", Address: 0x40})
	b.run(time.Second)
	assert.Equal(t, 1, board.Resets())
}

func TestDriverMovesARelayGate(t *testing.T) {
	b := newBench(t, Options{})
	a := b.file.Gates[1].Actuator.Relay
	open, closed := b.Line(*b.file.Gates[1].Proof.Open), b.Line(*b.file.Gates[1].Proof.Closed)
	level := func(l *Line) bool { on, err := l.Read(); require.NoError(t, err); return on }
	r, err := relay.New(relay.Settings{Open: b.Line(a.Open), Close: b.Line(a.Close), Travel: a.Travel})
	require.NoError(t, err)
	assert.True(t, level(closed))
	require.NoError(t, r.Drive(b.Virtual.Now(), gates.DriveOpen))
	b.run(110 * time.Millisecond) // the dead time
	r.Poll(b.Virtual.Now())
	b.run(time.Second)
	assert.False(t, level(open) || level(closed), "between its ends")
	b.run(1100 * time.Millisecond)
	assert.True(t, level(open))
	b.Slide(1, 0.5)
	_ = b.Line(a.Close).Set(true) // both coils: no motion
	b.run(time.Second)
	assert.InDelta(t, 0.5, b.Blade(1), 1e-9)
	_ = b.Line(a.Open).Set(false)
	b.run(2100 * time.Millisecond)
	assert.True(t, level(closed))
}

func TestChargePumpDropsOutWithinHalfASecond(t *testing.T) {
	b := newBench(t, Options{})
	line := b.Line(*b.file.Collectors[0].Starter.Line)
	_ = line.Set(true) // a level is not enough
	b.run(time.Second)
	assert.False(t, b.Powered(0))
	stop := b.pulseLine()
	b.run(time.Second)
	assert.True(t, b.Powered(0))
	assert.Equal(t, 1, b.Starts(0))
	stop()
	b.run(550 * time.Millisecond)
	assert.False(t, b.Powered(0))
}

func TestWheelSpinsUpAndCoasts(t *testing.T) {
	b := newBench(t, Options{})
	stop := b.pulseLine()
	b.run(3*time.Second + 150*time.Millisecond)
	assert.InDelta(t, 0.95, b.Wheel(0), 0.01)
	b.run(10 * time.Second)
	assert.Equal(t, 1.0, b.Wheel(0))
	stop()
	b.run(500 * time.Millisecond)
	b.run(60 * time.Second)
	assert.InDelta(t, 0.1, b.Wheel(0), 0.01, "a tenth after the coast time")
	b.run(10 * time.Minute)
	assert.Zero(t, b.Wheel(0))
}

func TestMotorFaults(t *testing.T) {
	b := newBench(t, Options{})
	stop := b.pulseLine()
	b.Refuse(0, true)
	b.run(2 * time.Second)
	assert.False(t, b.Powered(0))
	b.Refuse(0, false)
	b.run(time.Second)
	b.Weld(0, true)
	stop()
	b.run(2 * time.Second)
	assert.True(t, b.Powered(0), "the contacts stay together")
	b.Weld(0, false)
	b.run(time.Second)
	assert.False(t, b.Powered(0))
	b.OwnSwitch(0, true)
	b.run(time.Second)
	assert.True(t, b.Powered(0))
}

// The taps show what the model says, by the fan laws.
func TestTapsFollowTheModel(t *testing.T) {
	b := newBench(t, Options{Gates: []float64{1, 0}})
	b.OwnSwitch(0, true)
	b.run(20 * time.Second)
	v := b.Volts(config.Chip{Kind: "ads1115", Address: 0x49}, 0, b.Virtual.Now())
	suction := (v - 0.5) / 0.001
	r := b.fans[0].solver.Solve(gates.Of(0), 0)
	area := math.Pi / 4 * 0.16 * 0.16
	speed := r.FanFlow / area
	assert.InDelta(t, -r.InletTotal+0.6*speed*speed, suction, 5)
	assert.Greater(t, suction, 500.0)
	assert.Greater(t, b.Velocity(0, 1), 15.0, "the saw's duct moves air")
	filter := (b.Volts(config.Chip{Kind: "ads1115", Address: 0x49}, 1, b.Virtual.Now()) - 0.5) / 0.002
	b.LoadFilter(0, 1)
	loaded := (b.Volts(config.Chip{Kind: "ads1115", Address: 0x49}, 1, b.Virtual.Now()) - 0.5) / 0.002
	assert.Greater(t, loaded, filter*1.5)
	b.Plug(1, 0.3)
	assert.Greater(t, (b.Volts(config.Chip{Kind: "ads1115", Address: 0x49}, 0, b.Virtual.Now())-0.5)/0.001, suction*1.1)
	b.Plug(1, 1)
	b.OpenBin(0, true)
	assert.Less(t, (b.Volts(config.Chip{Kind: "ads1115", Address: 0x49}, 0, b.Virtual.Now())-0.5)/0.001, suction*0.5)
}

func TestHandsAndSwitches(t *testing.T) {
	b := newBench(t, Options{})
	button := b.Line(b.file.Machines[1].Sensors[1].Button.Line)
	contact := b.Line(b.file.Machines[1].Sensors[0].Contact.Line)
	read := func(l *Line) bool { on, _ := l.Read(); return on }
	b.At(time.Second, func() { b.Press(b.file.Machines[1].Sensors[1].Button.Line) })
	b.At(time.Second, func() { b.Switch(1, true) })
	b.run(1100 * time.Millisecond)
	assert.True(t, read(button))
	assert.True(t, read(contact))
	assert.True(t, b.Running(1))
	b.run(time.Second)
	assert.False(t, read(button))
	b.Contact(b.file.Machines[1].Sensors[1].Button.Line, true)
	assert.True(t, read(button))
}

func TestAbsentChipIsNotAcknowledged(t *testing.T) {
	b := newBench(t, Options{})
	assert.ErrorContains(t, b.Bus(0).Tx(0x33, []byte{0}, nil), "no chip acknowledges")
	b.Silence(config.Chip{Kind: "pca9685", Address: 0x40}, true)
	assert.Error(t, b.Bus(0).Tx(0x40, []byte{0}, nil))
}

// The same seed gives the same shop, whoever looks at it in between.
func TestSameSeedSameShop(t *testing.T) {
	run := func(extra bool) []float64 {
		b := newBench(t, Options{Seed: 5})
		b.pulseLine()
		b.Switch(0, true)
		var got []float64
		for range 50 {
			b.run(37 * time.Millisecond)
			if extra {
				b.Volts(config.Chip{Kind: "ads1115", Address: 0x49}, 0, b.Virtual.Now())
			}
			got = append(got, b.Volts(config.Chip{Kind: "ads1115", Address: 0x48}, 0, b.Virtual.Now()), b.Wheel(0))
		}
		return got
	}
	assert.Equal(t, run(false), run(true))
}

func BenchmarkConverterSecond(b *testing.B) {
	file, err := config.Load("testdata/bench.yaml")
	require.NoError(b, err)
	v := loop.NewVirtual(loop.AsFastAsMayBe)
	s := New(file, nil, v.Now, Options{})
	v.Add("shop", "shop", s)
	chip, _ := ads1115.New(s.Bus(0), 0x48)
	_, err = chip.Clamp(ads1115.Ain0, ads1115.Volts4096, ads1115.Clamp{Microvolts: 33_300, Running: 1200, Idle: 600})
	require.NoError(b, err)
	v.Add("bus", "chip", loop.TaskFunc(func(now time.Duration) time.Duration { n, _ := chip.Poll(now); return n }))
	s.Switch(0, true)
	for b.Loop() {
		v.Advance(b.Context(), v.Now()+time.Second)
	}
}
