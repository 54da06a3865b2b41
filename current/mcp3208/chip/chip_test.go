package chip_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"ductwarden/current/mcp3208/chip"
)

func TestFrames(t *testing.T) {
	volts := [8]float64{0, 0.4, 0.8, 1.2, 1.6, 2.0, 3.3, 5}
	c := chip.Chip{In: func(channel int, _ time.Duration) float64 { return volts[channel] }}
	read := func(w ...byte) (int, byte) {
		r := make([]byte, len(w))
		c.Tx(0, w, r)
		return int(r[1]&0x0f)<<8 | int(r[2]), r[1] & 0x10
	}
	for i, v := range volts {
		code, null := read(0x06|byte(i>>2), byte(i&3)<<6, 0)
		assert.Equal(t, min(4095, int(v/3.3*4096)), code, "input %d", i)
		assert.Zero(t, null, "the bit before the result is low")
	}
	code, _ := read(0x04, 0x40, 0) // input 1 less input 0
	assert.Equal(t, 496, code)
	code, _ = read(0x04, 0, 0) // input 0 less input 1: it ends at zero
	assert.Zero(t, code)
	c.Supply = 5
	code, _ = read(0x07, 0x80, 0)
	assert.Equal(t, 2703, code)
	r := []byte{0, 0}
	c.Tx(0, []byte{0x06, 0}, r)
	assert.Equal(t, []byte{0xff, 0xe0}, []byte{r[0], r[1] & 0xf0}, "a frame cut short answers as far as it goes")
	c.Dead = true
	code, null := read(0x06, 0, 0)
	assert.Equal(t, 4095, code, "nobody drives the line")
	assert.Equal(t, byte(0x10), null)
}
