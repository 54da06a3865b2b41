// Package hsc reads differential pressure transducers of the HSC and SSC series on I2C. Such a chip measures by itself,
// about a thousand times a second, and answers a read with two status bits and 14 bits of pressure, of which 10 to 90 %
// span its range (transfer function A, the common one).
//
// Sources: the maker's technical note on I2C communications (TN 008201-3, read in secondary copies), and the Linux kernel's
// driver hsc030pa for the same parts: status in the two upper bits, output 1638 to 14745 of 16384.
package hsc

import (
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"
)

const (
	readEvery = 250 * time.Millisecond
	late      = 3 * readEvery
	firstWait = 100 * time.Millisecond
	longWait  = 5 * time.Second
	lostAfter = 3 // errors

	outputLow  = 1638 // 10 % of 2^14
	outputHigh = 14745
	// A reading is believed a little past the ends of its range, where a sound chip can still be (own choice: 5 and 95 %
	// of 2^14). Beyond that the bridge is open, shorted or overloaded.
	railLow, railHigh = 819, 15565
)

// What a chip says of itself.
var (
	ErrSick    = errors.New("the transducer reports a fault of its own: its supply, or it has seen too much pressure; change it")
	ErrStuck   = errors.New("the transducer answers with old data only: take its supply away for a moment, or change it")
	ErrCommand = errors.New("the transducer is in its maker's programming mode: take its supply away for a moment")
	ErrBeyond  = errors.New("the pressure is beyond the transducer's range: see lowest and highest in the shop file, and its hoses")
)

// Chip is one transducer. One goroutine, its bus's, calls Poll; Pascals is for the same.
type Chip struct {
	bus             i2c.Bus
	addr            uint16
	lowest, highest float64 // Pa

	due  time.Duration
	wait time.Duration
	good time.Duration // of the newest reading
	now  time.Duration
	pa   float64
	has  bool
	errs int
	old  int // reads on end with stale data
	err  error
	r    [2]byte
}

// New makes a driver for a chip whose range goes from lowest to highest, in Pa, as its part number says.
func New(bus i2c.Bus, addr uint16, lowest, highest float64) (*Chip, error) {
	if addr < 0x28 || addr > 0x3f {
		return nil, fmt.Errorf("hsc: address %#02x: the transducer is driven at 0x28 to 0x3f, by its part number", addr)
	}
	if highest <= lowest {
		return nil, fmt.Errorf("hsc@%#02x: a range from %g to %g Pa: the highest is to be above the lowest", addr, lowest, highest)
	}
	return &Chip{bus: bus, addr: addr, lowest: lowest, highest: highest, wait: firstWait}, nil
}

// String names the chip, for example "hsc@0x28".
func (c *Chip) String() string { return fmt.Sprintf("hsc@%#02x", c.addr) }

// Err says why there is no reading; nil while there is one.
func (c *Chip) Err() error { return c.err }

// Pascals is the newest pressure, and whether it can be believed.
func (c *Chip) Pascals() (float64, bool) {
	return c.pa, c.has && c.err == nil && c.now-c.good <= late
}

// Poll reads when it is time and says when it wants to be called again. An error is kept and comes back with Err: a chip
// that is not there is tried with growing pauses.
func (c *Chip) Poll(now time.Duration) (time.Duration, error) {
	c.now = now
	if now < c.due {
		return c.due, nil
	}
	if err := c.read(now); err != nil {
		c.errs++
		if c.errs >= lostAfter || !c.has {
			c.err = fmt.Errorf("%v: %w", c, err)
			c.due, c.wait = now+c.wait, min(2*c.wait, longWait)
			return c.due, nil
		}
		c.due = now + firstWait
		return c.due, nil
	}
	c.errs, c.err, c.wait = 0, nil, firstWait
	c.due = now + readEvery
	return c.due, nil
}

func (c *Chip) read(now time.Duration) error {
	if err := c.bus.Tx(c.addr, nil, c.r[:]); err != nil {
		return err
	}
	word := uint16(c.r[0])<<8 | uint16(c.r[1])
	output := int(word & 0x3fff)
	switch word >> 14 {
	case 1:
		return ErrCommand
	case 2: // fetched already: one is nothing, several at four a second mean that it measures no more
		if c.old++; c.old >= lostAfter || !c.has {
			return ErrStuck
		}
		return nil
	case 3:
		return ErrSick
	}
	c.old = 0
	if output < railLow || output > railHigh {
		return ErrBeyond
	}
	c.pa = c.lowest + (c.highest-c.lowest)*float64(output-outputLow)/(outputHigh-outputLow)
	c.good, c.has = now, true
	return nil
}
