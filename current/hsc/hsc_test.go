package hsc_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"

	"ductwarden/current/hsc"
	"ductwarden/current/hsc/chip"
)

// board is a bus with one transducer, in virtual time.
type board struct {
	now  time.Duration
	chip *chip.Chip
	tx   int
}

func (b *board) String() string                  { return "bus" }
func (b *board) SetSpeed(physic.Frequency) error { return nil }
func (b *board) Tx(addr uint16, w, r []byte) error {
	b.tx++
	if addr != 0x28 {
		return chip.ErrNoAnswer
	}
	return b.chip.Tx(b.now, w, r)
}

func (b *board) run(t *testing.T, c *hsc.Chip, d time.Duration) {
	t.Helper()
	for end := b.now + d; b.now < end; {
		next, err := c.Poll(b.now)
		require.NoError(t, err)
		require.Greater(t, next, b.now)
		b.now = min(next, end)
	}
}

func made(t *testing.T, pressure func(time.Duration) float64) (*board, *hsc.Chip) {
	t.Helper()
	b := &board{now: time.Second, chip: &chip.Chip{Pressure: pressure, Lowest: -2500, Highest: 2500}}
	c, err := hsc.New(b, 0x28, -2500, 2500)
	require.NoError(t, err)
	return b, c
}

// The transfer function by the kernel's figures for a ±2500 Pa part (25 mbar, hsc030pa): 1638 is the lowest pressure, 14745
// the highest, the middle none.
func TestTransferFunction(t *testing.T) {
	for output, want := range map[uint16]float64{1638: -2500, 14745: 2500, 8191: -0.19, 9830: 625} {
		raw := answers{byte(output >> 8), byte(output)}
		c, err := hsc.New(raw, 0x28, -2500, 2500)
		require.NoError(t, err)
		_, err = c.Poll(time.Second)
		require.NoError(t, err)
		got, ok := c.Pascals()
		assert.True(t, ok)
		assert.InDelta(t, want, got, 0.5, "output %d", output)
	}
}

// answers is a bus on which everything answers the same.
type answers [2]byte

func (answers) String() string                  { return "bus" }
func (answers) SetSpeed(physic.Frequency) error { return nil }
func (a answers) Tx(_ uint16, _, r []byte) error {
	copy(r, a[:])
	return nil
}

func TestPressureFollows(t *testing.T) {
	pa := 640.0
	b, c := made(t, func(time.Duration) float64 { return pa })
	_, ok := c.Pascals()
	assert.False(t, ok, "nothing was read yet")
	b.run(t, c, time.Second)
	got, ok := c.Pascals()
	assert.True(t, ok)
	assert.InDelta(t, 640, got, 1)
	pa = -120
	b.run(t, c, time.Second)
	got, _ = c.Pascals()
	assert.InDelta(t, -120, got, 1)
	was := b.tx
	b.run(t, c, 10*time.Second)
	assert.InDelta(t, 40, b.tx-was, 2, "reads in ten seconds")
	assert.Equal(t, "hsc@0x28", c.String())
}

// Whatever it says of itself is told, nothing of it is taken for a pressure, and it is found again by itself.
func TestFaultsAreToldAndPass(t *testing.T) {
	for name, of := range map[string]struct {
		break_ func(b *board)
		want   error
	}{
		"dead":   {func(b *board) { b.chip.Dead = true }, chip.ErrNoAnswer},
		"sick":   {func(b *board) { b.chip.Sick = true }, hsc.ErrSick},
		"stuck":  {func(b *board) { b.chip.Stuck = true }, hsc.ErrStuck},
		"beyond": {func(b *board) { b.chip.Pressure = func(time.Duration) float64 { return 4000 } }, hsc.ErrBeyond},
	} {
		t.Run(name, func(t *testing.T) {
			sound := func(time.Duration) float64 { return 500 }
			b, c := made(t, sound)
			b.run(t, c, time.Second)
			require.NoError(t, c.Err())
			of.break_(b)
			b.run(t, c, 2*time.Second)
			_, ok := c.Pascals()
			assert.False(t, ok)
			assert.ErrorIs(t, c.Err(), of.want)
			was := b.tx
			b.run(t, c, 30*time.Second)
			assert.Less(t, b.tx-was, 20, "it is tried with growing pauses")
			*b.chip = chip.Chip{Pressure: sound, Lowest: -2500, Highest: 2500}
			b.run(t, c, 6*time.Second)
			got, ok := c.Pascals()
			assert.True(t, ok)
			assert.InDelta(t, 500, got, 1)
			assert.NoError(t, c.Err())
		})
	}
}

// A single noise on the bus is no fault.
func TestOneErrorIsNothing(t *testing.T) {
	b, c := made(t, func(time.Duration) float64 { return 500 })
	b.run(t, c, time.Second)
	b.chip.Dead = true
	b.run(t, c, 150*time.Millisecond)
	b.chip.Dead = false
	assert.NoError(t, c.Err())
	b.run(t, c, time.Second)
	_, ok := c.Pascals()
	assert.True(t, ok)
}

// A chip that nobody polls any more has no pressure.
func TestOldReadingsAreNotBelieved(t *testing.T) {
	b, c := made(t, func(time.Duration) float64 { return 500 })
	b.run(t, c, time.Second)
	b.chip.Dead = true
	b.run(t, c, 700*time.Millisecond)
	_, ok := c.Pascals()
	assert.False(t, ok)
}

func TestRefused(t *testing.T) {
	_, err := hsc.New(answers{}, 0x48, 0, 1000)
	assert.EqualError(t, err, "hsc: address 0x48: the transducer is driven at 0x28 to 0x3f, by its part number")
	_, err = hsc.New(answers{}, 0x28, 1000, 0)
	assert.ErrorContains(t, err, "the highest is to be above the lowest")
}
