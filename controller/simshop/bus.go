package simshop

import (
	"fmt"
	"syscall"
	"time"

	"periph.io/x/conn/v3/physic"

	"ductwarden/config"
	spiadc "ductwarden/current/mcp3208/chip"
	pulses "ductwarden/gates/pca9685/chip"
)

// Chip is a chip on an I2C bus, as its registers are seen from the wires.
type Chip interface {
	Tx(now time.Duration, w, r []byte) error
}

// board is one chip in its place.
type board struct {
	chip      config.Chip
	model     Chip
	pulses    *pulses.Chip // of a pulse board
	spi       *spiadc.Chip // of a converter on SPI
	inputs    [8][]source  // what is wired to each input of a converter
	supply    float64      // V
	enable    *wire        // output-enable line of a pulse board
	enableLow bool
	silent    bool
	reset     func()
}

// Bus is one I2C bus of the shop. It satisfies periph's i2c.Bus, so the drivers of the real boards work on it.
type Bus struct {
	shop  *Shop
	place int
	count int
}

// Bus gives the bus with this place in the shop file.
func (s *Shop) Bus(place int) *Bus { return &Bus{shop: s, place: place} }

// String names the bus for messages.
func (b *Bus) String() string { return b.shop.file.Buses[b.place].Name + " (simulated)" }

// SetSpeed is accepted and changes nothing.
func (b *Bus) SetSpeed(physic.Frequency) error { return nil }

// Transfers counts the transfers made.
func (b *Bus) Transfers() int { return b.count }

// Tx makes one transfer with the chip at an address. A chip that is silent or absent answers as the kernel says
// it for an address that nobody acknowledges.
func (b *Bus) Tx(addr uint16, w, r []byte) error {
	b.count++
	now := b.shop.clock()
	b.shop.advance(now)
	for _, c := range b.shop.boards {
		if c.chip.Bus == b.place && c.model != nil && uint16(c.chip.Address) == addr {
			if c.silent {
				break
			}
			return c.model.Tx(now, w, r)
		}
	}
	return fmt.Errorf("%s 0x%02x: no chip acknowledges: %w", b, addr, syscall.ENXIO)
}

// board finds a chip, or nil.
func (s *Shop) board(c config.Chip) *board {
	for _, b := range s.boards {
		if b.chip == c {
			return b
		}
	}
	return nil
}
