package main

import (
	"fmt"
	"slices"
	"strings"

	"ductwarden/config"
	"ductwarden/controller/bus"
	"ductwarden/controller/loop"
)

// lookAtMetal opens the buses that the shop file uses, reads one byte of each chip, and asks the kernel about each
// line. Nothing is written to a chip, no line is taken.
func (p *patient) lookAtMetal(f *findings) {
	held, err := lockBuses()
	if err != nil {
		f.bad("buses", "end the other program, or start the service's user's shell: sudo -u ductwarden", "%v", err)
		return
	}
	defer held.Close()
	seen := &listing{noting: &noting{}}
	if _, err := wire(p.file, settings{scheduler: loop.NewVirtual(loop.AsFastAsMayBe), wires: seen, epoch: "look", look: true}); err != nil {
		f.bad("shop file", "ductwarden check "+p.config, "%v", err)
		return
	}
	for _, b := range seen.buses {
		p.lookAtBus(f, b)
	}
	for _, chip := range seen.chips {
		lookAtLines(f, chip, seen.lines)
	}
}

func (p *patient) lookAtBus(f *findings, place int) {
	b := p.file.Buses[place]
	if b.SPI {
		opened, err := bus.OpenSPI(b.Device, usualSPIClock)
		if err != nil {
			f.bad("buses", "switch SPI on in the board's boot configuration (dtparam=spi=on) and restart; the user needs the group spi", "%v", err)
			return
		}
		opened.Close()
		f.good("buses", "%s opens; whether a chip answers shows only in its readings", b.Device)
		return
	}
	opened, err := bus.OpenI2C(b.Device, bus.Settings{})
	if err != nil {
		f.bad("buses", "switch I2C on in the board's boot configuration (dtparam=i2c_arm=on), load i2c-dev, restart; the user needs the group i2c", "%v", err)
		return
	}
	defer opened.Close()
	f.good("buses", "%s opens", b.Device)
	for _, c := range usedChips(p.file) {
		if c.Bus != place {
			continue
		}
		if err := opened.Claim(uint16(c.Address), c.Kind); err != nil {
			f.bad("chips", "look at its supply, its plug, its address jumpers; then run doctor again", "%v", err)
			continue
		}
		f.good("chips", "%v answers on %s", c, b.Device)
	}
}

// usedChips lists the chips on I2C that gates, clamps and taps of a shop file hang on.
func usedChips(s *config.Shop) []config.Chip {
	var out []config.Chip
	add := func(c config.Chip) {
		if c.Address != 0 && !slices.Contains(out, c) {
			out = append(out, c)
		}
	}
	for _, g := range s.Gates {
		if g.Actuator.Servo != nil {
			add(g.Actuator.Servo.Chip)
		}
	}
	for _, m := range s.Machines {
		for _, sensor := range m.Sensors {
			if sensor.Clamp != nil {
				add(sensor.Clamp.Converter.Chip)
			}
		}
	}
	for _, c := range s.Collectors {
		if c.Proof != nil && c.Proof.Clamp != nil {
			add(c.Proof.Clamp.Converter.Chip)
		}
	}
	for _, t := range s.Taps {
		add(t.Converter.Chip)
	}
	return out
}

// listing are wires that lead nowhere and remember also which lines were asked for, and for what.
type listing struct {
	*noting
	lines   []namedLine // all
	outputs []namedLine // those of them that are driven
}

func (l *listing) Output(name string, line config.Line) (loop.Setter, error) {
	l.lines, l.outputs = append(l.lines, namedLine{name, line}), append(l.outputs, namedLine{name, line})
	return l.noting.Output(name, line)
}

func (l *listing) Inputs(chip string, lines []namedLine) (loop.Levels, error) {
	l.lines = append(l.lines, lines...)
	return l.noting.Inputs(chip, lines)
}

func lookAtLines(f *findings, chip string, lines []namedLine) {
	opened, err := bus.OpenLines(chip)
	if err != nil {
		f.bad("lines", "name the chip as this board does (ls /dev/gpiochip*), and see that the user has the group gpio", "%v", err)
		return
	}
	defer opened.Close()
	var free []string
	for _, l := range lines {
		if l.line.Chip != chip {
			continue
		}
		info, err := opened.Line(l.line.Offset)
		switch {
		case err != nil:
			f.bad("lines", "give the line of the board's header that the wire is on", "%s: %v", l.name, err)
		case info.Used:
			f.bad("lines", "end what uses it, remove the overlay that claims it, or move the wire to another line", "%s: line %d of %s is used by %q", l.name, l.line.Offset, chip, info.Consumer)
		default:
			free = append(free, fmt.Sprintf("%d (%s)", l.line.Offset, l.name))
		}
	}
	if len(free) > 0 {
		f.good("lines", "free on %s: %s", chip, strings.Join(free, ", "))
	}
}
