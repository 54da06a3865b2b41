package bus

import (
	"errors"
	"fmt"
	"syscall"
)

// Fault is the kind of a failed transfer: what to do next depends on it, not on the number that the kernel gave.
type Fault uint8

// The kinds of fault. Which number means which is in the kernel's Documentation/i2c/fault-codes.rst; several
// adapters answer EREMOTEIO where the list says ENXIO.
const (
	NoFault  Fault = iota
	NoAnswer       // nothing acknowledged the address: no power, no wire, wrong address
	Noise          // the transfer was garbled or lost to another: worth trying again at once
	Stuck          // the bus did not come free in time: each further try costs the whole time-out
	Gone           // the adapter itself has left (unplugged, driver unloaded)
	Refused        // the kernel cannot or may not do this transfer; trying again is no use
)

// String is the kind in plain words.
func (f Fault) String() string {
	switch f {
	case NoFault:
		return "none"
	case NoAnswer:
		return "no answer"
	case Noise:
		return "noise"
	case Stuck:
		return "stuck"
	case Gone:
		return "gone"
	default:
		return "refused"
	}
}

// FaultOf tells the kind of an error that came from a bus; NoFault for nil, Refused for an error of any other
// origin.
func FaultOf(err error) Fault {
	if err == nil {
		return NoFault
	}
	var e *Error
	if errors.As(err, &e) {
		return e.Fault
	}
	var n syscall.Errno
	if !errors.As(err, &n) {
		return Refused
	}
	switch n {
	case syscall.ENXIO, errnoRemoteIO:
		return NoAnswer
	case syscall.EAGAIN, syscall.EIO, syscall.EPROTO, syscall.EINTR, syscall.EBADMSG:
		return Noise
	case syscall.ETIMEDOUT, syscall.EBUSY:
		return Stuck
	case syscall.ENODEV, syscall.EBADF, syscall.ESHUTDOWN:
		return Gone
	default:
		return Refused
	}
}

// Error is a failed transfer. It unwraps to the kernel's number, so errors.Is(err, syscall.ENXIO) holds.
type Error struct {
	Bus   string // as it was opened, "/dev/i2c-1"
	Addr  uint16 // of the chip
	Fault Fault  // the kind
	Tries int    // how often it was tried in this transfer
	Err   error  // the kernel's number
}

// Error is one sentence: where, what, the likely cause and the next step.
func (e *Error) Error() string {
	return fmt.Sprintf("%s 0x%02x: %s (%v): %s", e.Bus, e.Addr, e.what(), e.Err, e.next())
}

// Unwrap gives the kernel's number.
func (e *Error) Unwrap() error { return e.Err }

func (e *Error) what() string {
	switch e.Fault {
	case NoAnswer:
		return "no chip answers at this address"
	case Noise:
		return "the transfer was garbled"
	case Stuck:
		return "the bus is stuck"
	case Gone:
		return "the bus has gone"
	default:
		return "the kernel refuses the transfer"
	}
}

func (e *Error) next() string {
	switch e.Fault {
	case NoAnswer:
		return "check the board's supply, its plug, and its address jumpers against the shop file"
	case Noise:
		return "shorten or twist the bus wires, keep them away from motor leads, and check the pull-ups"
	case Stuck:
		return "a board or a wire holds SDA or SCL low; switch the boards' supply off and on, then unplug them one by one"
	case Gone:
		return "plug the adapter in again or load its driver, then restart"
	default:
		return "check that the bus is an I2C bus of this computer and that the chip's transfers suit it"
	}
}
