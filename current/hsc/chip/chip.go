// Package chip is a model of an HSC or SSC pressure transducer on I2C: what it answers to a read, stale data and its own
// diagnosis among it. Drivers are tested against it and the simulated shop is built of it. Not for use by several
// goroutines at once.
package chip

import (
	"errors"
	"math"
	"time"
)

// ErrNoAnswer is what a transfer to an absent or unpowered chip returns.
var ErrNoAnswer = errors.New("no acknowledge")

// Chip is one transducer. Its output goes from 10 to 90 % of 14 bits over its range (transfer function A).
type Chip struct {
	Pressure        func(now time.Duration) float64 // Pa
	Lowest, Highest float64                         // Pa: its range
	Dead, Sick      bool                            // without supply; it reports a fault of its own
	Stuck           bool                            // it measures no more and answers with old data

	last  uint16
	at    time.Duration
	known bool
}

const cycle = time.Millisecond // between two measurements, about

// Tx answers a read; there is nothing to be written.
func (c *Chip) Tx(now time.Duration, w, r []byte) error {
	if c.Dead || len(w) > 0 {
		return ErrNoAnswer
	}
	status := uint16(0)
	switch {
	case c.known && (c.Stuck || now-c.at < cycle):
		status = 2
	default:
		share := 0.1 + 0.8*(c.Pressure(now)-c.Lowest)/(c.Highest-c.Lowest)
		c.last = uint16(math.Round(min(max(share, 0), 1) * 0x3fff))
		c.at, c.known = now, true
	}
	if c.Sick {
		status = 3
	}
	word := status<<14 | c.last
	for i := range r {
		switch i {
		case 0:
			r[i] = byte(word >> 8)
		case 1:
			r[i] = byte(word)
		case 2:
			r[i] = 0x60 // 25 °C, in the upper 11 bits of the second word
		default:
			r[i] = 0
		}
	}
	return nil
}
