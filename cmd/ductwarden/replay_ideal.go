package main

import (
	"time"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/loop"
	"ductwarden/current"
	"ductwarden/gates"
)

// idealShop is gates and collectors without a fault: a gate takes exactly its travel time, its switches close at
// the ends, a motor turns as soon as its start line is on and is seen to within a fifth of a second. It counts in
// whole nanoseconds, so that every processor sees the same.
type idealShop struct {
	file  *config.Shop
	clock func() time.Duration
}

// build adds actuators, end switches, starters and their proof.
func (s *idealShop) build(shop *controller.Shop, parts *loop.Parts) {
	set := loop.LineSet{Name: "ideal"}
	var ends []func() bool
	for i := range s.file.Gates {
		m := shop.Gates[i].Motion
		g := &idealGate{name: s.file.Gates[i].Name, travel: time.Duration(m.Travel) * time.Millisecond, clock: s.clock}
		if !m.Hand {
			parts.Actuators = append(parts.Actuators, loop.Actuator{Lane: loop.Core, Gate: i, Actuator: g})
		}
		if m.OpenSwitch {
			set.Uses = append(set.Uses, loop.LineUse{Name: g.name + " open", For: loop.EndOpen, N: i})
			ends = append(ends, func() bool { return g.place() == g.travel && g.travel > 0 })
		}
		if m.ClosedSwitch {
			set.Uses = append(set.Uses, loop.LineUse{Name: g.name + " closed", For: loop.EndClosed, N: i})
			ends = append(ends, func() bool { return g.place() == 0 })
		}
	}
	if len(ends) > 0 {
		set.Levels = idealLevels(ends)
		for from := 0; from < len(ends); from += 64 {
			to := min(from+64, len(ends))
			parts.Lines = append(parts.Lines, loop.LineSet{Name: set.Name, Uses: set.Uses[from:to], Levels: idealLevels(ends[from:to])})
		}
	}
	for c := range shop.Collectors {
		m := &idealMotor{name: shop.Collectors[c].Name}
		parts.Starters = append(parts.Starters, nil)
		if shop.Collectors[c].Starter {
			parts.Starters[c] = m
		}
		if shop.Collectors[c].Proof {
			parts.Chips = append(parts.Chips, loop.Chip{Lane: loop.Core, Name: "proof of " + m.name, Poll: m.proof,
				Meters: []loop.Meter{{Meter: m, Collector: c}}})
		}
	}
}

// idealLevels reads end switches.
type idealLevels []func() bool

// Read gives one bit a switch.
func (l idealLevels) Read() (levels uint64, err error) {
	for i, made := range l {
		if made() {
			levels |= 1 << uint(i)
		}
	}
	return levels, nil
}

// idealGate moves evenly; at is how far it was open at since.
type idealGate struct {
	name   string
	travel time.Duration
	clock  func() time.Duration
	drive  gates.Drive
	at     time.Duration // of travel
	since  time.Duration
}

func (g *idealGate) place() time.Duration {
	moved := (g.clock() - g.since) * time.Duration(g.drive)
	return max(0, min(g.travel, g.at+moved))
}

// Drive sets the direction.
func (g *idealGate) Drive(now time.Duration, d gates.Drive) error {
	if d != g.drive {
		g.at = g.place()
		g.since, g.drive = now, d
	}
	return nil
}

// Poll has nothing to do.
func (g *idealGate) Poll(time.Duration) (time.Duration, error) { return 0, nil }

// Halt stops the gate where it is.
func (g *idealGate) Halt() error { return g.Drive(g.clock(), gates.DriveNone) }

// String names the gate.
func (g *idealGate) String() string { return "ideal gate " + g.name }

// idealMotor is a collector's motor and its proof.
type idealMotor struct {
	name string
	on   bool
	seen bool
	next time.Duration
}

const seenAfter = 200 * time.Millisecond

// On starts it.
func (m *idealMotor) On(now time.Duration) error { return m.set(now, true) }

// Off stops it.
func (m *idealMotor) Off(now time.Duration) error { return m.set(now, false) }

func (m *idealMotor) set(now time.Duration, on bool) error {
	if on != m.on {
		m.on, m.next = on, now+seenAfter
	}
	return nil
}

// Poll has nothing to do.
func (m *idealMotor) Poll(time.Duration) (time.Duration, error) { return 0, nil }

// Halt stops it.
func (m *idealMotor) Halt() error { m.on = false; return nil }

// proof shows what the motor did a fifth of a second ago.
func (m *idealMotor) proof(now time.Duration) (time.Duration, error) {
	if now >= m.next {
		m.seen = m.on
	}
	return now + 25*time.Millisecond, nil
}

// Belief says whether it is seen to turn.
func (m *idealMotor) Belief() current.Belief {
	if m.seen {
		return current.Running
	}
	return current.Idle
}

// Health is always good.
func (m *idealMotor) Health() current.Health { return current.Good }

// RMS has no figure.
func (m *idealMotor) RMS() (int32, bool) { return 0, false }

// String names the motor.
func (m *idealMotor) String() string { return "ideal motor " + m.name }
