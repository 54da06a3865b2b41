package ads1115

import (
	"fmt"
	"time"

	"ductwarden/current"
)

// Clamp describes a current clamp on a channel.
type Clamp = current.Clamp

// Channel is one channel of a chip with a clamp on it. It is a current.Meter; polling it polls the chip.
type Channel struct {
	current.Input
	chip    *Chip
	input   Input
	full    Range
	burstAt time.Duration
	seenAt  time.Duration
}

// Clamp adds a channel with a current clamp.
func (c *Chip) Clamp(in Input, full Range, clamp Clamp) (*Channel, error) {
	s, err := settings(clamp.WithDefaults(), in, full)
	var made current.Input
	if err == nil {
		made, err = current.ClampInput(s, full.step())
	}
	return c.add(&Channel{Input: made, chip: c, input: in, full: full}, err)
}

// settings are those of the detection. A single-ended clamp swings about its bias; one further from it than a tenth
// of the supply means an open or a shorted input.
func settings(k Clamp, in Input, full Range) (current.Settings, error) {
	s, err := k.Settings(full.step())
	s.Period, s.Shared, s.Flat = samplePeriod, true, 2*time.Second
	s.Low, s.High = -32768, 32767
	bias := k.Bias
	if in.Differential() {
		bias = 0
	} else {
		s.Low, s.High = 0, current.Sample(min(32767, full.codes(k.Supply)))
	}
	s.BiasLow, s.BiasHigh = current.Sample(full.codes(bias-k.Supply/10)), current.Sample(full.codes(bias+k.Supply/10))
	return s, err
}

// Voltage adds a channel with a slow voltage on it, such as a pressure transducer's. low and high bound what is
// plausible, in microvolts.
func (c *Chip) Voltage(in Input, full Range, low, high int64) (*Channel, error) {
	made, err := current.VoltageInput(current.LevelSettings{
		Low: current.Sample(full.codes(low)), High: current.Sample(full.codes(high)),
		Late: 3 * levelEvery,
	}, full.step())
	return c.add(&Channel{Input: made, chip: c, input: in, full: full}, err)
}

func (c *Chip) add(ch *Channel, err error) (*Channel, error) {
	if err != nil {
		return nil, fmt.Errorf("%v input %v: %w", c, ch.input, err)
	}
	for _, other := range c.channels {
		if other.input.signal() == ch.input.signal() {
			return nil, fmt.Errorf("%v input %v: it is in use already", c, ch.input)
		}
	}
	c.channels = append(c.channels, ch)
	return ch, nil
}

// Poll polls the chip.
func (ch *Channel) Poll(now time.Duration) (time.Duration, error) { return ch.chip.Poll(now) }

// String names chip and input, for example "ads1115@0x48/0".
func (ch *Channel) String() string { return fmt.Sprintf("%v/%v", ch.chip, ch.input) }

// take takes one conversion.
func (ch *Channel) take(at time.Duration, code int16) {
	ch.Add(at, current.Sample(code))
	ch.seenAt = at
}

func (ch *Channel) stay() bool { return ch.Detector() != nil && ch.Detector().Stay() }

func (ch *Channel) wantsBurst(now time.Duration) bool {
	return ch.Belief() == current.Running && now-ch.burstAt >= burstEvery
}

// wantsVisit reports whether it is the channel's turn: a slow voltage waits.
func (ch *Channel) wantsVisit(now time.Duration) bool {
	return ch.Detector() != nil || now-ch.seenAt >= levelEvery
}

func (ch *Channel) leave() {
	if ch.Detector() != nil {
		ch.Detector().Leave()
	}
}
