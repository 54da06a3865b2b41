package simshop

import (
	"math"
	"time"

	"ductwarden/config"
	gauge "ductwarden/current/hsc/chip"
	"ductwarden/gates"
)

// openFrom is the share of its stroke from which a blade lets the air through as if it were open. The model
// knows open and closed only; a gate passes this point within a tenth of a second.
const openFrom = 0.5

// Open is the set of gates that really are open.
func (s *Shop) Open() gates.Set {
	var open gates.Set
	for i := range s.gates {
		if s.gates[i].at >= openFrom {
			open = open.With(i)
		}
	}
	return open
}

// solve brings a fan's air up to date with the gates and the filter; nil when its air is not judged.
func (s *Shop) solve(f *fan) bool {
	if f.solver == nil {
		return false
	}
	if open := s.Open(); f.air == nil || f.pattern != uint64(open) {
		f.air, f.pattern = f.solver.Solve(open, f.state), uint64(open)
	}
	return true
}

// flowShare is the fan's flow over that of a wide open system, for its motor's load.
func (f *fan) flowShare() float64 {
	if f.air == nil {
		return 0.5
	}
	curve := f.solver.Model().Network().Fan.Curve
	most := curve[len(curve)-1].Flow
	return min(f.air.FanFlow*f.speed/most, 1)
}

// Velocity is the true air speed in a collector's duct, by its place in the collector's network, m/s. By the fan
// laws all flows follow the wheel's speed.
func (s *Shop) Velocity(collector, duct int) float64 {
	f := &s.fans[collector]
	if !s.solve(f) || f.noAir {
		return 0
	}
	v := f.air.Velocity[duct] * f.speed
	if f.plugged != nil {
		v *= f.plugged[duct]
	}
	return v
}

// wireTaps attaches each pressure tap to its converter.
func (s *Shop) wireTaps() {
	for i := range s.file.Taps {
		t := &s.file.Taps[i]
		if t.Converter.Chip.Kind == "hsc" {
			m := &gauge.Chip{Lowest: t.Lowest, Highest: t.Highest, Pressure: func(now time.Duration) float64 {
				channel := t.Converter.Chip.Bus<<16 | int(t.Converter.Chip.Address)<<8
				return s.pressure(t) + 0.001*(t.Highest-t.Lowest)*s.noise.at(channel, now)
			}}
			b := s.addBoard(t.Converter.Chip)
			b.model, b.reset = m, func() {} // it has nothing to forget
			continue
		}
		s.attach(t.Converter, source{bias: t.Zero, scale: t.Scale, pascals: func(time.Duration) float64 { return s.pressure(t) }})
	}
}

// pressure is the suction or difference at a tap in Pa. By the fan laws it follows the square of the speed.
func (s *Shop) pressure(t *config.Tap) float64 {
	c, place := s.tapped(t)
	if c < 0 {
		return 0
	}
	f := &s.fans[c]
	if !s.solve(f) {
		return 0
	}
	r, q := f.air, f.speed*f.speed
	if f.noAir {
		q *= 0.1
	}
	if f.plugged != nil && t.At != config.AcrossFilter {
		q *= 1.35 // less flow: the fan climbs its curve
	}
	net := f.solver.Model().Network()
	switch t.At {
	case config.AtInlet:
		area := math.Pi / 4 * net.Fan.Inlet * net.Fan.Inlet
		v := r.FanFlow / area
		return q * (-r.InletTotal + net.Air.Density*v*v/2)
	case config.AtDuct:
		return -q * r.Static[place]
	case config.AtPort:
		return q * r.PortSuction[place]
	}
	separator, exhaust := net.Separator.At(r.FanFlow), net.Exhaust.At(r.FanFlow)
	if t.At == config.AcrossSeparator {
		return q * separator
	}
	filter := r.BehindLoss // less what lies behind the inlet beside the filter
	if !net.Fan.Includes.Separator {
		filter -= separator
	}
	if !net.Fan.Includes.Exhaust {
		filter -= exhaust
	}
	return q * max(filter, 0)
}

// tapped finds the collector of a tap, and the duct's or port's place in the collector's network.
func (s *Shop) tapped(t *config.Tap) (collector, place int) {
	switch t.At {
	case config.AtDuct:
		return s.file.Ducts[t.Of].Collector, s.ductPlace(t.Of)
	case config.AtPort:
		d := s.file.Ports[t.Of].Duct
		c := s.file.Ducts[d].Collector
		place = 0
		for i := range t.Of {
			if s.file.Ducts[s.file.Ports[i].Duct].Collector == c {
				place++
			}
		}
		return c, place
	}
	return t.Of, 0
}

// ductPlace is the place of a duct among those of its collector, which is its place in the network.
func (s *Shop) ductPlace(duct int) int {
	n := 0
	for i := range duct {
		if s.file.Ducts[i].Collector == s.file.Ducts[duct].Collector {
			n++
		}
	}
	return n
}
