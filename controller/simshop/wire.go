package simshop

import (
	"time"

	"ductwarden/config"
	"ductwarden/controller/starter/chargepump"
)

// wireKey names a line of a GPIO chip.
type wireKey struct {
	chip   string
	offset int
}

func keyOf(l config.Line) wireKey { return wireKey{l.Chip, l.Offset} }

// wire is one GPIO line as metal: high or low.
type wire struct {
	high   bool
	edges  int
	pump   *chargepump.Pump             // behind a pulsed start line
	asked  bool                         // a program has requested it as an output
	source func(now time.Duration) bool // what drives an input: true is the active level
}

// set gives the wire a level.
func (w *wire) set(now time.Duration, high bool) {
	if w.high == high {
		return
	}
	w.high = high
	w.edges++
	if w.pump != nil {
		w.pump.Set(now, high)
	}
}

// Line is a line as a program holds it: the active level is true, whatever the polarity. It serves as input and
// as output.
type Line struct {
	shop *Shop
	wire *wire
	line config.Line
}

// Line gives the line that the shop file names. Asking twice gives the same metal.
func (s *Shop) Line(l config.Line) *Line {
	return &Line{shop: s, wire: s.wire(l), line: l}
}

// Set drives an output.
func (l *Line) Set(on bool) error {
	l.wire.asked = true
	now := l.shop.clock()
	l.shop.advance(now)
	l.wire.set(now, on != l.line.ActiveLow)
	return nil
}

// Read gives an input's level.
func (l *Line) Read() (bool, error) {
	now := l.shop.clock()
	l.shop.advance(now)
	if l.wire.source != nil {
		return l.wire.source(now), nil
	}
	return l.wire.high != l.line.ActiveLow, nil
}

// String names the line for messages.
func (l *Line) String() string { return l.line.String() }

// wire finds or makes the metal of a line, at its idle level.
func (s *Shop) wire(l config.Line) *wire {
	k := keyOf(l)
	w := s.wires[k]
	if w == nil {
		w = &wire{high: l.ActiveLow}
		s.wires[k] = w
	}
	return w
}
