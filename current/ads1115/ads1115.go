// Package ads1115 reads clamps and transducers through an ADS1115, a converter with four channels and one
// multiplexer. It stays on a channel for a visit of some conversions on end, never round-robin sample by sample
// (at the rates that this gives, mains aliases), runs the chip at its full rate, and stays longer where evidence
// grows. It never sleeps: Poll does what is due.
package ads1115

import (
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"
)

const (
	visitSamples = 9                      // a notice: about 10.5 ms
	longestStay  = 150 * time.Millisecond // others wait meanwhile
	burst        = 50 * time.Millisecond  // whole half-cycles at 50 and 60 Hz
	burstEvery   = 5 * time.Second        // a running channel's reading on end
	burstApart   = time.Second            // between those of different channels: others wait meanwhile
	levelEvery   = 500 * time.Millisecond // a transducer is looked at no more often
	checkEvery   = 100 * time.Millisecond // the config is read back: a chip that was reset is noticed
	checkZero    = 5 * time.Millisecond   // the same, when a clamp that swings about a bias reads zero
	lostErrors   = 3
	lostAfter    = 100 * time.Millisecond
	firstBackOff = 100 * time.Millisecond
	longBackOff  = 5 * time.Second
	tickEvery    = 20 * time.Millisecond
)

// Errors that a chip keeps, beside those of its bus.
var (
	ErrReset = errors.New("the chip was reset: its supply has dipped or something called a reset on its bus")
	ErrOther = errors.New("another chip answers at this address: its config register does not hold what was written")
)

// Chip is one converter: it owns the visits to its channels. One goroutine, its bus's, calls it.
type Chip struct {
	bus  i2c.Bus
	addr uint16

	channels []*Channel
	at       int // the channel being visited
	phase    phase
	due      time.Duration
	samples  int
	began    time.Duration // of the visit
	bursting bool
	burstAt  time.Duration // the last one's end
	pointed  bool          // the pointer stands on the conversion register

	checked  time.Duration
	good     time.Duration // the last transfer that worked
	ticked   time.Duration
	errs     int // since a conversion was last read
	backOff  time.Duration
	lost     bool
	err      error
	resets   int
	failures int
	w        [3]byte
	r        [2]byte
}

type phase uint8

const (
	phaseTurn   phase = iota // write the config of the next channel
	phaseVerify              // read it back
	phaseRead                // read conversions
)

// New makes the driver of the chip at an address, 48h to 4Bh. Nothing is transferred before the first Poll.
func New(bus i2c.Bus, addr uint16) (*Chip, error) {
	if addr < 0x48 || addr > 0x4b {
		return nil, fmt.Errorf("ads1115: address %#x: the chip can only be at 0x48 to 0x4b", addr)
	}
	return &Chip{bus: bus, addr: addr, backOff: firstBackOff}, nil
}

// String names the chip.
func (c *Chip) String() string { return fmt.Sprintf("ads1115@%#x", c.addr) }

// Err is the last error of the chip, wrapped; nil once it answers again.
func (c *Chip) Err() error { return c.err }

// Lost reports whether the chip is taken as lost.
func (c *Chip) Lost() bool { return c.lost }

// Resets counts how often the chip was found reset, and Failures its transfers that failed.
func (c *Chip) Resets() int { return c.resets }

// Failures counts the transfers that failed since the start.
func (c *Chip) Failures() int { return c.failures }

// Poll does what is due at now and returns when to call again. It may be called early and by any of the
// channels: what is not due is left.
func (c *Chip) Poll(now time.Duration) (next time.Duration, err error) {
	if len(c.channels) == 0 {
		return 0, nil
	}
	if now-c.ticked >= tickEvery {
		c.ticked = now
		for _, ch := range c.channels {
			ch.Tick(now)
		}
	}
	for now >= c.due {
		switch c.phase {
		case phaseTurn:
			err = c.turn(now)
		case phaseVerify:
			err = c.verify(now)
		default:
			err = c.read(now)
		}
		if err != nil {
			c.failed(now, err)
			return c.due, c.err
		}
	}
	return c.due, nil
}

