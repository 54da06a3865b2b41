package pca9685

import (
	"fmt"
	"time"
)

// Bounds of an oscillator, Hz: 23 to 27 MHz were measured on boards, wider than any.
const (
	SlowestOscillator = 20_000_000
	FastestOscillator = 30_000_000
)

// OscillatorOf is the frequency of the board's own oscillator in Hz, from the time from one pulse to the next as it
// was measured on an output while this board was set up. The error says that the time cannot be that of this board.
func (b *Board) OscillatorOf(period time.Duration) (int64, error) {
	if period <= 0 {
		return 0, fmt.Errorf("%v: a time of %v from pulse to pulse cannot be", b, period)
	}
	hz := (4096*(int64(b.prescale)+1)*int64(time.Second) + int64(period)/2) / int64(period)
	if hz < SlowestOscillator || hz > FastestOscillator {
		return 0, fmt.Errorf("%v: %v from pulse to pulse would be an oscillator of %.1f MHz: measure on an output of this board, %d pulses a second are expected", b, period, float64(hz)/1e6, b.set.Rate)
	}
	return hz, nil
}
