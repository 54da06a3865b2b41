package drawing

import (
	"fmt"
	"math"
)

// Pump is the circuit behind a pulsed start line: each rise of the line puts charge through a coupling capacitor and a
// diode onto a store, from which a resistor takes it away; a transistor holds the relay while the store is above its
// threshold. A line that stands still, high or low, gives nothing.
type Pump struct {
	Swing          float64 // V, of the line
	Drop           float64 // V, of one diode
	Couple, Store  float64 // F
	Bleed          float64 // ohm
	Least, Most    float64 // V, threshold of the transistor
	Rate           float64 // Hz, of the line
	CapTolerance   float64
	BleedTolerance float64
}

// Usual is the circuit that is drawn.
var Usual = Pump{Swing: 3.3, Drop: 0.3, Couple: 4.7e-6, Store: 10e-6, Bleed: 47e3, Least: 1.0, Most: 1.5, Rate: 20, CapTolerance: 0.20, BleedTolerance: 0.05}

// step is what the store holds after one more rise.
func (p Pump) step(v float64) float64 {
	give := (p.Swing - 2*p.Drop - v) * p.Couple / (p.Couple + p.Store)
	return v + math.Max(0, give)
}

// decay is what is left of the store after some seconds.
func (p Pump) decay(v, seconds float64) float64 { return v * math.Exp(-seconds/(p.Bleed*p.Store)) }

// Peak is what the store holds after a rise when the line has been pulsing for long.
func (p Pump) Peak() float64 {
	v := 0.0
	for range 200 {
		v = p.step(p.decay(v, 1/p.Rate))
	}
	return v
}

// DropOut is the time from the last rise until the relay's transistor lets go: the shortest and the longest that
// threshold and tolerances allow, seconds.
func (p Pump) DropOut() (shortest, longest float64) {
	tau := p.Bleed * p.Store
	slack := (1 + p.CapTolerance) * (1 + p.BleedTolerance)
	return tau / slack * math.Log(p.Peak()/p.Most), tau * slack * math.Log(p.Peak()/p.Least)
}

// Rises is how many rises it takes until even the highest threshold is passed.
func (p Pump) Rises() int {
	v := 0.0
	for n := 1; n < 100; n++ {
		if v = p.step(v); v >= p.Most {
			return n
		}
		v = p.decay(v, 1/p.Rate)
	}
	return 0
}

func micro(f float64) string { return fmt.Sprintf("%.3g uF", f*1e6) }
func kilo(r float64) string  { return fmt.Sprintf("%.3g kohm", r/1e3) }

// pulsedLine draws the circuit with its values and what follows from them.
func pulsedLine() string {
	p := Usual
	short, long := p.DropOut()
	s := newSheet("The pulsed start line: drops out by itself", 900, 470)
	y := 150
	s.box(20, y-40, 130, 80, "Board", "start line, 3.3 V", fmt.Sprintf("%g Hz while on", p.Rate), "return below")
	s.wire("wire", 150, y, 180, y)
	s.resistor(180, y, false, "1 kohm")
	s.capacitor(240, y, false, "C1 "+micro(p.Couple))
	s.dot(310, y)
	s.wire("wire", 300, y, 310, y)
	s.diode(310, y+70, true, "D1")
	s.wire("wire", 310, y+10, 310, y)
	s.ground(310, y+70)
	s.diode(320, y, false, "D2")
	s.wire("wire", 310, y, 320, y)
	s.wire("wire", 380, y, 660, y)
	s.dot(400, y)
	s.capacitor(400, y, true, "C2 "+micro(p.Store))
	s.ground(400, y+60)
	s.dot(520, y)
	s.resistor(520, y, true, "R "+kilo(p.Bleed))
	s.ground(520, y+60)
	s.box(660, y-50, 210, 120, "Relay stage", "N-channel transistor,", fmt.Sprintf("threshold %.1f to %.1f V", p.Least, p.Most), "coil at 5 to 24 V DC, fused,", "diode across the coil, reversed", "contact: to the closed box")
	s.wire("wire", 760, y+70, 760, y+90)
	s.ground(760, y+90)
	s.words(20, 300, "plain", fmt.Sprintf("D1, D2: small Schottky diodes, about %.1f V. C1 is a film capacitor. The store stands at %.2f V while the line pulses.", p.Drop, p.Peak()))
	s.words(20, 322, "plain", fmt.Sprintf("Drop-out after the last pulse, thresholds and tolerances (C ±%.0f %%, R ±%.0f %%) included: %.2f s to %.2f s, and the relay's own few ms.", p.CapTolerance*100, p.BleedTolerance*100, short, long))
	s.words(20, 344, "plain", fmt.Sprintf("One stray pulse gives %.2f V, below every threshold: it starts nothing. On after at most %d pulses, %.2f s.", p.step(0), p.Rises(), float64(p.Rises())/p.Rate))
	s.words(20, 366, "plain", "A line that stands still, high or low, holds nothing: a hung or dead program, a hung kernel, a pin that is high at boot.")
	s.words(20, 388, "plain", "It does not cover: a welded relay or contactor, a program that goes on pulsing, the wheel that coasts on.")
	s.words(20, 420, "warn", "Extra-low voltage only. No safety function. The relay's contact switches a coil in the closed box; what is in there:")
	s.words(20, 442, "warn", "licensed electrician, local code.")
	return s.svg()
}
