package pca9685_test

import (
	"errors"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"

	"ductwarden/gates/pca9685"
	"ductwarden/gates/pca9685/chip"
)

const ms = time.Millisecond

// wires is a bus with one board, a clock, and trouble.
type wires struct {
	chip *chip.Chip
	now  time.Duration
	fail []error      // of the next transfers, nil for a good one; the last repeats while it is an error
	turn func([]byte) // bends what was read
	log  [][]byte     // what was written
	tx   int
}

func (b *wires) String() string                  { return "bus" }
func (b *wires) SetSpeed(physic.Frequency) error { return nil }
func (b *wires) Tx(addr uint16, w, r []byte) error {
	b.tx++
	if len(b.fail) > 0 {
		err := b.fail[0]
		if len(b.fail) > 1 || err == nil {
			b.fail = b.fail[1:]
		}
		if err != nil {
			return err
		}
	}
	if len(r) == 0 {
		b.log = append(b.log, append([]byte(nil), w...))
	}
	err := b.chip.Tx(b.now, w, r)
	if b.turn != nil && len(r) > 0 {
		b.turn(r)
	}
	return err
}

// rig is a driver on wires.
type rig struct {
	*wires
	*pca9685.Board
	t *testing.T
}

func newRig(t *testing.T, s pca9685.Settings, osc int64) *rig {
	t.Helper()
	s.Addr = 0x40
	w := &wires{chip: chip.New(0x40, osc)}
	b, err := pca9685.New(w, s)
	require.NoError(t, err)
	return &rig{wires: w, Board: b, t: t}
}

// poll runs the driver until a time, each call when it is due, and returns the last error.
func (r *rig) poll(until time.Duration) (last error) {
	r.t.Helper()
	for {
		next, err := r.Poll(r.now)
		if err != nil {
			last = err
		}
		require.Greater(r.t, next, r.now, "it always wants to be called again, later")
		if next > until {
			r.now = until
			return last
		}
		r.now = next
	}
}

func (r *rig) works() *rig {
	r.t.Helper()
	require.NoError(r.t, r.poll(10*ms))
	require.Equal(r.t, pca9685.Works, r.State())
	return r
}

func TestSetUpSendsNoPulse(t *testing.T) {
	r := newRig(t, pca9685.Settings{}, 25_000_000)
	// A program that died has left the board pulsing.
	for _, w := range [][]byte{{0x00, 0x10}, {0xFE, 121}, {0x00, 0x20}, {0x0E, 0, 0, 0x33, 0x01}} {
		require.NoError(t, r.chip.Tx(0, w, nil))
	}
	r.now = ms
	require.NotZero(t, r.chip.Pulse(r.now, 2))
	next, err := r.Poll(r.now)
	require.NoError(t, err)
	assert.Equal(t, r.now+500*time.Microsecond, next, "the oscillator is waited for in a state, not in a sleep")
	assert.Equal(t, pca9685.WakingUp, r.State())
	assert.Equal(t, []byte{0xFD, 0x10}, r.log[0], "all outputs off is the first thing written")
	assert.ErrorContains(t, r.SetPulse(0, 1500*time.Microsecond), "not set up yet")
	r.now = next
	_, err = r.Poll(r.now)
	require.NoError(t, err)
	assert.Equal(t, pca9685.Works, r.State())
	for ch := range pca9685.Channels {
		assert.Zero(t, r.chip.Pulse(r.now, ch))
	}
	assert.False(t, r.chip.Answers(0x70), "All Call is off: the board answers to its own address only")
	assert.Empty(t, r.chip.Misuse())
	assert.Zero(t, r.Resets())
}

func TestWidthsAreTrueByTheCalibratedOscillator(t *testing.T) {
	for _, osc := range []int64{23_000_000, 24_060_000, 25_000_000, 27_400_000} { // as measured on boards
		r := newRig(t, pca9685.Settings{Oscillator: osc}, osc).works()
		assert.InDelta(t, float64(20*ms), float64(r.chip.Period()), float64(100*time.Microsecond))
		for _, w := range []time.Duration{500, 1080, 1500, 1920, 2500} {
			require.NoError(t, r.SetPulse(3, w*time.Microsecond))
			assert.InDelta(t, float64(w*time.Microsecond), float64(r.chip.Pulse(r.now, 3)), float64(3*time.Microsecond), "half a count is 2.5 us")
		}
		assert.Empty(t, r.chip.Misuse())
	}
}

