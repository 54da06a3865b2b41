package simshop

import (
	"time"

	"ductwarden/config"
)

// source is something wired to a converter's input.
type source struct {
	amperes func(now time.Duration) float64 // a clamp: the conductor's instantaneous current
	pascals func(now time.Duration) float64 // or a tap
	scale   float64                         // V/A or V/Pa
	bias    float64                         // V at no current, or at no pressure
	dead    *fault
}

// fault says how a source has failed.
type fault struct {
	kind   clampFault
	volts  float64 // frozen there
	frozen bool
}

type clampFault uint8

const (
	sound       clampFault = iota
	unplugged              // the clamp's plug is out: the bias stays, no signal
	shorted                // the input lies at the lower rail
	frozenValue            // always the same voltage, without the least noise
	noisyCable             // a cable beside a drive: a volt of hash
	wholeCable             // clamped round all conductors: what is left over is a hundredth
)

// inputNoise is the noise of a converter's input with its cable, V rms; pickup is the hum of a clamp at rest.
const (
	inputNoise = 0.0004
	pickup     = 0.0006
)

// attach wires a source to an input. Several on one input add up: a clamp around several conductors.
func (s *Shop) attach(c config.Converter, src source) {
	b := s.addBoard(c.Chip)
	src.dead = &fault{}
	b.inputs[c.Channel] = append(b.inputs[c.Channel], src)
	if c.Against >= 0 && len(b.inputs[c.Against]) == 0 { // the other leg of a difference rests at the bias
		b.inputs[c.Against] = []source{{bias: src.bias, dead: &fault{}}}
	}
}

// bias is the voltage of a clamp's input without current: what the shop file says, else half the supply.
func (s *Shop) bias(c config.Converter) float64 {
	for _, set := range s.file.Chips {
		if set.Chip == c.Chip {
			switch {
			case set.Bias > 0:
				return set.Bias
			case set.Reference > 0:
				return set.Reference / 2
			}
		}
	}
	return supply / 2
}

// Volts is what a converter's input sees at a moment, against ground. Inputs that nothing is wired to float near
// zero.
func (s *Shop) Volts(c config.Chip, input int, now time.Duration) float64 {
	if b := s.board(c); b != nil {
		return s.volts(b, input, now)
	}
	return 0
}

func (s *Shop) volts(b *board, input int, now time.Duration) float64 {
	s.advance(now)
	channel := b.chip.Bus<<16 | int(b.chip.Address)<<8 | input<<3
	sources := b.inputs[input]
	if len(sources) == 0 {
		return inputNoise * s.noise.at(channel, now)
	}
	v := sources[0].bias + inputNoise*s.noise.at(channel, now)
	for i := range sources {
		src := &sources[i]
		switch src.dead.kind {
		case unplugged:
			continue
		case shorted:
			return inputNoise * s.noise.at(channel, now)
		case frozenValue:
			if !src.dead.frozen {
				src.dead.volts, src.dead.frozen = v, true
			}
			return src.dead.volts
		case noisyCable:
			v += 0.4 * s.noise.at(channel+7, now)
		}
		share := 1.0
		if src.dead.kind == wholeCable {
			share = 0.01
		}
		switch {
		case src.amperes != nil:
			v += src.scale*share*src.amperes(now) + pickup*s.noise.at(channel+3, now)
		case src.pascals != nil:
			v += src.scale * src.pascals(now)
		}
	}
	return min(max(v, -0.3), b.supply+0.3) // the converter's own clamping diodes
}
