package bus

import (
	"fmt"
	"sync/atomic"
	"time"

	"periph.io/x/conn/v3/physic"
)

// Stats counts what a bus did since it was opened.
type Stats struct {
	Transfers uint64        // tries, good or not
	Again     uint64        // of these, repeats
	NoAnswer  uint64        // tries that nothing acknowledged
	Noise     uint64        // garbled tries
	Stuck     uint64        // tries that ran into the adapter's time-out
	Other     uint64        // tries that failed otherwise
	Resting   uint64        // transfers not tried because the chip or the bus rests
	Busy      time.Duration // time spent in transfers
	Longest   time.Duration // the longest try
}

type counters struct {
	transfers, again, noAnswer, noise, stuck, other, refused atomic.Uint64
	busy, longest                                            atomic.Int64
}

func (c *counters) transfer(f Fault, took time.Duration, again bool) {
	c.transfers.Add(1)
	if again {
		c.again.Add(1)
	}
	switch f {
	case NoFault:
	case NoAnswer:
		c.noAnswer.Add(1)
	case Noise:
		c.noise.Add(1)
	case Stuck:
		c.stuck.Add(1)
	default:
		c.other.Add(1)
	}
	c.busy.Add(int64(took))
	if int64(took) > c.longest.Load() {
		c.longest.Store(int64(took)) // one owner: nobody else stores
	}
}

// Stats may be called from any goroutine at any time, also while a transfer hangs.
func (b *I2C) Stats() Stats {
	c := &b.count
	return Stats{
		Transfers: c.transfers.Load(), Again: c.again.Load(), NoAnswer: c.noAnswer.Load(), Noise: c.noise.Load(),
		Stuck: c.stuck.Load(), Other: c.other.Load(), Resting: c.refused.Load(),
		Busy: time.Duration(c.busy.Load()), Longest: time.Duration(c.longest.Load()),
	}
}

// Bits on the wire for a read of n bytes without a register pointer: start, nine for the address, nine for
// each byte (eight and its acknowledge), stop (UM10204 3.1).
func readBits(n int) int { return 1 + 9 + 9*n + 1 }

// MeasureSpeed reads from a chip that answers at addr, short and long in turn, and returns the effective
// clock: the difference in bits over the difference in time, so that the system's own share of each transfer
// drops out. The shortest of each is taken, since anything that disturbs only lengthens. Reads change nothing
// in a servo board or a converter. It takes about rounds*(3+0.3) ms at 100 kHz; 0 rounds means 8.
func (b *I2C) MeasureSpeed(addr uint16, rounds int) (physic.Frequency, error) {
	const short, long = 1, 32
	if rounds <= 0 {
		rounds = 8
	}
	var buf [long]byte
	best := func(n int, so time.Duration) (time.Duration, error) {
		began := time.Now()
		if err := b.Tx(addr, nil, buf[:n]); err != nil {
			return so, fmt.Errorf("the speed of the bus was not measured: %w", err)
		}
		return min(so, time.Since(began)), nil
	}
	s, l := time.Hour, time.Hour
	for range rounds {
		var err error
		if s, err = best(short, s); err != nil {
			return 0, err
		}
		if l, err = best(long, l); err != nil {
			return 0, err
		}
	}
	if l <= s {
		return 0, fmt.Errorf("%s 0x%02x: the speed of the bus was not measured: a long read was no slower than a short one", b.name, addr)
	}
	bits := int64(readBits(long) - readBits(short))
	return physic.Frequency(bits * int64(time.Second) / int64(l-s) * int64(physic.Hertz)), nil
}