func TestPulseIsWrittenOnceAndReadBack(t *testing.T) {
	r := newRig(t, pca9685.Settings{}, 25_000_000).works()
	before := r.tx
	require.NoError(t, r.SetPulse(5, 1500*time.Microsecond))
	assert.Equal(t, 2, r.tx-before, "one write, one read")
	require.NoError(t, r.SetPulse(5, 1500*time.Microsecond))
	assert.Equal(t, 2, r.tx-before, "the same again is free")
	require.NoError(t, r.Off(5))
	assert.Zero(t, r.chip.Pulse(r.now, 5))
	require.NoError(t, r.Off(5))
	assert.Equal(t, 4, r.tx-before)

	bent := 1
	r.turn = func(b []byte) {
		if bent > 0 && len(b) == 4 {
			bent--
			b[2] ^= 0x40
		}
	}
	require.NoError(t, r.SetPulse(5, 1500*time.Microsecond), "a wrong bit is written over")
	bent = 2
	err := r.SetPulse(5, 1600*time.Microsecond)
	assert.ErrorContains(t, err, "pca9685@0x40/5: a pulse did not read back")
	bent = 0
	require.NoError(t, r.poll(r.now+2*time.Second))
	assert.InDelta(t, 1600e3, float64(r.chip.Pulse(r.now, 5)), 3e3, "and the board heals it by itself")
	assert.Zero(t, r.Resets())
}

func TestWhatABoardCannotDo(t *testing.T) {
	r := newRig(t, pca9685.Settings{}, 25_000_000).works()
	for _, ch := range []int{-1, 16} {
		assert.ErrorContains(t, r.SetPulse(ch, ms), "its channels are 0 to 15")
		assert.Error(t, r.Off(ch))
	}
	for _, w := range []time.Duration{-ms, 0, 20 * ms} {
		assert.ErrorContains(t, r.SetPulse(0, w), "does not fit into a period")
	}
	w := &wires{chip: chip.New(0x40, 25_000_000)}
	for _, s := range []pca9685.Settings{
		{Addr: 0x70}, {Addr: 0x3f}, {Addr: 0x80},
		{Addr: 0x40, Oscillator: 8_000_000}, {Addr: 0x40, Rate: 1000}, {Addr: 0x40, Rate: 10},
	} {
		_, err := pca9685.New(w, s)
		assert.Error(t, err)
	}
	assert.Zero(t, w.tx)
}

// Every way in which a sagging supply was seen to leave a board, at any moment between two looks.
func TestResetIsNoticedInTime(t *testing.T) {
	for name, sag := range map[string]func(*chip.Chip){
		"all registers":     func(c *chip.Chip) { c.Brownout() },
		"power away":        func(c *chip.Chip) { c.SetPower(false); c.SetPower(true) },
		"MODE1 alone":       func(c *chip.Chip) { c.Brownout(0x00) },
		"MODE2 alone":       func(c *chip.Chip) { c.Brownout(0x01); _ = c.Tx(0, []byte{0x01, 0x08}, nil) },
		"a canary alone":    func(c *chip.Chip) { c.Brownout(0x03) },
		"the prescaler":     func(c *chip.Chip) { c.Brownout(0xFE) },
		"all but the modes": func(c *chip.Chip) { c.Brownout(2, 3, 4, 0xFE, 0x09, 0x0D) },
		"a software reset":  func(c *chip.Chip) { c.SoftwareReset() },
	} {
		t.Run(name, func(t *testing.T) {
			for _, wait := range []time.Duration{1 * ms, 40 * ms, 99 * ms, 100 * ms} {
				r := newRig(t, pca9685.Settings{}, 25_000_000).works()
				require.NoError(t, r.SetPulse(0, 1500*time.Microsecond))
				require.NoError(t, r.SetPulse(1, 1200*time.Microsecond))
				require.NoError(t, r.poll(r.now+wait))
				sag(r.chip)
				at := r.now
				for r.Resets() == 0 && r.now < at+time.Second {
					require.NoError(t, r.poll(r.now+ms))
				}
				assert.LessOrEqual(t, r.now-at, 250*ms)
				require.NoError(t, r.poll(r.now+10*ms))
				assert.Equal(t, pca9685.Works, r.State())
				assert.Equal(t, 1, r.Resets(), "counted once")
				for ch := range pca9685.Channels {
					assert.Zero(t, r.chip.Pulse(r.now, ch), "no gate is driven by itself after a reset")
				}
				require.NoError(t, r.SetPulse(0, 1500*time.Microsecond), "the core re-establishes it")
				assert.NotZero(t, r.chip.Pulse(r.now, 0))
			}
		})
	}
}

