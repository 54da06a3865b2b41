package bus

import (
	"errors"
	"fmt"
	"sync"
	"syscall"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
)

// maxTransfer is the longest message in bytes: a servo board's 16 channels in one write are 65.
const maxTransfer = 256

// Settings of an I2C bus. The zero value is right for servo boards and converters.
type Settings struct {
	// Timeout is the adapter's longest wait for one transfer; the kernel counts in 10 ms. Default 50 ms: a
	// transfer of 66 bytes takes 12 ms at the slowest clock seen on small boards (50 kHz). The kernel's own
	// default is 1 s, which would hold every gate for as long.
	Timeout time.Duration
	// NoiseTries is how often a garbled transfer is tried in all. Default 3.
	NoiseTries int
	// AnswerTries is how often an unanswered transfer is tried in all. Default 2: a servo's start may swallow
	// one address byte.
	AnswerTries int
	// Changed is told of each chip lost or found, on the goroutine of the transfer; it must not block. It may
	// be nil.
	Changed func(addr uint16, c Change)
}

func (s Settings) withDefaults() Settings {
	if s.Timeout <= 0 {
		s.Timeout = 50 * time.Millisecond
	}
	if s.NoiseTries <= 0 {
		s.NoiseTries = 3
	}
	if s.AnswerTries <= 0 {
		s.AnswerTries = 2
	}
	return s
}

// adapter is the system's side of a bus. It returns the kernel's numbers, unwrapped.
type adapter interface {
	transfer(addr uint16, w, r []byte) error
	// taken reports whether a driver of the kernel has the address.
	taken(addr uint16) bool
	close() error
}

// I2C is one I2C bus and its only owner. Tx may be called from several goroutines, which then wait for one
// another; the program calls it from one.
type I2C struct {
	name  string
	set   Settings
	start time.Time

	mu     sync.Mutex // held through a transfer
	wire   adapter
	chips  [128]chip
	stuck  Presence // the bus as a whole
	closed bool

	count counters
}

// chip is what the bus remembers of one address.
type chip struct {
	Presence
	last *Error // of the latest failure; handed out again while the chip rests, so that resting allocates nothing
}

var _ i2c.BusCloser = (*I2C)(nil)

// OpenI2C opens a bus by its device file, "/dev/i2c-1", bounds its waits, and takes it for this program alone.
// The error is one sentence with the next step.
func OpenI2C(path string, s Settings) (*I2C, error) {
	s = s.withDefaults()
	w, err := openAdapter(path, s)
	if err != nil {
		return nil, err
	}
	return newI2C(path, w, s), nil
}

func newI2C(name string, w adapter, s Settings) *I2C {
	return &I2C{name: name, wire: w, set: s, start: time.Now()}
}

// String is the bus as it was opened.
func (b *I2C) String() string { return b.name }

// SetSpeed always fails: on Linux the clock belongs to the board's boot configuration. MeasureSpeed tells
// what it is.
func (b *I2C) SetSpeed(physic.Frequency) error {
	return fmt.Errorf("%s: the clock of an I2C bus is set where the board's boot configuration is, not by a program", b.name)
}

var errClosed = errors.New("the bus was closed by this program")

// Tx writes w to the chip and then reads r from it, either of which may be empty, as one transfer. Both are
// copied, so they may live anywhere. It waits at most the adapter's time-out for each try. A chip that has
// been lost, and a bus that is stuck, are tried only when their rest is over; until then the last error comes
// back at once.
func (b *I2C) Tx(addr uint16, w, r []byte) error {
	if addr > 0x7f {
		return fmt.Errorf("%s: address 0x%x is beyond 0x7f; write the chip's 7-bit address", b.name, addr)
	}
	if len(w) > maxTransfer || len(r) > maxTransfer {
		return fmt.Errorf("%s 0x%02x: %d bytes out and %d in are more than the %d of one transfer", b.name, addr, len(w), len(r), maxTransfer)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	c := &b.chips[addr]
	now := time.Since(b.start)
	if !b.stuck.Due(now) || !c.Due(now) {
		b.count.refused.Add(1)
		if c.last == nil {
			c.last = &Error{Bus: b.name, Addr: addr, Fault: Stuck, Err: syscall.ETIMEDOUT}
		}
		return c.last
	}
	tries, err := b.try(addr, w, r)
	f := FaultOf(err)
	b.note(addr, c, time.Since(b.start), f)
	if err == nil {
		return nil
	}
	if c.last == nil || c.last.Err != err || c.last.Tries != tries {
		c.last = &Error{Bus: b.name, Addr: addr, Fault: f, Tries: tries, Err: err}
	}
	return c.last
}

// try makes the transfer, again where the kind of fault says that it may help.
func (b *I2C) try(addr uint16, w, r []byte) (tries int, err error) {
	if b.closed {
		return 0, errClosed
	}
	for tries = 1; ; tries++ {
		began := time.Now()
		err := b.wire.transfer(addr, w, r)
		took := time.Since(began)
		f := FaultOf(err)
		b.count.transfer(f, took, tries > 1)
		most := 1
		switch f {
		case Noise:
			most = b.set.NoiseTries
		case NoAnswer:
			most = b.set.AnswerTries
		}
		// A try that used half of the time-out is not repeated: the wait would no longer be bounded.
		if tries >= most || took > b.set.Timeout/2 {
			return tries, err
		}
	}
}

// note keeps the presence of the chip and of the bus. An unanswered address proves that the bus works.
func (b *I2C) note(addr uint16, c *chip, now time.Duration, f Fault) {
	if f == Stuck || f == Gone {
		b.stuck.Note(now, f)
	} else {
		b.stuck.Note(now, NoFault)
	}
	if ch := c.Note(now, f); ch != Unchanged && b.set.Changed != nil {
		b.set.Changed(addr, ch)
	}
	if f == NoFault {
		c.last = nil
	}
}

// Close gives the bus back. Later transfers fail.
func (b *I2C) Close() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.closed {
		return nil
	}
	b.closed = true
	return b.wire.close()
}

// errUnsupported is what an adapter answers to a transfer that it has no way to make.
const errUnsupported = syscall.EOPNOTSUPP
