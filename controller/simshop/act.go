package simshop

import (
	"time"

	"ductwarden/config"
	"ductwarden/controller/airflow"
)

// What people do in the shop. Places are those of the shop file.

// Switch turns a machine's motor on or off.
func (s *Shop) Switch(machine int, on bool) { s.motors[machine].switched(s.clock(), on) }

// Cut puts a machine under load: the share of its full load, 0 while it idles.
func (s *Shop) Cut(machine int, load float64) { s.motors[machine].load = load }

// Lamp lets a current flow with the machine off: a lamp left on, a drive's electronics.
func (s *Shop) Lamp(machine int, amperes float64) { s.motors[machine].standby = amperes }

// Drive gives a machine an electronic drive: it starts without an inrush, over a second or two.
func (s *Shop) Drive(machine int) {
	s.motors[machine].soft, s.motors[machine].runUp = true, 2*runUp
}

// Brake lets direct current brake a machine's motor after each stop.
func (s *Shop) Brake(machine int, lasts time.Duration) { s.motors[machine].brake = lasts }

// Running reports whether a machine's motor really is on.
func (s *Shop) Running(machine int) bool { return s.motors[machine].on }

// Press holds a button down for as long as a finger does.
func (s *Shop) Press(l config.Line) { s.Hold(l, 300*time.Millisecond) }

// Hold makes an input line active for a time.
func (s *Shop) Hold(l config.Line, d time.Duration) {
	now := s.clock()
	w := s.wire(l)
	w.set(now, !l.ActiveLow)
	s.presses = append(s.presses, press{wire: w, low: l.ActiveLow, until: now + d})
}

// Contact makes an input line active or idle until told otherwise.
func (s *Shop) Contact(l config.Line, active bool) { s.wire(l).set(s.clock(), active != l.ActiveLow) }

// Slide moves a gate's blade by hand: 0 is closed, 1 is open. A servo under pulses pulls it back.
func (s *Shop) Slide(gate int, to float64) {
	s.gates[gate].at = min(max(to, 0), 1)
}

// Blade is where a gate's blade is, 0 closed to 1 open.
func (s *Shop) Blade(gate int) float64 { return s.gates[gate].at }

// Strokes counts a gate's strokes.
func (s *Shop) Strokes(gate int) int { return s.gates[gate].moves }

// OwnSwitch works the switch at the collector itself.
func (s *Shop) OwnSwitch(collector int, on bool) { s.fans[collector].byHand = on }

// Wheel is a fan's speed as a share of its running speed; Starts counts how often its motor was started.
func (s *Shop) Wheel(collector int) float64 { return s.fans[collector].speed }

// Starts counts how often a collector's motor was started.
func (s *Shop) Starts(collector int) int { return s.fans[collector].starts }

// Powered reports whether a collector's motor has current.
func (s *Shop) Powered(collector int) bool { return s.fans[collector].powered }

// LoadFilter sets how loaded a collector's filter is, 0 clean to 1 loaded.
func (s *Shop) LoadFilter(collector int, state float64) {
	f := &s.fans[collector]
	f.state, f.air = airflow.State(state), nil
}

// What goes wrong.

// Stick holds a gate's blade where it is; false frees it.
func (s *Shop) Stick(gate int, stuck bool) { s.gates[gate].stuck = stuck }

// Short makes both end switches of a gate show, wherever its blade is.
func (s *Shop) Short(gate int, shorted bool) { s.gates[gate].shorted = shorted }

// Refuse keeps a collector's motor from starting, as an open breaker does; false mends it.
func (s *Shop) Refuse(collector int, refuses bool) { s.fans[collector].refuses = refuses }

// Weld keeps a collector's contactor closed once it has closed; false mends it.
func (s *Shop) Weld(collector int, welded bool) { s.fans[collector].welded = welded }

// Silence takes a chip off its bus; false brings it back.
func (s *Shop) Silence(c config.Chip, silent bool) {
	if b := s.board(c); b != nil {
		b.silent = silent
	}
}

// BrownOut makes a chip forget everything, as a dip of its supply does.
func (s *Shop) BrownOut(c config.Chip) {
	if b := s.board(c); b != nil && b.reset != nil {
		b.reset()
	}
}

// Plug leaves only a share of the flow in a duct and everything upstream of it; 1 clears it.
func (s *Shop) Plug(duct int, share float64) {
	f := &s.fans[s.file.Ducts[duct].Collector]
	if share >= 1 {
		f.plugged = nil
		return
	}
	f.plugged = nil
	for i := range s.file.Ducts {
		if s.file.Ducts[i].Collector != s.file.Ducts[duct].Collector {
			continue
		}
		left := 1.0
		for d := i; d >= 0; d = s.file.Ducts[d].Into {
			if d == duct {
				left = share
			}
		}
		f.plugged = append(f.plugged, left)
	}
}

// OpenBin leaves the collector's bin open, so that it draws its air there; false closes it.
func (s *Shop) OpenBin(collector int, open bool) { s.fans[collector].noAir = open }

// The ways in which a machine's clamp fails.
const (
	ClampSound     = sound
	ClampUnplugged = unplugged
	ClampShorted   = shorted
	ClampFrozen    = frozenValue
	ClampNoisy     = noisyCable
	ClampOnCable   = wholeCable
)

// BreakClamp makes a machine's clamp fail; ClampSound mends it.
func (s *Shop) BreakClamp(machine int, how clampFault) {
	for _, sensor := range s.file.Machines[machine].Sensors {
		if sensor.Clamp != nil {
			s.breakInput(sensor.Clamp.Converter, how)
		}
	}
}

// BreakProof makes the clamp of a collector's own motor fail; ClampSound mends it.
func (s *Shop) BreakProof(collector int, how clampFault) {
	if p := s.file.Collectors[collector].Proof; p != nil && p.Clamp != nil {
		s.breakInput(p.Clamp.Converter, how)
	}
}

func (s *Shop) breakInput(c config.Converter, how clampFault) {
	if b := s.board(c.Chip); b != nil {
		for _, src := range b.inputs[c.Channel] {
			*src.dead = fault{kind: how}
		}
	}
}
