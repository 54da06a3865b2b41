package starter

import (
	"fmt"
	"time"
)

// Rates of a pulsed line in Hz. A charge pump that drops out after 0.5 s wants 10 Hz or more and then stands
// several lost pulses; above 100 Hz the small board's scheduling is not to be relied on.
const (
	SlowestRate = 5
	UsualRate   = 20
	FastestRate = 100
)

// UsualLease is how long a pulsed line goes on without being asked again.
const UsualLease = 250 * time.Millisecond

// PulsedSettings of a pulsed line.
type PulsedSettings struct {
	Name string // for messages, "gpiochip0/17"
	Line Line
	Rate int // pulses a second; zero for 20
	// Lease is how long pulses go on after the latest On; zero for 250 ms. The loop asks again on every scan,
	// so this ends the pulses also when they are made on a goroutine that outlives a hanging core.
	Lease time.Duration
}

// Pulsed is a line that is on only while it changes: a charge pump or a retriggerable timer behind it holds
// the contactor's relay, and lets go about half a second after the last change, at whatever level the line
// was left.
type Pulsed struct {
	set   PulsedSettings
	half  time.Duration
	on    bool
	level bool
	off   bool // the line has taken "off"
	asked time.Duration
	edge  time.Duration // of the next change
}

var _ Starter = (*Pulsed)(nil)

// NewPulsed makes a pulsed line and drives it off, its first act.
func NewPulsed(s PulsedSettings) (*Pulsed, error) {
	if s.Rate == 0 {
		s.Rate = UsualRate
	}
	if s.Lease == 0 {
		s.Lease = UsualLease
	}
	if s.Rate < SlowestRate || s.Rate > FastestRate {
		return nil, fmt.Errorf("%s: %d pulses a second cannot be: give %d to %d Hz, as the charge pump wants", s.Name, s.Rate, SlowestRate, FastestRate)
	}
	p := &Pulsed{set: s, half: time.Second / time.Duration(2*s.Rate)}
	if s.Lease < 2*p.half {
		return nil, fmt.Errorf("%s: a lease of %v is shorter than one pulse of %v: give a longer one", s.Name, s.Lease, 2*p.half)
	}
	return p, p.Halt()
}

// String names the line.
func (p *Pulsed) String() string { return p.set.Name }

// On implements Starter. The first one starts the pulses at once.
func (p *Pulsed) On(now time.Duration) error {
	p.asked = now
	if p.on {
		return nil
	}
	p.on = true
	return p.change(now)
}

// Off implements Starter.
func (p *Pulsed) Off(time.Duration) error {
	if !p.on && p.off {
		return nil
	}
	return p.Halt()
}

// Poll implements Starter: it changes the line when that is due. A late call makes one change, never a burst.
func (p *Pulsed) Poll(now time.Duration) (next time.Duration, err error) {
	switch {
	case !p.on && p.off:
		return 0, nil
	case !p.on:
		return now + retry, p.Halt()
	case now-p.asked > p.set.Lease:
		err = p.Halt()
		if err == nil {
			err = fmt.Errorf("%v was not asked for within %v and was let go: the control loop is late", p, p.set.Lease)
			return 0, err
		}
		return now + retry, err
	case now >= p.edge:
		err = p.change(now)
	}
	return min(p.edge, p.asked+p.set.Lease+1), err
}

func (p *Pulsed) change(now time.Duration) error {
	p.edge = now + p.half
	p.off = false
	if err := p.set.Line.Set(!p.level); err != nil {
		return fmt.Errorf("%v could not be pulsed: %w", p, err)
	}
	p.level = !p.level
	return nil
}

// Halt implements Starter.
func (p *Pulsed) Halt() error {
	p.on, p.level = false, false
	if err := p.set.Line.Set(false); err != nil {
		p.off = false
		return fmt.Errorf("%v could not be driven off: %w", p, err)
	}
	p.off = true
	return nil
}

// LeavesBehind implements Starter.
func (p *Pulsed) LeavesBehind() string {
	return "the pulses stop with the program, and the charge pump behind the line lets the collector go within its own time, about 0.5 s; it does not help where the pump, the relay or the contactor sticks"
}