func TestALostChannelIsNoticed(t *testing.T) {
	r := newRig(t, pca9685.Settings{}, 25_000_000).works()
	require.NoError(t, r.SetPulse(9, 1500*time.Microsecond))
	r.chip.Brownout(0x06+4*9+2, 0x06+4*9+3)
	require.NoError(t, r.poll(r.now+1700*ms))
	assert.Equal(t, 1, r.Resets(), "one channel is compared at each look")
}

func TestAWrongReadingIsNoReset(t *testing.T) {
	r := newRig(t, pca9685.Settings{}, 25_000_000).works()
	require.NoError(t, r.SetPulse(0, 1500*time.Microsecond))
	n := 0
	r.turn = func(b []byte) {
		if n++; n%5 == 0 { // every fifth read has a wrong bit
			b[0] ^= 1
		}
	}
	require.NoError(t, r.poll(r.now+20*time.Second))
	assert.Zero(t, r.Resets())
	assert.NotZero(t, r.chip.Pulse(r.now, 0))
}

func TestSilentAndFoundAgain(t *testing.T) {
	r := newRig(t, pca9685.Settings{}, 25_000_000).works()
	require.NoError(t, r.SetPulse(0, 1500*time.Microsecond))
	r.fail = []error{syscall.ETIMEDOUT}
	at := r.now
	for r.State() == pca9685.Works && r.now < at+time.Second {
		_ = r.poll(r.now + ms)
	}
	assert.Equal(t, pca9685.Silent, r.State())
	assert.LessOrEqual(t, r.now-at, 250*ms)
	err := r.poll(r.now + 300*ms)
	assert.ErrorIs(t, err, syscall.ETIMEDOUT)
	assert.ErrorContains(t, err, "pca9685@0x40")
	before := r.tx
	_ = r.poll(r.now + 10*time.Second)
	assert.LessOrEqual(t, r.tx-before, 55, "a silent board is tried five times a second")
	assert.Error(t, r.SetPulse(0, ms))
	assert.Error(t, r.Off(0))

	r.fail = nil
	require.NoError(t, r.poll(r.now+300*ms))
	assert.Equal(t, pca9685.Works, r.State())
	assert.Zero(t, r.Resets(), "it was only out of reach, and has kept its registers")
	require.NoError(t, r.poll(r.now+2*time.Second))
	assert.Zero(t, r.chip.Pulse(r.now, 0), "what was to be off is off once the board is back")

	r.fail = []error{syscall.ENXIO}
	_ = r.poll(r.now + 300*ms)
	r.chip.SetPower(false)
	r.chip.SetPower(true)
	r.fail = nil
	require.NoError(t, r.poll(r.now+300*ms))
	assert.Equal(t, 1, r.Resets())
	assert.Equal(t, pca9685.Works, r.State())
}

