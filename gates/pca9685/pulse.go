package pca9685

import (
	"errors"
	"fmt"
	"time"
)

var errVerify = errors.New("a pulse did not read back as written: check the bus wires and the board's supply")

// registers are the four bytes of a channel for an OFF count; zero is full off, which also beats a full on.
func registers(off uint16) [4]byte {
	if off == 0 {
		return [4]byte{0, 0, 0, fullOff}
	}
	return [4]byte{0, 0, byte(off), byte(off >> 8)}
}

// Period is the time from pulse to pulse, by the calibrated oscillator.
func (b *Board) Period() time.Duration { return b.width(4096) }

func (b *Board) width(ticks int64) time.Duration {
	return time.Duration(ticks * (int64(b.prescale) + 1) * int64(time.Second) / b.set.Oscillator)
}

// ticks is the count nearest to a width.
func (b *Board) ticks(w time.Duration) int64 {
	step := (int64(b.prescale) + 1) * int64(time.Second)
	return (int64(w)*b.set.Oscillator + step/2) / step
}

// SetPulse gives the channel one pulse of this width in each period, from the next period on; the board loads
// it at a pulse's end, so no pulse is cut short. It writes once and reads back, and does nothing where the
// pulse is as wanted already. The limits of a servo are the servo's affair; the board refuses only what it
// cannot do.
func (b *Board) SetPulse(channel int, width time.Duration) error {
	if channel < 0 || channel >= Channels {
		return fmt.Errorf("%v has no channel %d: its channels are 0 to %d", b, channel, Channels-1)
	}
	n := b.ticks(width)
	if n < 1 || n > 4095 {
		return fmt.Errorf("%v/%d: a pulse of %v does not fit into a period of %v", b, channel, width, b.Period())
	}
	if b.state != Works {
		return b.notUp
	}
	if err := b.put(channel, uint16(n)); err != nil {
		return err
	}
	return b.enable(true)
}

// Off ends the channel's pulses. On a board that is not up there are none to end.
func (b *Board) Off(channel int) error {
	if channel < 0 || channel >= Channels {
		return fmt.Errorf("%v has no channel %d: its channels are 0 to %d", b, channel, Channels-1)
	}
	if b.state == Untried || b.state == WakingUp || b.state == WrongChip {
		return nil
	}
	err := b.put(channel, 0)
	for ch := range b.wanted {
		if b.wanted[ch] != 0 {
			return err
		}
	}
	// No channel is to pulse: the enable line says so too, also where the bus could not.
	if e := b.enable(false); err == nil {
		err = e
	}
	return err
}

// put writes a channel and reads it back, a second time if it did not stick.
func (b *Board) put(ch int, off uint16) error {
	b.wanted[ch] = off
	if b.onChip[ch] == off {
		return nil
	}
	regs := registers(off)
	for range 2 {
		b.onChip[ch] = doubtful
		b.w[0] = byte(regLED0 + 4*ch)
		copy(b.w[1:5], regs[:])
		if err := b.bus.Tx(b.set.Addr, b.w[:5], nil); err != nil {
			return b.channelError(ch, err)
		}
		if err := b.read(byte(regLED0+4*ch), 4); err != nil {
			return b.channelError(ch, err)
		}
		if [4]byte(b.r[:4]) == regs {
			b.onChip[ch] = off
			return nil
		}
	}
	b.next = 0 // look at the whole board at once: it may have been reset
	return b.channelError(ch, errVerify)
}

func (b *Board) channelError(ch int, err error) error {
	return fmt.Errorf("%v/%d: %w", b, ch, err)
}

// Halt ends all pulses at once. It may be called before anything else and twice; the board is looked after
// as before.
func (b *Board) Halt() error {
	line := b.enable(false)
	for ch := range b.wanted {
		b.wanted[ch], b.onChip[ch] = 0, doubtful
	}
	if b.state == WrongChip {
		return line
	}
	if err := b.write([]byte{regAllOffH, fullOff}); err != nil {
		return fmt.Errorf("%v: its pulses could not be ended: %w", b, err)
	}
	return line
}
