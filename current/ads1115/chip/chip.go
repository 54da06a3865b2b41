// Package chip is a model of the ADS1115 at register level: pointer, config, conversions on a clock of its own,
// multiplexer, amplifier, resets. Drivers are tested against it and the simulated shop is built of it. It sleeps
// never and owns no goroutine: time comes with every transfer. Not for use by several goroutines at once.
package chip

import (
	"errors"
	"math"
	"time"
)

// Registers after power-up (TI data sheet SBAS444E).
const (
	resetConfig = 0x8583
	resetLow    = 0x8000
	resetHigh   = 0x7fff
)

// rates in conversions a second, by the DR bits.
var rates = [8]int{8, 16, 32, 64, 128, 250, 475, 860}

// fullScale in volts, by the PGA bits.
var fullScale = [8]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256}

// pair are the pins of each MUX setting; -1 is ground.
var pair = [8][2]int{{0, 1}, {0, 3}, {1, 3}, {2, 3}, {0, -1}, {1, -1}, {2, -1}, {3, -1}}

// ErrNoAnswer is what a transfer to an absent or unpowered chip returns.
var ErrNoAnswer = errors.New("no acknowledge")

// Input gives the voltage at a pin, 0 to 3, in volts against ground at a time.
type Input func(pin int, at time.Duration) float64

// Options of a model.
type Options struct {
	Supply     float64 // volts; zero means 3.3. Pins are held within ground and supply
	ClockError float64 // of the conversion rate: 0.1 is 10 % fast; the data sheet allows ±0.1
	Points     int     // points that a conversion averages over its time; zero means 4
}

// Chip is one ADS1115.
type Chip struct {
	in  Input
	opt Options

	pointer uint8
	config  uint16
	low     uint16
	high    uint16

	dead      bool
	result    int16
	converted bool
	began     time.Duration // of the conversions by the present config
	resultAt  time.Duration
	single    bool // a single conversion runs
	pending   bool // a new config waits for the running conversion's end
	next      uint16
	nextAt    time.Duration
	resets    int
}

// New makes a powered chip.
func New(in Input, opt Options) *Chip {
	if opt.Supply == 0 {
		opt.Supply = 3.3
	}
	if opt.Points == 0 {
		opt.Points = 4
	}
	c := &Chip{in: in, opt: opt}
	c.Reset()
	return c
}

// Reset puts every register to its power-up value, as a brown-out or a general-call reset does.
func (c *Chip) Reset() {
	c.pointer, c.config, c.low, c.high = 0, resetConfig, resetLow, resetHigh
	c.result, c.converted, c.single, c.pending = 0, false, false, false
	c.resets++
}

// SetPower takes the supply away or gives it back; an unpowered chip does not answer, and wakes reset.
func (c *Chip) SetPower(on bool) {
	if on && c.dead {
		c.Reset()
	}
	c.dead = !on
}

// GeneralCall is a byte written to address zero; 06h resets the chip.
func (c *Chip) GeneralCall(b byte) {
	if b == 0x06 && !c.dead {
		c.Reset()
	}
}

// Config is the config register as the chip holds it, for tests.
func (c *Chip) Config() uint16 {
	if c.pending {
		return c.next
	}
	return c.config
}

// Tx is one transfer with the chip's address: first w is written, then r is read.
func (c *Chip) Tx(now time.Duration, w, r []byte) error {
	if c.dead {
		return ErrNoAnswer
	}
	c.run(now)
	if len(w) > 0 {
		c.pointer = w[0] & 3
	}
	if len(w) >= 3 {
		c.write(now, uint16(w[1])<<8|uint16(w[2]))
	}
	if len(r) > 0 {
		v := c.read(now)
		for i := range r {
			if i%2 == 0 {
				r[i] = byte(v >> 8)
			} else {
				r[i] = byte(v)
			}
		}
	}
	return nil
}

func (c *Chip) write(now time.Duration, v uint16) {
	switch c.pointer {
	case 1:
		if c.continuous(c.config) && !c.pending { // the running conversion ends first
			c.nextAt = c.began + ((now-c.began)/c.period(c.config)+1)*c.period(c.config)
			c.next, c.pending = v, true
			return
		}
		if c.pending {
			c.next = v
			return
		}
		c.start(now, v)
	case 2:
		c.low = v
	case 3:
		c.high = v
	}
}

func (c *Chip) start(at time.Duration, v uint16) {
	c.config, c.began, c.single = v&^0x8000, at, !c.continuous(v) && v&0x8000 != 0
	c.converted = false
}

func (c *Chip) read(time.Duration) uint16 {
	switch c.pointer {
	case 0:
		return uint16(c.result)
	case 1:
		v := c.Config() &^ 0x8000
		if !c.continuous(v) && !c.single {
			v |= 0x8000
		}
		return v
	case 2:
		return c.low
	}
	return c.high
}

func (c *Chip) continuous(config uint16) bool { return config&0x0100 == 0 }

func (c *Chip) period(config uint16) time.Duration {
	return time.Duration(float64(time.Second) / (float64(rates[config>>5&7]) * (1 + c.opt.ClockError)))
}

// run brings the chip up to now: conversions that have ended, and a config that waited.
func (c *Chip) run(now time.Duration) {
	if c.pending && now >= c.nextAt {
		c.finish(c.nextAt)
		c.pending = false
		c.start(c.nextAt, c.next)
	}
	c.finish(now)
}

// finish takes the newest conversion ended by the given time.
func (c *Chip) finish(by time.Duration) {
	p := c.period(c.config)
	switch {
	case c.continuous(c.config):
		n := (by - c.began) / p
		if n < 1 {
			return
		}
		end := c.began + n*p
		if c.converted && end == c.resultAt {
			return
		}
		c.result, c.resultAt, c.converted = c.convert(end-p, p), end, true
	case c.single && by-c.began >= p:
		c.result, c.resultAt, c.single = c.convert(c.began, p), c.began+p, false
	}
}

// convert is the mean of the input over one conversion: the chip has no sample-and-hold.
func (c *Chip) convert(from, p time.Duration) int16 {
	pins := pair[c.config>>12&7]
	sum := 0.0
	for i := range c.opt.Points {
		at := from + p*time.Duration(2*i+1)/time.Duration(2*c.opt.Points)
		sum += c.volts(pins[0], at) - c.volts(pins[1], at)
	}
	code := math.Round(sum / float64(c.opt.Points) / fullScale[c.config>>9&7] * 32768)
	return int16(max(-32768, min(32767, code)))
}

func (c *Chip) volts(pin int, at time.Duration) float64 {
	if pin < 0 {
		return 0
	}
	return max(0, min(c.opt.Supply, c.in(pin, at)))
}
