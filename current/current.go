// Package current holds what a reading is and how it becomes a belief about a machine: idle, running or
// unknown. It is pure and works on whole numbers, so that the same samples give the same beliefs on every
// processor. Converters and contacts live in the folders below it.
package current

import "time"

// Belief is what the program believes of one machine's motor. Unknown is not idle.
type Belief uint8

// The beliefs.
const (
	Unknown Belief = iota // no fresh, plausible evidence
	Idle                  // current below its idle level, or contact open
	Running               // current above its running level, or contact closed
)

// Sample is one instantaneous value of a channel: converter codes, or milliamperes for a recorded trace.
type Sample = int32

// Health is the state of a channel, as data. A channel that says nothing of its machine (see Blind) makes the
// belief Unknown; what is merely worth telling does not.
type Health uint8

// The states of a channel.
const (
	HealthUntried Health = iota // no sample yet since the start
	Good                        // fresh and plausible
	Flat                        // the same code over and over: a frozen converter or a dead clamp
	OutOfRange                  // bias away from the middle: open or shorted input
	Clipped                     // at the converter's rail for longer than an inrush: wrong range or a scale too large; told, not blind
	Noisy                       // idle level above half of the running threshold; told, not blind
	Late                        // samples older than they may be
	Lost                        // the chip does not answer
)

// Meter turns one machine's evidence (a channel of a converter, a contact, a remote reading) into a belief.
// It never sleeps; the loop polls it on the goroutine that owns its bus.
type Meter interface {
	// Poll does what is due at now (monotonic time since the program started) and returns when it wants to
	// be called next. An error is the transport's; the meter turns it into Health itself.
	Poll(now time.Duration) (next time.Duration, err error)
	// Belief is the present belief.
	Belief() Belief
	// Health is the present state of the channel.
	Health() Health
	// RMS is the last true RMS current in milliamperes with the DC part removed, and whether there is one
	// (a contact has none).
	RMS() (milliamperes int32, ok bool)
	// String names chip and channel for messages, for example "ads1115@0x48/0".
	String() string
}
