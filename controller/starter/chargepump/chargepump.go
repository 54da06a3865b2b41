// Package chargepump models what stands behind a pulsed start line: a charge pump whose capacitor each change
// of the line fills a little, and which holds a relay while it is charged. It knows no clock; the simulated
// shop and the tests give it the times.
package chargepump

import "time"

// Usual values of a pump for a line of 20 Hz.
const (
	UsualDropOut = 500 * time.Millisecond
	UsualCharge  = 4 // changes in a row before the relay pulls in, so that a single glitch starts nothing
)

// Pump is a charge pump with its relay. The zero value is a discharged pump with the usual values.
type Pump struct {
	DropOut time.Duration // from the last change of the line to the relay letting go; zero for 0.5 s
	Charge  int           // changes, none further than DropOut from the one before, until the relay pulls in; zero for 4

	level   bool
	changes int // in a row
	last    time.Duration
}

func (p *Pump) dropOut() time.Duration {
	if p.DropOut == 0 {
		return UsualDropOut
	}
	return p.DropOut
}

func (p *Pump) charge() int {
	if p.Charge == 0 {
		return UsualCharge
	}
	return p.Charge
}

// Set tells the level of the line from now on. Times must not fall.
func (p *Pump) Set(now time.Duration, level bool) {
	if level == p.level {
		return
	}
	if now-p.last > p.dropOut() {
		p.changes = 0
	}
	p.level, p.last = level, now
	p.changes++
}

// Holds reports whether the relay is pulled in at now.
func (p *Pump) Holds(now time.Duration) bool {
	return p.changes >= p.charge() && now-p.last <= p.dropOut()
}

// Until is when the relay lets go if the line does not change again; zero when it is not pulled in at the
// last change.
func (p *Pump) Until() time.Duration {
	if p.changes < p.charge() {
		return 0
	}
	return p.last + p.dropOut()
}
