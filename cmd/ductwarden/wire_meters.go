package main

import (
	"fmt"
	"slices"
	"time"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/loop"
	"ductwarden/current"
	"ductwarden/current/ads1115"
	"ductwarden/current/hsc"
	"ductwarden/current/mcp3208"
)

// madeChip is a converter in the making.
type madeChip struct {
	chip   config.Chip
	ads    *ads1115.Chip
	mcp    *mcp3208.Chip
	meters []loop.Meter
	inputs map[config.Converter]int // place in meters
	poll   func(now time.Duration) (time.Duration, error)
	err    func() error
}

// converters makes every converter that a clamp or a tap is on.
func (b *builder) converters() error {
	for i := range b.file.Machines {
		m := &b.file.Machines[i]
		for _, s := range m.Sensors {
			if s.Clamp != nil {
				if err := b.clamp(s.Clamp, controller.Set(0).With(i), -1); err != nil {
					return named("machine", m.Name, err)
				}
			}
		}
	}
	for i := range b.file.Collectors {
		c := &b.file.Collectors[i]
		if c.Proof != nil && c.Proof.Clamp != nil {
			if err := b.clamp(c.Proof.Clamp, 0, i); err != nil {
				return named("collector", c.Name, err)
			}
		}
	}
	for i := range b.file.Taps {
		if err := b.tap(i); err != nil {
			return named("pressure", b.file.Taps[i].Name, err)
		}
	}
	for _, c := range b.chips {
		b.parts.Chips = append(b.parts.Chips, loop.Chip{Lane: b.lane(c.chip.Bus), Name: c.chip.String(), Poll: c.poll, Err: c.err, Meters: c.meters})
	}
	return nil
}

// converter finds or makes a converter chip.
func (b *builder) converter(c config.Chip) (*madeChip, error) {
	for _, made := range b.chips {
		if made.chip == c {
			return made, nil
		}
	}
	made := &madeChip{chip: c, inputs: map[config.Converter]int{}}
	switch c.Kind {
	case "ads1115":
		bus, err := b.wires.I2C(c.Bus)
		if err != nil {
			return nil, err
		}
		if made.ads, err = ads1115.New(bus, uint16(c.Address)); err != nil {
			return nil, err
		}
		made.poll, made.err = made.ads.Poll, made.ads.Err
	case "mcp3208":
		conn, err := b.wires.SPI(c.Bus)
		if err != nil {
			return nil, err
		}
		made.mcp = mcp3208.New(conn, b.file.Buses[c.Bus].Device, microvolts(b.file.Setting(c).Reference))
		made.poll, made.err = made.mcp.Poll, made.mcp.Err
	default:
		return nil, fmt.Errorf("no driver for a converter %q", c.Kind)
	}
	b.chips = append(b.chips, made)
	return made, nil
}

// clamp puts a clamp on its converter; several machines may share one.
func (b *builder) clamp(k *config.Clamp, machines controller.Set, collector int) error {
	made, err := b.converter(k.Converter.Chip)
	if err != nil {
		return err
	}
	if at, shared := made.inputs[k.Converter]; shared {
		made.meters[at].Machines |= machines
		return nil
	}
	set := b.file.Setting(k.Converter.Chip)
	clamp := current.Clamp{
		Microvolts: microvolts(k.Scale), Running: milliamperes(k.Running), Idle: milliamperes(k.Idle), Quiet: milliamperes(k.Quiet),
		Hold: max(k.Settle, 1), Brake: k.Brake, Supply: microvolts(set.Reference), Bias: microvolts(set.Bias),
	}
	var meter current.Meter
	if made.ads != nil {
		meter, err = made.ads.Clamp(inputOf(k.Converter), b.rangeOf(k.Converter), clamp)
	} else {
		meter, err = made.mcp.Clamp(k.Converter.Channel, clamp)
	}
	if err != nil {
		return err
	}
	made.inputs[k.Converter] = len(made.meters)
	made.meters = append(made.meters, loop.Meter{Meter: meter, Machines: machines, Collector: collector})
	return nil
}

