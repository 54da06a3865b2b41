// Package chip is the PCA9685 servo board at register level: what its registers hold after power-up and after
// each write, which writes it ignores, and the pulses that servos then see. It backs the simulated shop, the
// driver's tests and the posing bus alike.
//
// Source: NXP, PCA9685 product data sheet, Rev. 4, 16 April 2015; section numbers below are its own.
package chip

import (
	"fmt"
	"syscall"
	"time"
)

// Registers (section 7.3).
const (
	mode1, mode2        = 0x00, 0x01
	subAdr1, allCallAdr = 0x02, 0x05
	led0, ledEnd        = 0x06, 0x45
	allLED, allLEDEnd   = 0xFA, 0xFD
	preScale, testMode  = 0xFE, 0xFF
)

// Bits of MODE1 and MODE2, and the full bits of ON_H and OFF_H.
const (
	restart, extClk, autoInc, sleep = 0x80, 0x40, 0x20, 0x10
	sub1, allCall                   = 0x08, 0x01
	invert                          = 0x10
	full                            = 0x10
)

// Channels is how many outputs the chip has.
const Channels = 16

// startUp is how long the oscillator needs after SLEEP is cleared (section 7.3.1.1).
const startUp = 500 * time.Microsecond

// Chip is one PCA9685. It knows no clock: time comes with every transfer. It is used from one goroutine.
type Chip struct {
	addr    uint16
	osc     int64 // Hz, as this one really runs
	reg     [256]byte
	pointer byte
	powered bool
	disable bool // the OE pin is high
	awake   time.Duration
	resting bool // slept with outputs running: they stay off until restarted or written
	clock   bool // EXTCLK was set: sticky until power goes
	misuse  []string
	resets  int
}

// New makes a chip with its power on. osc is the true frequency of its oscillator in Hz: 25 MHz by the data
// sheet, 23 to 27 MHz were measured on boards.
func New(addr uint16, osc int64) *Chip {
	c := &Chip{addr: addr, osc: osc, powered: true}
	c.reset()
	return c
}

// SetPower takes the supply away, when the chip neither answers nor pulses, and forgets; or gives it back,
// when all registers are as after power-up (tables 4 to 9).
func (c *Chip) SetPower(on bool) {
	if on && !c.powered {
		c.reset()
		c.resets++
	}
	c.powered = on
}

func (c *Chip) reset() {
	c.reg = [256]byte{}
	c.reg[mode1] = sleep | allCall
	c.reg[mode2] = 0x04
	copy(c.reg[subAdr1:], []byte{0xE2, 0xE4, 0xE8, 0xE0})
	for ch := range Channels {
		c.reg[led0+4*ch+3] = full
	}
	c.reg[preScale] = 0x1E
	c.pointer, c.resting, c.clock = 0, false, false
}

// Brownout lets the chip lose the given registers, back to their power-up values, and keep the rest: what a
// sagging supply does. With none it loses all.
func (c *Chip) Brownout(registers ...byte) {
	kept := c.reg
	c.reset()
	c.resets++
	if len(registers) == 0 {
		return
	}
	fresh := c.reg
	c.reg = kept
	for _, r := range registers {
		c.reg[r] = fresh[r]
	}
}

// SoftwareReset is what the byte 06h at the general call address does (section 7.1.4).
func (c *Chip) SoftwareReset() {
	if c.powered {
		c.reset()
		c.resets++
	}
}

// Answers tells whether the chip acknowledges an address: its own, and the shared ones that are switched on.
func (c *Chip) Answers(addr uint16) bool {
	if !c.powered {
		return false
	}
	for i := range 3 {
		if c.reg[mode1]&(sub1>>i) != 0 && addr == uint16(c.reg[subAdr1+i]>>1) {
			return true
		}
	}
	return addr == c.addr || c.reg[mode1]&allCall != 0 && addr == uint16(c.reg[allCallAdr]>>1)
}

// Tx is one transfer to the chip: a register and bytes for it, then bytes read on from there. A chip without
// power, and a register that is reserved, do not acknowledge.
func (c *Chip) Tx(now time.Duration, w, r []byte) error {
	if !c.powered {
		return syscall.ENXIO
	}
	if len(w) > 0 {
		c.pointer = w[0]
		for _, b := range w[1:] {
			if reserved(c.pointer) {
				c.note("a write to the reserved register %02x", c.pointer)
				return syscall.ENXIO
			}
			c.write(now, c.pointer, b)
			c.advance()
		}
	}
	for i := range r {
		r[i] = c.read(c.pointer)
		c.advance()
	}
	return nil
}

func reserved(r byte) bool { return r > ledEnd && r < allLED }

// advance moves the pointer after a byte (section 7.3, control register).
func (c *Chip) advance() {
	if c.reg[mode1]&autoInc == 0 {
		return
	}
	switch c.pointer {
	case ledEnd, preScale, testMode:
		c.pointer = 0
	default:
		c.pointer++
	}
}

func (c *Chip) read(r byte) byte {
	if r >= allLED && r <= allLEDEnd || reserved(r) {
		return 0 // write only
	}
	return c.reg[r]
}

func (c *Chip) write(now time.Duration, r, b byte) {
	switch {
	case r == mode1:
		c.writeMode1(now, b)
	case r == mode2:
		c.reg[r] = b & 0x1F
	case r >= subAdr1 && r <= allCallAdr:
		c.reg[r] = b &^ 1
	case r >= led0 && r <= ledEnd:
		c.writeLED(r, b)
	case r >= allLED && r <= allLEDEnd:
		for ch := range Channels {
			c.writeLED(byte(led0+4*ch)+r-allLED, b)
		}
	case r == preScale:
		if c.reg[mode1]&sleep == 0 {
			c.note("PRE_SCALE written while awake: ignored")
			return
		}
		c.reg[r] = max(b, 3)
	default:
		c.note("a write to the test register")
	}
}

// writeMode1 follows section 7.3.1: RESTART shows that outputs were running when the chip was put to sleep,
// and is cleared by writing a one to it; EXTCLK stays until power goes.
func (c *Chip) writeMode1(now time.Duration, b byte) {
	was := c.reg[mode1]
	next := b&^(restart|extClk) | was&restart
	if b&extClk != 0 {
		c.clock = true
		c.note("EXTCLK was set: only the supply clears it")
	}
	if c.clock {
		next |= extClk
	}
	switch {
	case was&sleep == 0 && b&sleep != 0:
		if c.running() {
			next |= restart
			c.resting = true
		}
	case was&sleep != 0 && b&sleep == 0:
		c.awake = now + startUp
	}
	if b&restart != 0 && was&restart != 0 && b&sleep == 0 && was&sleep == 0 {
		if now < c.awake {
			c.note("RESTART before the oscillator's 500 us")
		}
		next &^= restart
		c.resting = false
	}
	c.reg[mode1] = next
}

func (c *Chip) writeLED(r, b byte) {
	if (r-led0)%2 == 1 { // ON_H and OFF_H hold four bits of the count and the full bit
		b &= 0x1F
	}
	c.reg[r] = b
	if c.resting {
		c.resting = false
		c.reg[mode1] &^= restart
	}
}

func (c *Chip) note(format string, args ...any) {
	c.misuse = append(c.misuse, fmt.Sprintf(format, args...))
}

// Misuse lists what was done to the chip that its data sheet forbids or that it ignored.
func (c *Chip) Misuse() []string { return c.misuse }

// Resets counts how often the chip lost its registers after it was made.
func (c *Chip) Resets() int { return c.resets }

// Register reads a register as the chip holds it, for tests.
func (c *Chip) Register(r byte) byte { return c.reg[r] }
