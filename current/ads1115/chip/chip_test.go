package chip_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/current/ads1115/chip"
)

const us = time.Microsecond

// model is a chip with a voltage at each pin, in virtual time.
type model struct {
	t *testing.T
	*chip.Chip
	now  time.Duration
	pins [4]float64
	wave func(at time.Duration) float64
}

func newModel(t *testing.T, opt chip.Options) *model {
	m := &model{t: t, pins: [4]float64{1, 2, 3, 0.5}}
	m.Chip = chip.New(func(pin int, at time.Duration) float64 {
		if m.wave != nil {
			return m.wave(at)
		}
		return m.pins[pin]
	}, opt)
	return m
}

func (m *model) write(reg byte, v uint16) {
	m.t.Helper()
	require.NoError(m.t, m.Tx(m.now, []byte{reg, byte(v >> 8), byte(v)}, nil))
}

func (m *model) read(pointer ...byte) uint16 {
	m.t.Helper()
	var r [2]byte
	require.NoError(m.t, m.Tx(m.now, pointer, r[:]))
	return uint16(r[0])<<8 | uint16(r[1])
}

func TestRegistersAfterReset(t *testing.T) {
	m := newModel(t, chip.Options{})
	for reg, want := range map[byte]uint16{0: 0, 1: 0x8583, 2: 0x8000, 3: 0x7fff} {
		assert.Equal(t, want, m.read(reg), "register %d", reg)
		assert.Equal(t, want, m.read(), "the pointer is remembered")
	}
	m.write(2, 0x1234)
	m.write(3, 0x5678)
	assert.Equal(t, uint16(0x1234), m.read(2))
	assert.Equal(t, uint16(0x5678), m.read(3))
	m.write(1, 0x42e3)
	m.GeneralCall(0x04)
	assert.Equal(t, uint16(0x42e3), m.read(1))
	m.GeneralCall(0x06)
	assert.Equal(t, uint16(0x8583), m.read(1))
	assert.Equal(t, uint16(0x8000), m.read(2))
	m.write(1, 0x42e3)
	m.SetPower(false)
	require.ErrorIs(t, m.Tx(m.now, []byte{1}, make([]byte, 2)), chip.ErrNoAnswer)
	m.GeneralCall(0x06)
	m.SetPower(true)
	assert.Equal(t, uint16(0x8583), m.read(1), "it wakes reset")
}

// Conversions of each input and range: the code is the voltage over the full scale.
func TestInputsAndRanges(t *testing.T) {
	scales := []float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256}
	volts := []float64{1 - 2, 1 - 0.5, 2 - 0.5, 3 - 0.5, 1, 2, 3, 0.5}
	for mux, v := range volts {
		for pga, full := range scales {
			m := newModel(t, chip.Options{})
			m.write(1, uint16(mux)<<12|uint16(pga)<<9|0x00e3)
			m.now = 10 * time.Millisecond
			want := max(-32768, min(32767, math.Round(v/full*32768)))
			assert.Equal(t, int16(want), int16(m.read(0)), "mux %d, range %d", mux, pga)
		}
	}
	m := newModel(t, chip.Options{Supply: 3})
	m.pins = [4]float64{-1, 5, 0, 0}
	m.write(1, 0x40e3) // ±6.144 V
	m.now = 10 * time.Millisecond
	assert.Zero(t, m.read(0), "a pin is held at ground")
	m.write(1, 0x50e3)
	m.now += 10 * time.Millisecond
	assert.Equal(t, int16(16000), int16(m.read(0)), "and at the supply")
}

func TestContinuousConversionsKeepTheirClock(t *testing.T) {
	for _, off := range []float64{-0.1, 0, 0.1} {
		m := newModel(t, chip.Options{ClockError: off, Points: 1})
		count := 0
		m.wave = func(at time.Duration) float64 { return float64(at/us) * 1e-6 } // a slope: each conversion has its own code
		m.write(1, 0x42e3)
		last := m.read(0)
		for m.now < time.Second {
			m.now += 100 * us
			if v := m.read(); v != last {
				last = v
				count++
			}
		}
		assert.InDelta(t, 860*(1+off), count, 2)
	}
}

func TestNewConfigWaitsForTheRunningConversion(t *testing.T) {
	m := newModel(t, chip.Options{})
	m.write(1, 0x42e3) // pin 0, ±4.096 V, 860/s
	m.now = 3 * time.Millisecond
	require.Equal(t, int16(8000), int16(m.read(0)))
	m.write(1, 0x52e3)
	assert.Equal(t, uint16(0x52e3), m.read(1))
	m.write(1, 0x62e3) // changed again before it began
	period := time.Second / 860
	m.now = 3*period - us
	assert.Equal(t, int16(8000), int16(m.read(0)))
	m.now = 3*period + period - us
	assert.Equal(t, int16(8000), int16(m.read(0)), "the first of the new input has not ended")
	m.now = 4*period + us
	assert.Equal(t, int16(24000), int16(m.read(0)))
}

func TestSingleConversion(t *testing.T) {
	m := newModel(t, chip.Options{})
	m.write(1, 0xc3e3) // start, pin 0, single
	assert.Equal(t, uint16(0x43e3), m.read(1), "busy")
	m.now = 1100 * us
	assert.Zero(t, m.read(0))
	m.now = 1200 * us
	assert.Equal(t, int16(8000), int16(m.read(0)))
	assert.Equal(t, uint16(0xc3e3), m.read(1), "idle")
	m.pins[0] = 2
	m.now = time.Second
	assert.Equal(t, int16(8000), int16(m.read(0)), "it converts once")
	m.write(1, 0x43e3)
	m.now += time.Second
	assert.Equal(t, int16(8000), int16(m.read(0)), "and only when told")
}

// A conversion is the mean over its time: mains is attenuated by sinc(f/rate), 0.994 at 50 Hz and 860/s, 0.77 at the
// rate that the chip wakes with.
func TestConversionsAverage(t *testing.T) {
	for _, c := range []struct {
		config uint16
		rate   float64
	}{{0x42e3, 860}, {0x4283, 128}} {
		m := newModel(t, chip.Options{Points: 16})
		m.wave = func(at time.Duration) float64 { return 1.65 + math.Sin(2*math.Pi*50*at.Seconds()) }
		m.write(1, c.config)
		sum, n := 0.0, 0.0
		for m.now < 10*time.Second {
			m.now += 3137 * us // out of step with everything
			if m.now < 50*time.Millisecond {
				continue
			}
			v := float64(int16(m.read(0)))*125e-6 - 1.65
			sum += v * v
			n++
		}
		x := math.Pi * 50 / c.rate
		assert.InDelta(t, math.Sin(x)/x, math.Sqrt(2*sum/n), 0.02, "%v samples a second", c.rate)
	}
}
