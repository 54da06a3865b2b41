// Package pca9685 drives the 16-channel pulse board of that name over I2C, as servos want it: one pulse in
// each period, its width exact by the board's own calibrated oscillator.
//
// The board forgets everything when its supply sags, which is what servos that start together do to it. The
// driver therefore keeps three canary bytes in registers that the board does not otherwise use, looks at them
// ten times a second, and sets the board up again without a single pulse when they are gone. What each gate
// is to do then is not for the driver to say: it counts the reset, and the core re-establishes one gate after
// the other.
//
// Source: NXP, PCA9685 product data sheet, Rev. 4, 16 April 2015.
package pca9685

import (
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"
)

// Registers and bits (section 7.3).
const (
	regMode1    = 0x00
	regMode2    = 0x01
	regCanary   = 0x02 // SUBADR1 to SUBADR3, free while their bits in MODE1 are clear
	regLED0     = 0x06
	regAllOffH  = 0xFD
	regPrescale = 0xFE

	autoIncrement = 0x20
	sleep         = 0x10
	totemPole     = 0x04
	fullOff       = 0x10
)

// Channels is how many servos one board pulses.
const Channels = 16

// Times of the driver.
const (
	oscillatorStart = 500 * time.Microsecond // after SLEEP is cleared (section 7.3.1.1)
	lookEvery       = 100 * time.Millisecond // at the registers: a reset is seen within 250 ms even if one look fails
	tryEvery        = 200 * time.Millisecond // a board that does not answer
)

// canary is written where a board that lost its supply has E2h, E4h, E8h. The lowest bit always reads zero.
var canary = [3]byte{0xB6, 0x5A, 0x6C}

// Line is the board's output-enable pin, where it is wired: true lets pulses out. It works when the bus does
// not.
type Line interface{ Set(level bool) error }

// Settings of a board.
type Settings struct {
	Addr       uint16 // 0x40 to 0x7f, without 0x70, which every board answers after power-up
	Oscillator int64  // Hz, as measured on this board; 0 for the nominal 25 MHz. 23 to 27 MHz were measured
	Rate       int    // pulses a second; 0 for 50, which every servo takes
	Enable     Line   // may be nil
}

// State is what a board is doing.
type State uint8

// The states.
const (
	Untried   State = iota // not yet spoken to, or to be set up again
	WakingUp               // set up; its oscillator starts
	Works                  // pulses as told
	Silent                 // does not answer
	WrongChip              // something answers that is no such board
)

// Board is one board. It is used on the goroutine that owns its bus.
type Board struct {
	bus      i2c.Bus
	set      Settings
	prescale byte
	state    State
	next     time.Duration
	resets   int
	up       bool // was set up: its registers are expected to be as they were left
	failures int  // looks in a row that got no answer

	wanted [Channels]uint16 // OFF count; zero is off
	onChip [Channels]uint16 // as verified; doubtful where a write failed
	look   int              // channel whose registers are compared next
	let    bool             // pulses let out by the enable line
	letNow bool             // the line was ever set

	w [8]byte // fixed buffers: what goes through an interface would be allocated otherwise
	r [8]byte

	notUp error
	err   error // why it cannot be used
}

const doubtful = 0xFFFF

// New makes a driver for the board at an address of a bus. It does not speak to it; Poll does. Where an
// enable line is given, the first act is to take all pulses off.
func New(bus i2c.Bus, s Settings) (*Board, error) {
	if s.Oscillator == 0 {
		s.Oscillator = 25_000_000
	}
	if s.Rate == 0 {
		s.Rate = 50
	}
	b := &Board{bus: bus, set: s}
	if s.Addr < 0x40 || s.Addr > 0x7f || s.Addr == 0x70 {
		return nil, fmt.Errorf("a pca9685 cannot be at 0x%02x: its jumpers give 0x40 to 0x7f, without 0x70, which all boards share", s.Addr)
	}
	if s.Oscillator < SlowestOscillator || s.Oscillator > FastestOscillator {
		return nil, fmt.Errorf("%v: an oscillator of %d Hz cannot be: measure a pulse and give a value between 20 and 30 MHz", b, s.Oscillator)
	}
	if s.Rate < 24 || s.Rate > 333 {
		return nil, fmt.Errorf("%v: %d pulses a second cannot be: servos take 50, some up to 333", b, s.Rate)
	}
	// Rounded oscillator / (4096 x rate), less 1 (section 7.3.5).
	steps := 4096 * int64(s.Rate)
	b.prescale = byte(min((s.Oscillator+steps/2)/steps-1, 255))
	b.notUp = fmt.Errorf("%v is not set up yet: it takes pulses once it answers", b)
	for ch := range b.onChip {
		b.onChip[ch] = doubtful
	}
	return b, b.enable(false)
}

// String names the board for messages, "pca9685@0x40".
func (b *Board) String() string { return fmt.Sprintf("pca9685@0x%02x", b.set.Addr) }

// State is what the board is doing.
func (b *Board) State() State { return b.state }

// Resets counts how often the board was found to have lost its registers. After each, all its channels are
// off and every position on it is to be taken as unknown.
func (b *Board) Resets() int { return b.resets }

// Err is why the board cannot be used, one sentence; nil while it can.
func (b *Board) Err() error { return b.err }

// Poll does what is due at now and returns when it wants to be called next. An error tells of a board that
// does not answer or is none; Poll goes on trying.
func (b *Board) Poll(now time.Duration) (next time.Duration, err error) {
	if now < b.next {
		return b.next, nil
	}
	switch b.state {
	case Works:
		err = b.inspect()
	case WakingUp:
		err = b.finish()
	case Silent:
		err = b.findAgain()
	default:
		err = b.setUp()
	}
	switch {
	case b.state == Works:
		b.err = nil
	case err != nil:
		b.err = err
	}
	switch b.state {
	case Works:
		b.next = now + lookEvery
	case WakingUp:
		b.next = now + oscillatorStart
	case Untried:
		b.next = now + oscillatorStart // found reset: set up again at once
	default:
		b.next = now + tryEvery
	}
	return b.next, err
}

func (b *Board) write(p []byte) error {
	n := copy(b.w[:], p)
	return b.bus.Tx(b.set.Addr, b.w[:n], nil)
}

func (b *Board) read(register byte, n int) error {
	b.w[0] = register
	return b.bus.Tx(b.set.Addr, b.w[:1], b.r[:n])
}

// enable sets the enable line where there is one.
func (b *Board) enable(on bool) error {
	if b.set.Enable == nil || b.letNow && b.let == on {
		return nil
	}
	if err := b.set.Enable.Set(on); err != nil {
		return fmt.Errorf("%v: its enable line: %w", b, err)
	}
	b.let, b.letNow = on, true
	return nil
}
