package main

import (
	"errors"
	"io"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"ductwarden/config"
	"ductwarden/controller/bus"
	"ductwarden/controller/loop"
)

// usualSPIClock suits an MCP3208 at 3.3 V (Microchip DS21298: 50,000 samples a second at 2.7 V, 24 clocks each).
const usualSPIClock = physic.MegaHertz

// metal is the buses and lines of this computer.
type metal struct {
	file  *config.Shop
	i2c   map[int]*bus.I2C
	spi   map[int]*bus.SPI
	chips map[string]*bus.LineChip
	clock map[int]physic.Frequency // of I2C buses, as measured; written before anything runs
	parts partsBroker              // nil: the shop file names none
	held  []io.Closer              // lines, in the order of taking
}

// openMetal opens every bus and every GPIO chip that the shop file uses, and takes no line yet: what is missing is
// found here, when nothing has been touched.
func openMetal(file *config.Shop) (*metal, error) {
	m := &metal{file: file, i2c: map[int]*bus.I2C{}, spi: map[int]*bus.SPI{}, chips: map[string]*bus.LineChip{}, clock: map[int]physic.Frequency{}}
	buses, chips := usedMetal(file)
	for _, b := range buses {
		if err := m.openBus(b); err != nil {
			return nil, errors.Join(err, m.Close())
		}
	}
	for _, name := range chips {
		c, err := bus.OpenLines(name)
		if err != nil {
			return nil, errors.Join(err, m.Close())
		}
		m.chips[name] = c
	}
	return m, nil
}

func (m *metal) openBus(place int) error {
	b := m.file.Buses[place]
	if !b.SPI {
		opened, err := bus.OpenI2C(b.Device, bus.Settings{})
		m.i2c[place] = opened
		return err
	}
	clock := usualSPIClock
	if b.Speed > 0 {
		clock = physic.Frequency(b.Speed) * physic.Hertz
	}
	opened, err := bus.OpenSPI(b.Device, clock)
	m.spi[place] = opened
	return err
}

// usedMetal wires the shop to nothing and notes what is asked for.
func usedMetal(file *config.Shop) (buses []int, chips []string) {
	n := &noting{}
	_, _ = wire(file, settings{scheduler: loop.NewVirtual(loop.AsFastAsMayBe), wires: n, look: true})
	return n.buses, n.chips
}

// noting are wires that lead nowhere and remember what was asked of them.
type noting struct {
	buses []int
	chips []string
}

func (n *noting) bus(b int) {
	for _, known := range n.buses {
		if known == b {
			return
		}
	}
	n.buses = append(n.buses, b)
}

func (n *noting) chip(c string) {
	for _, known := range n.chips {
		if known == c {
			return
		}
	}
	n.chips = append(n.chips, c)
}

func (n *noting) I2C(b int) (i2c.Bus, error)  { n.bus(b); return nowhere{}, nil }
func (n *noting) SPI(b int) (spi.Conn, error) { n.bus(b); return nowhereSPI{}, nil }

func (n *noting) Output(_ string, l config.Line) (loop.Setter, error) {
	n.chip(l.Chip)
	return nowhere{}, nil
}

func (n *noting) Inputs(chip string, _ []namedLine) (loop.Levels, error) {
	n.chip(chip)
	return nowhere{}, nil
}

func (n *noting) Broker() (partsBroker, error) { return nowhere{}, nil }

// nowhere is a bus, an output and an input that lead nowhere.
type nowhere struct{}

func (nowhere) String() string                  { return "nowhere" }
func (nowhere) SetSpeed(physic.Frequency) error { return nil }
func (nowhere) Set(bool) error                  { return nil }
func (nowhere) Read() (uint64, error)           { return 0, nil }
func (nowhere) Send(string, []byte) error       { return nil }
func (nowhere) Watch(string, func(string, []byte, bool)) {
}
func (nowhere) Tx(uint16, []byte, []byte) error { return nil }

// nowhereSPI is an SPI connection that leads nowhere.
type nowhereSPI struct{}

func (nowhereSPI) String() string               { return "nowhere" }
func (nowhereSPI) Duplex() conn.Duplex          { return conn.Full }
func (nowhereSPI) Tx(_, _ []byte) error         { return nil }
func (nowhereSPI) TxPackets([]spi.Packet) error { return nil }

// I2C implements wires.
func (m *metal) I2C(place int) (i2c.Bus, error) { return m.i2c[place], nil }

// SPI implements wires.
func (m *metal) SPI(place int) (spi.Conn, error) { return m.spi[place], nil }

// Broker implements wires.
func (m *metal) Broker() (partsBroker, error) {
	if m.parts == nil {
		return nil, errNoBroker
	}
	return m.parts, nil
}

// Output implements wires: the line is off from its first moment.
func (m *metal) Output(name string, l config.Line) (loop.Setter, error) {
	c := m.chips[l.Chip]
	o, err := c.Output(bus.OutputLine{Offset: l.Offset, Name: name, ActiveLow: l.ActiveLow})
	if err != nil {
		return nil, err
	}
	m.held = append(m.held, o)
	return o, nil
}

// Inputs implements wires.
func (m *metal) Inputs(chip string, lines []namedLine) (loop.Levels, error) {
	want := make([]bus.InputLine, len(lines))
	for i, l := range lines {
		want[i] = bus.InputLine{Offset: l.line.Offset, Name: l.name, ActiveLow: l.line.ActiveLow, Bias: biasOf(l.line)}
	}
	in, err := m.chips[chip].Inputs(want)
	if err != nil {
		return nil, err
	}
	m.held = append(m.held, in)
	return in, nil
}

// biasOf is the resistor that the board is to connect.
func biasOf(l config.Line) bus.Bias {
	switch {
	case l.Pull == config.PullUp, l.Pull == config.PullToIdle && l.ActiveLow:
		return bus.PullUp
	case l.Pull == config.PullDown, l.Pull == config.PullToIdle:
		return bus.PullDown
	}
	return bus.NoPull
}

// Close gives everything back, lines first. Outputs have been driven off by then.
func (m *metal) Close() error {
	var errs []error
	for _, h := range m.held {
		errs = append(errs, h.Close())
	}
	for _, c := range m.chips {
		errs = append(errs, c.Close())
	}
	for _, b := range m.i2c {
		if b != nil {
			errs = append(errs, b.Close())
		}
	}
	for _, b := range m.spi {
		if b != nil {
			errs = append(errs, b.Close())
		}
	}
	m.held = nil
	return errors.Join(errs...)
}
