//go:build amd64 || arm64

package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"ductwarden/controller/bus/posing"
	pulses "ductwarden/gates/pca9685/chip"
)

func TestOscillatorFromAMeter(t *testing.T) {
	code, out, errs := spoken(t, t.Context(), "oscillator", "pca9685@0x40/15", "--pulses", "51.9 Hz")
	assert.Equal(t, exitDone, code, errs)
	assert.Contains(t, out, "- {chip: pca9685@0x40, oscillator: 25.94 MHz}") // 51.9 Hz x 4096 x 122
	code, _, errs = spoken(t, t.Context(), "oscillator", "pca9685@0x40/15", "--pulses", "500 Hz")
	assert.Equal(t, exitNo, code)
	assert.Contains(t, errs, "50 pulses a second are expected")
	for _, args := range [][]string{{"pca9685@0x40/15"}, {"pca9685@0x40", "--line", "GPIO5"}, {"pca9685@0x40/99", "--pulses", "50 Hz"}, {"pca9685@0x40/15", "--pulses", "fast"}} {
		code, _, _ = spoken(t, t.Context(), append([]string{"oscillator"}, args...)...)
		assert.Equal(t, exitUsage, code, args)
	}
}

// The board's own pulses, as its model makes them, come to the line.
func TestOscillatorFromItsPulses(t *testing.T) {
	files := posing.Start(t)
	alone(t)
	wires, pins, board := posing.NewBus(), posing.NewLines("posing", "GPIO", 32), pulses.New(0x40, 26_300_000)
	wires.Attach(0x40, board)
	done := make(chan struct{})
	t.Cleanup(func() { <-done })
	go func() {
		defer close(done)
		next := time.Now()
		for t.Context().Err() == nil {
			var period time.Duration
			wires.Do(func(now time.Duration) {
				if board.Pulse(now, 15) > 0 {
					period = board.Period()
				}
			})
			if period == 0 {
				next = time.Now()
				time.Sleep(time.Millisecond)
				continue
			}
			next = next.Add(period)
			time.Sleep(time.Until(next))
			pins.Drive(5, true)
			pins.Drive(5, false)
		}
	}()
	code, out, errs := spoken(t, t.Context(), "oscillator", "pca9685@0x40/15", "--line", "GPIO5", "--bus", files.I2C("i2c-93", wires), "--lines", files.Lines("gpiochip93", pins))
	assert.Equal(t, exitDone, code, errs)
	assert.Contains(t, out, "its clock runs at 26.") // a test's own timing is no better than this
	assert.Zero(t, func() (w time.Duration) { wires.Do(func(now time.Duration) { w = board.Pulse(now, 15) }); return }(), "the output rests")
}
