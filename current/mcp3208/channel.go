package mcp3208

import (
	"fmt"
	"time"

	"periph.io/x/conn/v3/spi"

	"ductwarden/current"
)

// Clamp describes a current clamp on a channel. The supply is the chip's.
type Clamp = current.Clamp

// levelLate is how old the newest sample of a slow voltage may be.
const levelLate = 1500 * time.Millisecond

// Channel is one input with a clamp or a slow voltage on it. It is a current.Meter; polling it polls the chip.
type Channel struct {
	current.Input
	chip  *Chip
	input int
}

// Clamp adds a channel with a current clamp, input 0 to 7 against ground.
func (c *Chip) Clamp(input int, k Clamp) (*Channel, error) {
	k.Supply = c.supply
	k = k.WithDefaults()
	s, err := k.Settings(c.step())
	s.Period = period
	s.Low, s.High = 0, codes-1
	// A bias further from its place than a tenth of the supply means an open or a shorted input.
	s.BiasLow, s.BiasHigh = c.code(k.Bias-c.supply/10), c.code(k.Bias+c.supply/10)
	ch := &Channel{chip: c, input: input}
	if err == nil {
		ch.Input, err = current.ClampInput(s, c.step())
	}
	return c.add(ch, err)
}

// Voltage adds a channel with a slow voltage on it, such as a pressure transducer's. low and high bound what is
// plausible, in microvolts.
func (c *Chip) Voltage(input int, low, high int64) (*Channel, error) {
	in, err := current.VoltageInput(current.LevelSettings{Low: c.code(low), High: c.code(high), Late: levelLate}, c.step())
	return c.add(&Channel{Input: in, chip: c, input: input}, err)
}

func (c *Chip) step() current.Step { return current.Step{Microvolts: c.supply, Codes: codes} }

// code is that of a voltage in microvolts, rounded down.
func (c *Chip) code(microvolts int64) current.Sample {
	return current.Sample(microvolts * codes / c.supply)
}

func (c *Chip) add(ch *Channel, err error) (*Channel, error) {
	if ch.input < 0 || ch.input >= inputs {
		return nil, fmt.Errorf("%v: input %d: it has inputs 0 to %d", c, ch.input, inputs-1)
	}
	for _, other := range c.channels {
		if other.input == ch.input {
			return nil, fmt.Errorf("%v: the input is in use already", ch)
		}
	}
	if err != nil {
		return nil, fmt.Errorf("%v: %w", ch, err)
	}
	n := len(c.channels)
	c.channels = append(c.channels, ch)
	// start bit, single-ended, input; the result comes in the last twelve bits (DS21298, figure 6-1)
	c.w[n] = [3]byte{0x06 | byte(ch.input>>2), byte(ch.input&3) << 6, 0}
	c.packets = append(c.packets, spi.Packet{W: c.w[n][:], R: c.r[n][:]})
	return ch, nil
}

// Poll polls the chip.
func (ch *Channel) Poll(now time.Duration) (time.Duration, error) { return ch.chip.Poll(now) }

// String names chip and input, for example "mcp3208@SPI0.0/3".
func (ch *Channel) String() string { return fmt.Sprintf("%v/%d", ch.chip, ch.input) }
