package bus_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/bus"
	"ductwarden/controller/bus/posing"
	"ductwarden/gates"
	"ductwarden/gates/pca9685"
	"ductwarden/gates/pca9685/chip"
	"ductwarden/gates/servo"
)

// bench is a servo on a board on a posing bus: everything between a drive and a pulse but the kernel's own bus.
type bench struct {
	t     *testing.T
	pose  *posing.Bus
	chip  *chip.Chip
	bus   *bus.I2C
	board *pca9685.Board
	servo *servo.Servo
}

func newBench(t *testing.T) *bench {
	t.Helper()
	pose, path := posing.StartI2C(t)
	b := &bench{t: t, pose: pose, chip: chip.New(0x40, 24_100_000)}
	pose.Attach(0x40, b.chip)
	b.bus = open(t, path, bus.Settings{Timeout: 10 * time.Millisecond})
	var err error
	b.board, err = pca9685.New(b.bus, pca9685.Settings{Addr: 0x40, Oscillator: 24_100_000})
	require.NoError(t, err)
	b.servo, err = servo.New(b.board, servo.Settings{Board: b.board.String(), Open: 1900 * time.Microsecond, Closed: 1100 * time.Microsecond, Travel: 600 * time.Millisecond, LongestRun: time.Minute})
	require.NoError(t, err)
	return b
}

// until polls as a lane does until something holds.
func (b *bench) until(what string, holds func() bool) {
	b.t.Helper()
	require.Eventually(b.t, func() bool {
		_, _ = b.board.Poll(b.pose.Now())
		_, _ = b.servo.Poll(b.pose.Now())
		return holds()
	}, 20*time.Second, time.Millisecond, what)
}

func (b *bench) pulse() (w time.Duration) {
	b.pose.Do(func(now time.Duration) { w = b.chip.Pulse(now, 0) })
	return w
}

func (b *bench) opens() {
	b.t.Helper()
	b.until("the board comes up", func() bool { return b.board.State() == pca9685.Works })
	_ = b.servo.Drive(b.pose.Now(), gates.DriveNone)
	_ = b.servo.Drive(b.pose.Now(), gates.DriveOpen)
	b.until("the gate is driven open", func() bool { return b.pulse() > 0 })
	assert.InDelta(b.t, 1900e3, float64(b.pulse()), 3e3)
}

func TestAServoThroughTheKernelsInterface(t *testing.T) {
	b := newBench(t)
	b.opens()
	require.NoError(t, b.servo.Drive(b.pose.Now(), gates.DriveNone))
	assert.Zero(t, b.pulse())
	b.pose.Do(func(time.Duration) { assert.Empty(t, b.chip.Misuse()) })
	assert.Zero(t, b.bus.Stats().Again)
}

func TestAServoOnABadDay(t *testing.T) {
	for name, day := range map[string]func(b *bench){
		"no answer for a while": func(b *bench) {
			b.pose.Trouble(posing.Script{Addr: 0x40, Kind: posing.NoAnswer})
		},
		"stuck for a while": func(b *bench) { b.pose.Trouble(posing.Script{Kind: posing.TimeOut}) },
		"lost transfers":    func(b *bench) { b.pose.Trouble(posing.Script{Kind: posing.Lost}) },
		"one call hangs": func(b *bench) {
			b.pose.Trouble(posing.Script{Kind: posing.Hang, Times: 1})
			go b.release(b.pose.Transfers())
		},
		"wrong bits in reads":   func(b *bench) { b.pose.Trouble(posing.Script{Kind: posing.FlipRead, Bit: 4, Times: 1}) },
		"a wrong bit in writes": func(b *bench) { b.pose.Trouble(posing.Script{Kind: posing.FlipWrite, Bit: 21, Times: 1}) },
		"the supply sags":       func(b *bench) { b.pose.Do(func(time.Duration) { b.chip.Brownout() }) },
		"part of the registers": func(b *bench) { b.pose.Do(func(time.Duration) { b.chip.Brownout(0x03, 0xFE) }) },
		"the board unplugged": func(b *bench) {
			b.pose.Attach(0x40, nil)
			b.until("it is missed", func() bool { return b.board.State() == pca9685.Silent })
			b.pose.Do(func(time.Duration) { b.chip.SetPower(false); b.chip.SetPower(true) })
			b.pose.Attach(0x40, b.chip)
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			b.opens()
			require.NoError(t, b.servo.Drive(b.pose.Now(), gates.DriveNone))
			day(b)
			begin := b.pose.Now()
			for b.pose.Now()-begin < 300*time.Millisecond { // the trouble is met
				_, _ = b.board.Poll(b.pose.Now())
				_, _ = b.servo.Poll(b.pose.Now())
				time.Sleep(time.Millisecond)
			}
			b.pose.Clear()
			over := b.pose.Now()
			b.until("it comes back by itself", func() bool { return b.board.State() == pca9685.Works && b.pulse() == 0 })
			t.Logf("in order again %v after the trouble ended", (b.pose.Now() - over).Round(time.Millisecond))
			b.opens()
		})
	}
}

func (b *bench) release(before int) {
	for b.pose.Transfers() == before { // counted as the call begins to hang
		time.Sleep(time.Millisecond)
	}
	b.pose.Release()
}

// A converter that holds the bus for its whole time-out, again and again, beside a servo's board.
func TestALostSensorDoesNotDelayAGate(t *testing.T) {
	b := newBench(t)
	b.opens()
	b.pose.Trouble(posing.Script{Addr: 0x48, Kind: posing.TimeOut})
	var worst time.Duration
	for i := range 300 {
		_ = b.bus.Tx(0x48, []byte{0}, make([]byte, 2)) // as a converter's driver does, on the same goroutine
		begin := time.Now()
		require.NoError(t, b.servo.Drive(b.pose.Now(), gates.Drive(1-2*(i%2))))
		worst = max(worst, time.Since(begin))
		_, err := b.board.Poll(b.pose.Now())
		require.NoError(t, err)
	}
	s := b.bus.Stats()
	t.Logf("300 gate commands beside a lost converter: the slowest took %v, %d tries ran into the time-out", worst, s.Stuck)
	assert.Less(t, s.Stuck, uint64(12))
}
