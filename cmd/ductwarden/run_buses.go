package main

import (
	"errors"
	"fmt"
	"log/slog"

	"periph.io/x/conn/v3/physic"

	"ductwarden/config"
	"ductwarden/controller/bus"
	"ductwarden/controller/publish"
	"ductwarden/controller/publish/metrics"
)

// Bits on the wire that the drivers want in a second: an ads1115 is read 860 times a second, 29 bits each, and turned
// between; a servo board is looked at ten times a second and written to when a gate moves.
const (
	bitsOfConverter = 27_000
	bitsOfBoard     = 4_000
	// fullBus is the share of a bus that may be asked for: the rest is what a servo's pulse waits for. Own choice.
	fullBus = 0.6
)

// lookAround looks on each I2C bus whether the chips of the shop file are there, and measures the clock that the bus
// really has. A chip that is not there is told and found later; one that a driver of the kernel has ends the start:
// two would write to it.
func (m *metal) lookAround(log *slog.Logger) error {
	var errs []error
	for place, b := range m.i2c {
		measured := false
		bits := 0
		for _, c := range usedChips(m.file) {
			if c.Bus != place {
				continue
			}
			bits += bitsOf(c)
			err := b.Claim(uint16(c.Address), c.Kind)
			switch {
			case errors.Is(err, bus.ErrTaken):
				errs = append(errs, err)
			case err != nil:
				log.Error(err.Error())
			case !measured:
				measured = m.measure(place, uint16(c.Address), log)
			}
		}
		if hz := m.clock[place]; hz > 0 && float64(bits) > fullBus*float64(hz/physic.Hertz) {
			log.Warn(fmt.Sprintf("the bus %s runs at %s and its chips want %d of its bits in a second: set a faster clock in the board's boot configuration (i2c_arm_baudrate=400000), or move chips to another bus", b, hz, bits))
		}
	}
	return errors.Join(errs...)
}

func bitsOf(c config.Chip) int {
	if c.Kind == "ads1115" {
		return bitsOfConverter
	}
	return bitsOfBoard
}

// measure takes the clock of a bus with the help of a chip that answers.
func (m *metal) measure(place int, addr uint16, log *slog.Logger) bool {
	hz, err := m.i2c[place].MeasureSpeed(addr, 0)
	if err != nil {
		log.Warn(err.Error())
		return false
	}
	m.clock[place] = hz
	log.Info("measured", "bus", m.i2c[place].String(), "clock", hz.String())
	return true
}

// through has the messages of parts on the network carried by a broker.
func (m *metal) through(b partsBroker) { m.parts = b }

// source are the figures of the buses, for a scraper.
func (m *metal) source() metrics.Source {
	label := []string{"bus"}
	return metrics.Source{
		Families: []publish.Family{
			{Name: "ductwarden_bus_clock_hertz", Help: "clock of an I2C bus as measured at the start", Kind: publish.Gauge, Labels: label},
			{Name: "ductwarden_bus_transfers_total", Help: "tries of transfers, by what became of them", Kind: publish.Counter, Labels: []string{"bus", "result"}},
			{Name: "ductwarden_bus_busy_seconds_total", Help: "time spent in transfers", Kind: publish.Counter, Labels: label},
			{Name: "ductwarden_bus_longest_seconds", Help: "the longest try of a transfer", Kind: publish.Gauge, Labels: label},
		},
		Samples: m.samples,
	}
}

func (m *metal) samples() []publish.Sample {
	var out []publish.Sample
	for place, b := range m.i2c {
		name := m.file.Buses[place].Name
		add := func(family string, v float64, more ...string) {
			out = append(out, publish.Sample{Name: family, Labels: append([]string{name}, more...), Value: v})
		}
		s := b.Stats()
		if hz := m.clock[place]; hz > 0 {
			add("ductwarden_bus_clock_hertz", float64(hz/physic.Hertz))
		}
		bad := s.NoAnswer + s.Noise + s.Stuck + s.Other
		for _, r := range []struct {
			result string
			n      uint64
		}{{"good", s.Transfers - bad}, {"no_answer", s.NoAnswer}, {"noise", s.Noise}, {"stuck", s.Stuck}, {"other", s.Other}, {"resting", s.Resting}} {
			add("ductwarden_bus_transfers_total", float64(r.n), r.result)
		}
		add("ductwarden_bus_busy_seconds_total", s.Busy.Seconds())
		add("ductwarden_bus_longest_seconds", s.Longest.Seconds())
	}
	return out
}
