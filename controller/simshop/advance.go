package simshop

import (
	"cmp"
	"slices"
	"time"
)

// look is how often the shop is moved on though nobody asks it anything.
const look = 20 * time.Millisecond

// Poll moves the shop on; it is the shop's task under the scheduler.
func (s *Shop) Poll(now time.Duration) time.Duration {
	s.advance(now)
	next := now + look
	if len(s.later) > 0 {
		next = min(next, s.later[0].at)
	}
	return next
}

// advance moves everything that moves up to now, in fixed steps.
func (s *Shop) advance(now time.Duration) {
	for s.now+quantum <= now {
		s.now += quantum
		s.step(s.now)
	}
}

// At lets a script do something at a moment. Things of one moment are done in the order in which they were
// asked for.
func (s *Shop) At(at time.Duration, do func()) {
	e := event{at: at, seq: s.seq, do: do}
	s.seq++
	i, _ := slices.BinarySearchFunc(s.later, e, func(a, b event) int {
		return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.seq, b.seq)) // a difference would not fit an int of 32 bits
	})
	s.later = slices.Insert(s.later, i, e)
}

func (s *Shop) step(now time.Duration) {
	for len(s.later) > 0 && s.later[0].at <= now {
		e := s.later[0]
		s.later = slices.Delete(s.later, 0, 1)
		e.do()
	}
	s.presses = slices.DeleteFunc(s.presses, func(p press) bool {
		if p.until <= now {
			p.wire.set(now, p.low)
			return true
		}
		return false
	})
	for _, b := range s.boards {
		if b.enable != nil {
			b.pulses.SetOE(b.enable.high == b.enableLow) // true on the line lets the pulses out
		}
	}
	for i := range s.gates {
		s.gates[i].move(quantum)
	}
	for i := range s.fans {
		f := &s.fans[i]
		was := f.powered
		f.switched(f.coil(now))
		if was != f.powered {
			f.motor.switched(now, f.powered)
		}
		if !f.steady() {
			f.turn(quantum)
		}
	}
}

// move pushes a gate by what its actuator does now.
func (g *gate) move(step time.Duration) {
	switch {
	case g.pulses != nil:
		if w := g.pulses(); w > 0 {
			sv := g.file.Actuator.Servo
			g.push(float64(w-sv.Closed)/float64(sv.Open-sv.Closed), step)
			return
		}
	case g.remote != 0:
		g.push(float64((g.remote+1)/2), step)
		return
	case g.open != nil:
		up, down := g.open.high != g.active[0], g.close.high != g.active[1]
		switch {
		case up && !down:
			g.push(1, step)
			return
		case down && !up:
			g.push(0, step)
			return
		}
	}
	g.rest()
}
