//go:build !linux

package loop

import "time"

// MachineClock is the BootClock of a machine that names no boots: stored starts always count as made at
// program start.
type MachineClock struct{}

// programStart stands for the boot where the machine has no clock that outlives the program.
var programStart = time.Now()

// Boot implements BootClock.
func (MachineClock) Boot() [16]byte { return [16]byte{} }

// SinceBoot implements BootClock.
func (MachineClock) SinceBoot() time.Duration { return time.Since(programStart) }
