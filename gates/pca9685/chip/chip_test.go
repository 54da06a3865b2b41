package chip

import (
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const ms = time.Millisecond

// awake makes a chip that pulses at 50 Hz by the nominal oscillator.
func awake(t *testing.T) *Chip {
	t.Helper()
	c := New(0x40, 25_000_000)
	for _, w := range [][]byte{{preScale, 121}, {mode1, autoInc}} {
		require.NoError(t, c.Tx(0, w, nil))
	}
	return c
}

func TestPowerUpValues(t *testing.T) { // tables 4 to 9, and a dump of a real board
	c := New(0x40, 25_000_000)
	r := make([]byte, 1)
	for reg, want := range map[byte]byte{0x00: 0x11, 0x01: 0x04, 0x02: 0xE2, 0x03: 0xE4, 0x04: 0xE8, 0x05: 0xE0, 0x06: 0, 0x09: 0x10, 0x45: 0x10, 0xFE: 0x1E} {
		require.NoError(t, c.Tx(0, []byte{reg}, r))
		assert.Equal(t, want, r[0], "register %02x", reg)
	}
	for ch := range Channels {
		assert.Zero(t, c.Pulse(time.Second, ch))
	}
	assert.Zero(t, c.Resets())
}

func TestAutoIncrementWraps(t *testing.T) {
	c := awake(t)
	r := make([]byte, 3)
	require.NoError(t, c.Tx(0, []byte{0x44}, r))
	assert.Equal(t, []byte{0, 0x10, 0x20}, r, "from 45h on to 00h")
	require.NoError(t, c.Tx(0, []byte{0xFD}, r))
	assert.Equal(t, []byte{0, 121, 0x20}, r, "from FEh on to 00h; ALL_LED reads zero")
	require.NoError(t, c.Tx(0, []byte{mode1, 0}, nil))
	require.NoError(t, c.Tx(0, []byte{mode2}, r))
	assert.Equal(t, []byte{4, 4, 4}, r, "without AI the same register again")
}

func TestPulses(t *testing.T) {
	c := awake(t)
	require.NoError(t, c.Tx(0, []byte{led0, 0, 0, 307 & 0xff, 307 >> 8}, nil))
	assert.Zero(t, c.Pulse(400*time.Microsecond, 0), "the oscillator needs 500 us")
	assert.Equal(t, 1498160*time.Nanosecond, c.Pulse(1*ms, 0), "307 x 122 / 25 MHz")
	assert.Equal(t, 19988480*time.Nanosecond, c.Period())
	require.NoError(t, c.Tx(0, []byte{led0 + 4, 0x80, 0x0F, 0x00, 0x01}, nil))
	assert.Equal(t, c.ticks(0x180), c.Pulse(1*ms, 1), "a pulse may go over the end of the period")
	require.NoError(t, c.Tx(0, []byte{led0 + 8, 0, full, 0, 0}, nil))
	assert.Equal(t, c.Period(), c.Pulse(1*ms, 2), "full on")
	require.NoError(t, c.Tx(0, []byte{led0 + 8, 0, full, 0, full}, nil))
	assert.Zero(t, c.Pulse(1*ms, 2), "full off beats full on")
	require.NoError(t, c.Tx(0, []byte{led0 + 8, 5, 0, 5, 0}, nil))
	assert.Zero(t, c.Pulse(1*ms, 2))
	assert.Equal(t, []string{"channel 2 has equal ON and OFF"}, c.Misuse())

	c.SetOE(true)
	assert.Zero(t, c.Pulse(1*ms, 0))
	c.SetOE(false)
	require.NoError(t, c.Tx(0, []byte{mode2, 0x14}, nil))
	assert.Equal(t, c.ticks(4096-307), c.Pulse(1*ms, 0), "inverted")
	require.NoError(t, c.Tx(0, []byte{mode2, 0x04}, nil))
	require.NoError(t, c.Tx(0, []byte{allLED, 0, 0, 0, full}, nil))
	for ch := range Channels {
		assert.Zero(t, c.Pulse(1*ms, ch))
	}
}

func TestPrescaleTakesAValueOnlyAsleep(t *testing.T) {
	c := awake(t)
	require.NoError(t, c.Tx(0, []byte{preScale, 50}, nil))
	assert.Equal(t, byte(121), c.Register(preScale))
	assert.Len(t, c.Misuse(), 1)
	require.NoError(t, c.Tx(0, []byte{mode1, sleep}, nil))
	require.NoError(t, c.Tx(0, []byte{preScale, 1}, nil))
	assert.Equal(t, byte(3), c.Register(preScale), "never below 3")
}

func TestSleepAndRestart(t *testing.T) {
	c := awake(t)
	require.NoError(t, c.Tx(0, []byte{led0, 0, 0, 200, 1}, nil))
	require.NoError(t, c.Tx(2*ms, []byte{mode1, autoInc | sleep}, nil))
	assert.Equal(t, byte(restart|autoInc|sleep), c.Register(mode1))
	require.NoError(t, c.Tx(3*ms, []byte{mode1, autoInc}, nil))
	assert.Zero(t, c.Pulse(10*ms, 0), "outputs stay off until restarted")
	require.NoError(t, c.Tx(3*ms, []byte{mode1, restart | autoInc}, nil))
	assert.Len(t, c.Misuse(), 1, "RESTART before 500 us")
	assert.Equal(t, c.ticks(456), c.Pulse(10*ms, 0))

	require.NoError(t, c.Tx(11*ms, []byte{mode1, autoInc | sleep}, nil))
	require.NoError(t, c.Tx(12*ms, []byte{mode1, autoInc}, nil))
	require.NoError(t, c.Tx(13*ms, []byte{led0, 0, 0, 100, 1}, nil))
	assert.Equal(t, c.ticks(356), c.Pulse(14*ms, 0), "a write to an output restarts too")
	assert.Zero(t, c.Register(mode1)&restart)
}

func TestExternalClockSticks(t *testing.T) {
	c := awake(t)
	require.NoError(t, c.Tx(0, []byte{mode1, autoInc | extClk}, nil))
	require.NoError(t, c.Tx(0, []byte{mode1, autoInc}, nil))
	assert.NotZero(t, c.Register(mode1)&extClk)
	c.SoftwareReset()
	assert.Equal(t, byte(0x11), c.Register(mode1))
}

func TestAddresses(t *testing.T) {
	c := New(0x41, 25_000_000)
	assert.True(t, c.Answers(0x41))
	assert.True(t, c.Answers(0x70), "All Call is on after power-up")
	assert.False(t, c.Answers(0x40))
	assert.False(t, c.Answers(0x71))
	require.NoError(t, c.Tx(0, []byte{mode1, sleep | sub1}, nil))
	assert.False(t, c.Answers(0x70))
	assert.True(t, c.Answers(0x71), "sub-address 1 is E2h")
	c.SetPower(false)
	assert.False(t, c.Answers(0x41))
}

func TestReservedAndTestRegisters(t *testing.T) {
	c := New(0x40, 25_000_000)
	assert.ErrorIs(t, c.Tx(0, []byte{0x50, 1}, nil), syscall.ENXIO)
	require.NoError(t, c.Tx(0, []byte{testMode, 1}, nil))
	assert.Len(t, c.Misuse(), 2)
	require.NoError(t, c.Tx(0, []byte{subAdr1, 0xFF}, nil))
	assert.Equal(t, byte(0xFE), c.Register(subAdr1), "the lowest bit of an address reads zero")
}

func TestBrownout(t *testing.T) {
	c := awake(t)
	require.NoError(t, c.Tx(0, []byte{led0, 0, 0, 200, 1}, nil))
	c.Brownout(preScale)
	assert.Equal(t, byte(0x1E), c.Register(preScale))
	assert.Equal(t, byte(autoInc), c.Register(mode1), "the rest is kept")
	assert.NotZero(t, c.Pulse(1*ms, 0))
	c.Brownout()
	assert.Equal(t, byte(0x11), c.Register(mode1))
	assert.Zero(t, c.Pulse(1*ms, 0))
	c.SetPower(false)
	assert.ErrorIs(t, c.Tx(0, []byte{0}, nil), syscall.ENXIO)
	c.SoftwareReset()
	c.SetPower(true)
	c.SetPower(true)
	assert.Equal(t, 3, c.Resets())
}
