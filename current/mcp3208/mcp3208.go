// Package mcp3208 reads up to eight clamps and transducers through an MCP3208, a 12-bit converter on SPI, each a thousand times
// a second. It takes instantaneous samples of all its channels in one go. It never sleeps: Poll does what is due.
package mcp3208

import (
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/spi"

	"ductwarden/current"
)

const (
	inputs       = 8
	codes        = 4096
	period       = time.Millisecond
	lostErrors   = 3
	lostAfter    = 100 * time.Millisecond
	firstBackOff = 100 * time.Millisecond
	longBackOff  = 5 * time.Second
)

// ErrNoAnswer says that the converter's null bit was not low: no chip drives the line.
var ErrNoAnswer = errors.New("no converter answers: the bit before its result is not low; check its supply, its select line and MISO")

// Chip is one converter. One goroutine, its bus's, calls it.
type Chip struct {
	conn     spi.Conn
	name     string
	supply   int64
	channels []*Channel
	packets  []spi.Packet
	w, r     [inputs][3]byte

	due     time.Duration
	good    time.Duration
	errs    int
	backOff time.Duration
	lost    bool
	err     error
	fails   int
}

// New makes the driver. Supply is the reference and supply voltage in microvolts; zero means 3.3 V. Nothing is
// transferred before the first Poll. The connection must be in mode 0 or 3 with 8 bits a word, and its clock no
// faster than 1 MHz at 3.3 V (50,000 samples a second at 2.7 V and 100,000 at 5 V, Microchip DS21298).
func New(conn spi.Conn, name string, supply int64) *Chip {
	if supply == 0 {
		supply = 3_300_000
	}
	return &Chip{conn: conn, name: name, supply: supply, backOff: firstBackOff}
}

// String names the chip.
func (c *Chip) String() string { return "mcp3208@" + c.name }

// Err is the last error of the chip, wrapped; nil once it answers again.
func (c *Chip) Err() error { return c.err }

// Lost reports whether the chip is taken as lost.
func (c *Chip) Lost() bool { return c.lost }

// Failures counts the transfers that failed since the start.
func (c *Chip) Failures() int { return c.fails }

// Poll samples every channel once when due and returns when to call again.
func (c *Chip) Poll(now time.Duration) (next time.Duration, err error) {
	if len(c.channels) == 0 {
		return 0, nil
	}
	if now < c.due {
		return c.due, nil
	}
	c.due += period
	if c.due <= now { // late, or the first time: never catch up in a burst
		c.due = now + period
	}
	if err := c.read(now); err != nil {
		c.failed(now, err)
		return c.due, c.err
	}
	c.good, c.errs, c.backOff, c.lost, c.err = now, 0, firstBackOff, false, nil
	return c.due, nil
}

func (c *Chip) read(now time.Duration) error {
	if err := c.conn.TxPackets(c.packets); err != nil {
		return err
	}
	for i := range c.channels {
		if c.r[i][1]&0x10 != 0 {
			return ErrNoAnswer
		}
	}
	for i, ch := range c.channels {
		ch.Add(now, current.Sample(c.r[i][1]&0x0f)<<8|current.Sample(c.r[i][2]))
		ch.Tick(now)
	}
	return nil
}

func (c *Chip) failed(now time.Duration, err error) {
	c.fails++
	c.errs++
	c.err = fmt.Errorf("%v: %w", c, err)
	for _, ch := range c.channels {
		ch.Tick(now)
	}
	if !c.lost && c.errs < lostErrors && now-c.good <= lostAfter {
		return
	}
	c.lost = true
	for _, ch := range c.channels {
		ch.Fail(now)
	}
	c.due = now + c.backOff
	c.backOff = min(2*c.backOff, longBackOff)
}