// turn writes the config of the channel to visit.
func (c *Chip) turn(now time.Duration) error {
	v := c.config()
	c.w = [3]byte{regConfig, byte(v >> 8), byte(v)}
	if err := c.bus.Tx(c.addr, c.w[:3], nil); err != nil {
		return err
	}
	c.pointed = false
	c.samples, c.bursting = 0, false
	c.phase, c.due = phaseRead, now+settleTime
	if c.lost || now-c.checked >= checkEvery || c.checked == 0 {
		c.phase, c.due = phaseVerify, now+settleTime
	}
	return nil
}

// verify reads the config back.
func (c *Chip) verify(now time.Duration) error {
	c.w[0] = regConfig
	if err := c.bus.Tx(c.addr, c.w[:1], c.r[:]); err != nil {
		return err
	}
	c.pointed = false
	c.checked = now
	got := uint16(c.r[0])<<8 | uint16(c.r[1])
	if got&^configDone != c.config() {
		c.channels[c.at].leave()
		c.phase, c.due, c.checked = phaseTurn, now+samplePeriod, 0
		if got == configReset {
			c.resets++
			return ErrReset
		}
		return fmt.Errorf("%w (%#04x in place of %#04x)", ErrOther, got, c.config())
	}
	c.phase, c.due = phaseRead, now
	return nil
}

// read takes one conversion and decides whether the visit ends.
func (c *Chip) read(now time.Duration) error {
	var err error
	if c.pointed {
		err = c.bus.Tx(c.addr, nil, c.r[:])
	} else {
		c.w[0] = regConversion
		err = c.bus.Tx(c.addr, c.w[:1], c.r[:])
	}
	if err != nil {
		c.pointed = false
		return err
	}
	c.pointed = true
	c.good, c.errs, c.backOff, c.lost, c.err = now, 0, firstBackOff, false, nil
	ch := c.channels[c.at]
	code := int16(uint16(c.r[0])<<8 | uint16(c.r[1]))
	if code == 0 && !ch.input.Differential() && now-c.checked > checkZero {
		c.phase = phaseVerify // a chip just reset reads zero: ask before believing it
		return nil
	}
	if c.samples == 0 {
		c.began = now
		c.bursting = now-c.burstAt >= burstApart && ch.wantsBurst(now)
	}
	c.samples++
	ch.take(now, code)
	c.due = now + samplePeriod
	if c.samples >= visitSamples && len(c.channels) > 1 {
		c.due = now + stayPeriod
	}

	switch {
	case c.samples < visitSamples || len(c.channels) == 1:
	case c.bursting && now-c.began < burst:
		return c.recheck(now)
	case ch.stay() && now-c.began < longestStay:
		return c.recheck(now)
	default:
		if c.bursting {
			ch.burstAt, c.burstAt = now, now
		}
		c.leave(now)
	}
	if len(c.channels) == 1 {
		return c.recheck(now)
	}
	return nil
}

// recheck reads the config back within a long visit.
func (c *Chip) recheck(now time.Duration) error {
	if now-c.checked >= checkEvery {
		c.phase = phaseVerify
	}
	return nil
}

// leave turns to the next channel whose turn it is.
func (c *Chip) leave(now time.Duration) {
	c.channels[c.at].leave()
	for range c.channels {
		c.at = (c.at + 1) % len(c.channels)
		if c.channels[c.at].wantsVisit(now) {
			break
		}
	}
	c.phase, c.due = phaseTurn, now
}

func (c *Chip) config() uint16 {
	ch := c.channels[c.at]
	return config(ch.input, ch.full)
}

// failed counts an error and gives the chip up after a few, or when its last sample is too old.
func (c *Chip) failed(now time.Duration, err error) {
	c.failures++
	c.errs++
	c.err = fmt.Errorf("%v: %w", c, err)
	c.due = now + samplePeriod
	if !c.lost && c.errs < lostErrors && now-c.good <= lostAfter {
		return
	}
	if !c.lost {
		c.lost = true
		for _, ch := range c.channels {
			ch.leave()
		}
	}
	for _, ch := range c.channels {
		ch.Fail(now)
	}
	c.phase, c.due = phaseTurn, now+c.backOff
	c.backOff = min(2*c.backOff, longBackOff)
}
