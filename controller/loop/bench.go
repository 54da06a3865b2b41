package loop

import (
	"errors"
	"sync"
	"sync/atomic"
	"time"

	"ductwarden/controller"
	"ductwarden/current"
	"ductwarden/gates"
)

// ErrOnDuty says that the bench cannot be used: the automatic might move what a person has a hand at.
var ErrOnDuty = errors.New("the shop is on duty: halt it first (`ductwarden halt`, or Halt on the page), then nothing moves by itself")

// bench keeps the automatic and the bench apart: while a person jogs a gate or learns a machine nobody can press
// Ready, and while the shop is on duty nobody gets the bench.
type bench struct {
	mu       sync.Mutex
	reserved bool
	onDuty   bool // after the latest step
}

// Reserve takes the bench: Ready and every request that would move something is refused until Free. It never waits.
func (l *Loop) Reserve() error {
	l.bench.mu.Lock()
	defer l.bench.mu.Unlock()
	if l.bench.onDuty {
		return ErrOnDuty
	}
	l.bench.reserved = true
	return nil
}

// Free gives the bench back.
func (l *Loop) Free() {
	l.bench.mu.Lock()
	l.bench.reserved = false
	l.bench.mu.Unlock()
}

// Reserved reports whether somebody is at the bench.
func (l *Loop) Reserved() bool {
	l.bench.mu.Lock()
	defer l.bench.mu.Unlock()
	return l.bench.reserved
}

// refuses reports whether an event must wait until the bench is free: what a person or the network asks for, except
// what stops.
func (b *bench) refuses(kind controller.EventKind) bool {
	if !b.reserved {
		return false
	}
	switch kind {
	case controller.ReadyPressed, controller.MachinePressed, controller.CallAir, controller.HoldGate,
		controller.SelectGate, controller.SelectCollector:
		return true
	}
	return false
}

// Borrower drives one gate's actuator in the core's place. It is called on the actuator's lane.
type Borrower interface {
	// Move does what is due and returns when it wants to be called again; zero: not until Nudge.
	Move(now time.Duration, a gates.Actuator) (next time.Duration, err error)
}

// lending is a gate's actuator in other hands.
type lending struct {
	to      atomic.Pointer[Borrower]
	resting atomic.Bool // given back: it is to be made inert before the core has it again
}

// Lend hands a gate's actuator to the bench until Return. It reports false where the gate has none.
func (l *Loop) Lend(gate int, to Borrower) bool {
	d := l.drives[gate]
	if d == nil {
		return false
	}
	d.lent.to.Store(&to)
	d.self.Wake()
	return true
}

// Nudge has a borrower called as soon as may be.
func (l *Loop) Nudge(gate int) { l.drives[gate].self.Wake() }

// Unheard reports whether the chip that moves a gate does not answer as it should. It is for tasks on the core's lane.
func (l *Loop) Unheard(gate int) bool { return l.gateSilent(gate) }

// Return gives a gate's actuator back, inert. Where the gate stands is known to nobody then.
func (l *Loop) Return(gate int) {
	d := l.drives[gate]
	d.lent.resting.Store(true)
	d.lent.to.Store(nil)
	d.self.Wake()
	l.Post(controller.Event{Kind: controller.GateChip, By: controller.FromSensor, N: uint8(gate), V: 3})
}

// lent reports whether a gate is in the bench's hands: what its switches then show is that person's doing.
func (l *Loop) lent(gate int) bool {
	d := l.drives[gate]
	return d != nil && d.lent.to.Load() != nil
}

// moved lets a borrower drive; ok is false where the core has the actuator.
func (t *driveTask) moved(now time.Duration) (next time.Duration, ok bool) {
	to := t.lent.to.Load()
	if t.lent.resting.Swap(false) {
		_ = t.actuator.Halt()
	}
	if to == nil {
		return 0, false
	}
	next, _ = (*to).Move(now, t.actuator)
	polled, _ := t.actuator.Poll(now)
	if next == 0 || polled != 0 && polled < next {
		next = polled
	}
	if next == 0 || next > now+reassert {
		next = now + reassert
	}
	return next, true
}

// Seen is what a meter says at present.
type Seen struct {
	Name         string // chip and channel
	Machines     controller.Set
	Collector    int // -1: none
	Milliamperes int32
	Measured     bool // Milliamperes is worth something
	Belief       current.Belief
	Health       current.Health
}

// Sight appends what every meter on a chip says at present. It may be called from any goroutine.
func (l *Loop) Sight(out []Seen) []Seen {
	for _, t := range l.chips {
		for i := range t.chip.Meters {
			m, s := &t.chip.Meters[i], t.sights[i]
			ma, ok := s.rms()
			out = append(out, Seen{Name: m.String(), Machines: m.Machines, Collector: m.Collector,
				Milliamperes: ma, Measured: ok, Belief: s.belief(), Health: s.health()})
		}
	}
	return out
}
