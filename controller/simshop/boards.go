package simshop

import (
	"fmt"
	"time"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/spi"

	"ductwarden/config"
	adc "ductwarden/current/ads1115/chip"
	spiadc "ductwarden/current/mcp3208/chip"
	pulses "ductwarden/gates/pca9685/chip"
)

// nominalOscillator is that of a pulse board whose own was not measured, Hz.
const nominalOscillator = 25_000_000

// addBoard puts a chip that the shop file names on its bus; asked again it gives the same one.
func (s *Shop) addBoard(c config.Chip) *board {
	if b := s.board(c); b != nil {
		return b
	}
	b := &board{chip: c, supply: s.supplyOf(c)}
	switch c.Kind {
	case "ads1115":
		m := adc.New(func(pin int, at time.Duration) float64 { return s.volts(b, pin, at) }, adc.Options{Supply: b.supply, Points: 2})
		b.model, b.reset = m, m.Reset
	case "pca9685":
		osc := int64(nominalOscillator)
		for _, set := range s.file.Chips {
			if set.Chip == c && set.Oscillator > 0 {
				osc = int64(set.Oscillator)
			}
			if set.Chip == c && set.Enable != nil {
				b.enable, b.enableLow = s.wire(*set.Enable), set.Enable.ActiveLow
			}
		}
		m := pulses.New(uint16(c.Address), osc)
		b.model, b.pulses = m, m
		b.reset = func() { m.SetPower(false); m.SetPower(true) }
	case "mcp3208":
		m := &spiadc.Chip{Supply: b.supply}
		m.In = func(input int, at time.Duration) float64 { return s.volts(b, input, at) }
		b.spi = m
	}
	s.boards = append(s.boards, b)
	return b
}

// supplyOf is the supply of a converter's board in volts.
func (s *Shop) supplyOf(c config.Chip) float64 {
	for _, set := range s.file.Chips {
		if set.Chip == c && set.Reference > 0 {
			return set.Reference
		}
	}
	return supply
}

// pulsesOf gives the width of the pulses that a servo gets now, 0 when it gets none.
func (s *Shop) pulsesOf(sv *config.Servo) func() time.Duration {
	b := s.addBoard(sv.Chip)
	return func() time.Duration {
		if b.pulses == nil || b.silent {
			return 0
		}
		return b.pulses.Pulse(s.now, sv.Channel)
	}
}

// Port is one SPI connection of the shop: a bus whose select line goes to one converter.
type Port struct {
	shop *Shop
	b    *board
	name string
}

var _ spi.Conn = (*Port)(nil)

// Port gives the connection of the bus with this place in the shop file.
func (s *Shop) Port(place int) *Port {
	p := &Port{shop: s, name: s.file.Buses[place].Name + " (simulated)"}
	for _, b := range s.boards {
		if b.chip.Bus == place {
			p.b = b
		}
	}
	return p
}

// String names the port for messages.
func (p *Port) String() string { return p.name }

// Duplex implements conn.Conn.
func (p *Port) Duplex() conn.Duplex { return conn.Full }

// Tx makes one transfer.
func (p *Port) Tx(w, r []byte) error { return p.TxPackets([]spi.Packet{{W: w, R: r}}) }

// TxPackets makes several transfers, with the select line up in between. An absent chip leaves the line high.
func (p *Port) TxPackets(all []spi.Packet) error {
	now := p.shop.clock()
	p.shop.advance(now)
	for _, k := range all {
		if len(k.W) != len(k.R) {
			return fmt.Errorf("%s: %d bytes out and %d in: they must be as many", p.name, len(k.W), len(k.R))
		}
		if p.b == nil || p.b.spi == nil || p.b.silent {
			for i := range k.R {
				k.R[i] = 0xff
			}
			continue
		}
		p.b.spi.Tx(now, k.W, k.R)
	}
	return nil
}
