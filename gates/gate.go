// Package gates holds what a blast gate is: its position, the evidence for it, and its motion as a small
// state machine that decides when to drive, when to stop driving and when to give up. It is pure: no clock,
// no goroutine, no chip. Drivers live in the folders below it and only drive.
package gates

import (
	"iter"
	"math/bits"
	"time"
)

// Instant is a moment in whole milliseconds of monotonic time since the program started. It is never wall
// time and never comes from a file. Zero means "none" where a field may be unset; the program's first event
// carries 1 or later.
type Instant int64

// Span is a length of time in whole milliseconds.
type Span int32

// Spans of common use.
const (
	Millisecond Span = 1
	Second      Span = 1000
	Minute           = 60 * Second
	Hour             = 60 * Minute
)

// ID numbers a gate: its place in the order of the shop file, 0 to 63.
type ID uint8

// Set is a set of gates or of machines: bit i is the thing with place i in the shop file. 64 at most.
// A set of open gates is a pattern.
type Set uint64

// Of makes a set of the given places.
func Of(places ...int) Set {
	var s Set
	for _, p := range places {
		s |= 1 << uint(p)
	}
	return s
}

// Has reports whether place i is in the set.
func (s Set) Has(i int) bool { return s>>uint(i)&1 != 0 }

// With returns the set with place i added.
func (s Set) With(i int) Set { return s | 1<<uint(i) }

// Without returns the set with place i removed.
func (s Set) Without(i int) Set { return s &^ (1 << uint(i)) }

// Len counts the members.
func (s Set) Len() int { return bits.OnesCount64(uint64(s)) }

// Empty reports whether nothing is in the set.
func (s Set) Empty() bool { return s == 0 }

// All yields the members in rising order.
func (s Set) All() iter.Seq[int] {
	return func(yield func(int) bool) {
		for r := uint64(s); r != 0; r &= r - 1 {
			if !yield(bits.TrailingZeros64(r)) {
				return
			}
		}
	}
}

// Proof is the debounced evidence of a gate's end switches.
type Proof uint8

// The evidence of end switches.
const (
	NoProof     Proof = iota // no switches fitted: a position can only be assumed from the time driven
	SeenNeither              // switches fitted, none made: between the ends, or a broken wire
	SeenOpen                 // the open switch alone is made
	SeenClosed               // the closed switch alone is made
	SeenBoth                 // a contradiction: counts as neither open nor closed
)

// Where is what is known of a gate's position.
type Where uint8

// The positions. Only OpenProved and OpenAssumed count as an open path.
const (
	WhereUnknown  Where = iota // after power-up, or moved by hand without proof
	Opening                    // driven towards open
	OpenProved                 // open by its switch
	OpenAssumed                // driven open for twice its travel time, no switch to say so
	Closing                    // driven towards closed
	ClosedProved               // closed by its switch
	ClosedAssumed              // driven closed for twice its travel time, no switch to say so
	Failed                     // did not prove its position after one more try; latched until acknowledged
)

// IsOpen reports whether the position counts as an open path for the air.
func (w Where) IsOpen() bool { return w == OpenProved || w == OpenAssumed }

// IsClosed reports whether the position counts as closed.
func (w Where) IsClosed() bool { return w == ClosedProved || w == ClosedAssumed }

// IsMoving reports whether the gate is being driven.
func (w Where) IsMoving() bool { return w == Opening || w == Closing }

// Selector says who may command a gate or a collector.
type Selector uint8

// Who may command.
const (
	Automatic Selector = iota // the program, by the rules of control
	HeldOpen                  // a person holds the gate open (the collector on), until an end that they gave
	Off                       // a person has taken it out of the automatic: the program does not move it
)

// Drive is what an actuator is asked to push right now.
type Drive int8

// The drives.
const (
	DriveClose Drive = -1 // push towards closed
	DriveNone  Drive = 0  // no power: a hand-slid gate, or one that holds by friction
	DriveOpen  Drive = +1 // push towards open
)

// Actuator moves one gate. It only drives: when to drive, stop and give up is decided by the motion machine.
// It never sleeps. It cuts its own power after its own longest run even if nobody tells it to.
type Actuator interface {
	// Drive sets the level wanted from now on. Repeating the same level is free of effect.
	// now is monotonic time since the program started.
	Drive(now time.Duration, d Drive) error
	// Poll does what is due (ends a pulse train, re-asserts a lost output) and returns when it wants to be
	// called next; zero means not until the next Drive.
	Poll(now time.Duration) (next time.Duration, err error)
	// Halt makes the actuator inert: no pulses, no power. It may be called before anything else and twice.
	Halt() error
	// String names chip and channel for messages, for example "pca9685@0x40/3".
	String() string
}
