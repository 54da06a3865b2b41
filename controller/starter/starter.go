// Package starter switches a collector's motor by what leads to its contactor: a line that must be pulsed to
// count as on, a plain line, or the two buttons of a starter that is already there. Nothing here sleeps; the
// contactor, its overload and the disconnect are a licensed electrician's work and stay in force.
//
// Each says what a program leaves behind that dies with the motor running, because outputs keep their level
// when a program ends: only the pulsed line drops out by itself.
package starter

import (
	"time"
)

// Line is an output; true is on, whatever its polarity.
type Line interface{ Set(level bool) error }

// Starter switches one collector's motor. It is used on one goroutine. Whether the motor followed is told by
// its proof, never here.
type Starter interface {
	// On asks for the motor. It must be repeated while the motor is wanted; repeating it is otherwise free of
	// effect. now is monotonic time since the program started.
	On(now time.Duration) error
	// Off asks for the motor to stop. Repeating it is free of effect, unless the last try failed.
	Off(now time.Duration) error
	// Poll does what is due and returns when it wants to be called next; zero means not until On or Off.
	Poll(now time.Duration) (next time.Duration, err error)
	// Halt switches off at once, whatever was asked. It may be called before anything else and twice. Where
	// Poll afterwards returns a time, a button is still pressed: go on polling until it returns zero.
	Halt() error
	// LeavesBehind says in a sentence what a program that dies with the motor running leaves behind.
	LeavesBehind() string
	// String names the lines for messages.
	String() string
}

// retry is when a line that could not be set is tried again.
const retry = 20 * time.Millisecond