func TestAnotherChipAtTheAddressIsLeftAlone(t *testing.T) {
	r := newRig(t, pca9685.Settings{}, 25_000_000)
	r.turn = func(b []byte) { b[0] = 0xFF }
	err := r.poll(time.Second)
	assert.ErrorContains(t, err, "is no pca9685")
	assert.ErrorContains(t, err, "check the address jumpers")
	assert.Equal(t, pca9685.WrongChip, r.State())
	assert.NoError(t, r.Off(3))
	assert.NoError(t, r.Halt())
	assert.Empty(t, r.log, "nothing is ever written to it")
	r.turn = nil
	require.NoError(t, r.poll(2*time.Second))
	assert.Equal(t, pca9685.Works, r.State())

	deaf := newRig(t, pca9685.Settings{}, 25_000_000)
	deaf.turn = func(b []byte) { clear(b); b[0] = 4 }
	assert.ErrorContains(t, deaf.poll(time.Second), "does not keep its registers")
}

// pin is an enable line.
type pin struct {
	level bool
	set   int
	fail  error
}

func (p *pin) Set(level bool) error {
	if p.fail != nil {
		return p.fail
	}
	p.level, p.set = level, p.set+1
	return nil
}

func TestTheEnableLineWorksWhenTheBusDoesNot(t *testing.T) {
	p := &pin{level: true}
	r := newRig(t, pca9685.Settings{Enable: p}, 25_000_000)
	assert.False(t, p.level, "the first act, before the bus is spoken to")
	r.works()
	assert.False(t, p.level)
	require.NoError(t, r.SetPulse(0, ms))
	require.NoError(t, r.SetPulse(1, ms))
	assert.True(t, p.level)
	require.NoError(t, r.Off(0))
	assert.True(t, p.level, "another gate is being moved")
	r.fail = []error{syscall.ETIMEDOUT}
	assert.Error(t, r.Off(1))
	assert.False(t, p.level)
	r.fail = nil
	require.NoError(t, r.SetPulse(1, ms))
	assert.True(t, p.level)
	r.fail = []error{syscall.ETIMEDOUT}
	assert.Error(t, r.Halt())
	assert.False(t, p.level)
	r.fail, p.fail = nil, errors.New("gone")
	assert.ErrorContains(t, r.SetPulse(1, ms), "its enable line: gone")
}

func TestHaltFirstAndTwice(t *testing.T) {
	r := newRig(t, pca9685.Settings{}, 25_000_000)
	require.NoError(t, r.Halt())
	require.NoError(t, r.Halt())
	r.works()
	require.NoError(t, r.SetPulse(0, ms))
	require.NoError(t, r.Halt())
	assert.Zero(t, r.chip.Pulse(r.now, 0))
	require.NoError(t, r.poll(r.now+3*time.Second))
	assert.Zero(t, r.Resets())
	assert.Zero(t, r.chip.Pulse(r.now, 0))
	assert.Empty(t, r.chip.Misuse())
}

func TestSteadyStateAllocatesNothing(t *testing.T) {
	r := newRig(t, pca9685.Settings{}, 25_000_000).works()
	require.NoError(t, r.SetPulse(0, ms))
	assert.Zero(t, testing.AllocsPerRun(100, func() {
		r.now += 100 * ms
		_, _ = r.Poll(r.now)
		_ = r.SetPulse(0, ms)
	}))
	r.log = nil
	widths := [2]time.Duration{ms, 2 * ms}
	n := 0
	assert.LessOrEqual(t, testing.AllocsPerRun(100, func() {
		n++
		_ = r.SetPulse(0, widths[n%2])
	}), 2.0, "the test's own log")
}

func TestOscillatorOf(t *testing.T) {
	for _, osc := range []int64{23_100_000, 25_000_000, 26_900_000} {
		c := chip.New(0x40, osc)
		b, err := pca9685.New(nil, pca9685.Settings{Addr: 0x40})
		require.NoError(t, err)
		require.NoError(t, c.Tx(0, []byte{0xFE, 121}, nil)) // as the driver sets it for 50 Hz
		got, err := b.OscillatorOf(c.Period())
		require.NoError(t, err)
		assert.InEpsilon(t, osc, got, 1e-6)
	}
	b, err := pca9685.New(nil, pca9685.Settings{Addr: 0x40})
	require.NoError(t, err)
	for _, period := range []time.Duration{0, 10 * time.Millisecond, 40 * time.Millisecond} {
		_, err := b.OscillatorOf(period)
		assert.Error(t, err)
	}
}