// tap puts a pressure transducer on its converter.
func (b *builder) tap(i int) error {
	t := &b.file.Taps[i]
	read, err := b.transducer(t)
	if err != nil {
		return err
	}
	tap := loop.Tap{
		Name: t.Name, ID: t.ID, Read: read, Lane: b.lane(t.Converter.Chip.Bus), Collector: b.collectorOf(t),
		Drift: t.Drift, Above: t.Above, Below: t.Below, Delay: t.Delay,
	}
	tree := &b.daemon.trees[tap.Collector]
	switch t.At {
	case config.AtInlet:
		tap.Place = loop.TapInlet
		if f := b.file.Collectors[t.Of].Fan; f != nil {
			tap.Inlet = f.Inlet
		}
	case config.AtDuct:
		tap.Place, tap.Of = loop.TapDuct, slices.Index(tree.Ducts, t.Of)
	case config.AtPort:
		tap.Place, tap.Of = loop.TapPort, slices.Index(tree.Ports, t.Of)
	case config.AcrossSeparator:
		if b.file.Collectors[t.Of].Separator != nil { // without its loss in the file there is nothing to compare with
			tap.Place = loop.TapSeparator
		}
	case config.AcrossFilter:
		tap.Place = loop.TapFilter
		if f := b.file.Collectors[t.Of].Filter; f != nil && f.Sensor != nil && f.Sensor.Line == nil && f.Sensor.Tap == i {
			tap.Judges, tap.Delay = true, f.Sensor.Delay
		}
	}
	if tap.Of < 0 {
		tap.Place = loop.TapElsewhere
	}
	b.parts.Taps = append(b.parts.Taps, tap)
	for c := range b.file.Collectors {
		p := b.file.Collectors[c].Proof
		if p != nil && p.Clamp == nil && p.Contact == nil && p.Remote == nil && p.Tap == i {
			made, err := b.converter(t.Converter.Chip)
			if err != nil {
				return err
			}
			made.meters = append(made.meters, loop.Meter{Meter: loop.NewPressureMeter(t.Name, read, p.Turning), Collector: c})
		}
	}
	return nil
}

// transducer reads a tap: a voltage at a converter, or a chip that measures the pressure itself.
func (b *builder) transducer(t *config.Tap) (func() (float64, bool), error) {
	if t.Converter.Chip.Kind == "hsc" {
		bus, err := b.wires.I2C(t.Converter.Chip.Bus)
		if err != nil {
			return nil, err
		}
		made, err := hsc.New(bus, uint16(t.Converter.Chip.Address), t.Lowest, t.Highest)
		if err != nil {
			return nil, err
		}
		b.chips = append(b.chips, &madeChip{chip: t.Converter.Chip, inputs: map[config.Converter]int{}, poll: made.Poll, err: made.Err})
		return made.Pascals, nil
	}
	volts, err := b.voltage(t)
	if err != nil {
		return nil, err
	}
	return func() (float64, bool) {
		uv, ok := volts.Microvolts()
		return (float64(uv)/1e6 - t.Zero) / t.Scale, ok
	}, nil
}

// voltage is the converter's input that a tap's transducer is on. A reading at the lower rail is a broken wire where
// the transducer gives a voltage without pressure too, and one at the supply is always a fault.
func (b *builder) voltage(t *config.Tap) (interface{ Microvolts() (int64, bool) }, error) {
	made, err := b.converter(t.Converter.Chip)
	if err != nil {
		return nil, err
	}
	low, high := microvolts(t.Zero/4), microvolts(b.file.Setting(t.Converter.Chip).Reference*0.99)
	if t.Converter.Against >= 0 {
		low = -high
	}
	if made.mcp != nil {
		return made.mcp.Voltage(t.Converter.Channel, low, high)
	}
	full := b.rangeOf(t.Converter)
	return made.ads.Voltage(inputOf(t.Converter), full, low, min(high, full.Microvolts()-1))
}

// collectorOf is the collector whose air a tap measures.
func (b *builder) collectorOf(t *config.Tap) int {
	switch t.At {
	case config.AtDuct:
		return b.file.Ducts[t.Of].Collector
	case config.AtPort:
		return b.file.Ducts[b.file.Ports[t.Of].Duct].Collector
	}
	return t.Of
}

// inputOf is the multiplexer's setting for a converter's input.
func inputOf(c config.Converter) ads1115.Input {
	switch {
	case c.Against < 0:
		return ads1115.Ain0 + ads1115.Input(c.Channel)
	case c.Channel == 0 && c.Against == 1:
		return ads1115.Between0And1
	case c.Channel == 0:
		return ads1115.Between0And3
	case c.Channel == 1:
		return ads1115.Between1And3
	}
	return ads1115.Between2And3
}

// rangeOf is the amplifier's range that takes in the full scale at an input.
func (b *builder) rangeOf(c config.Converter) ads1115.Range {
	v := b.file.FullScale(c)
	for _, r := range []ads1115.Range{ads1115.Volts0256, ads1115.Volts0512, ads1115.Volts1024, ads1115.Volts2048, ads1115.Volts4096} {
		if microvolts(v) <= r.Microvolts() {
			return r
		}
	}
	return ads1115.Volts6144
}
