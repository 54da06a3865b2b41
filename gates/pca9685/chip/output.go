package chip

import "time"

// SetOE sets the OE pin: high takes the pulses off all outputs, whatever the registers say.
func (c *Chip) SetOE(high bool) { c.disable = high }

// counts are a channel's ON and OFF with their full bits.
func (c *Chip) counts(ch int) (on, off int, fullOn, fullOff bool) {
	r := c.reg[led0+4*ch : led0+4*ch+4]
	on = int(r[0]) | int(r[1]&0x0F)<<8
	off = int(r[2]) | int(r[3]&0x0F)<<8
	return on, off, r[1]&full != 0, r[3]&full != 0
}

func (c *Chip) running() bool {
	for ch := range Channels {
		if _, _, _, off := c.counts(ch); !off {
			return true
		}
	}
	return false
}

// Period is the time from pulse to pulse.
func (c *Chip) Period() time.Duration { return c.ticks(4096) }

// ticks is the length of n counts by this chip's own oscillator (section 7.3.5).
func (c *Chip) ticks(n int) time.Duration {
	return time.Duration(int64(n) * (int64(c.reg[preScale]) + 1) * int64(time.Second) / c.osc)
}

// Pulse is the width of the pulses that a servo on the channel sees now: zero for none, the whole period for
// a line that stays high.
func (c *Chip) Pulse(now time.Duration, ch int) time.Duration {
	if !c.powered || c.disable || c.resting || c.clock || c.reg[mode1]&sleep != 0 || now < c.awake {
		return 0
	}
	on, off, fullOn, fullOff := c.counts(ch)
	var high int
	switch {
	case fullOff: // beats full on (section 7.3.3)
		high = 0
	case fullOn:
		high = 4096
	case on == off:
		c.note("channel %d has equal ON and OFF", ch)
		high = 0
	default:
		high = (off - on + 4096) % 4096
	}
	if c.reg[mode2]&invert != 0 {
		high = 4096 - high
	}
	return c.ticks(high)
}
