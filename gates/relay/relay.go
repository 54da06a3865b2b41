// Package relay moves a gate with two lines, one for each direction: a linear actuator behind a pair of
// relays, or a valve with two coils. Never are both on, and between two directions both are off for a while.
package relay

import (
	"fmt"
	"time"

	"ductwarden/gates"
)

// Line is an output; true is on, whatever its polarity.
type Line interface{ Set(level bool) error }

// LeastDeadTime is the shortest time with both lines off before the direction turns: the contacts of one
// relay must have opened and the motor's current have died. Common practice.
const LeastDeadTime = 100 * time.Millisecond

const (
	retry    = 50 * time.Millisecond // of a line that could not be set
	watchFor = 10 * time.Millisecond // between looks at the end switches while a line is on
)

// Settings of one pair of lines.
type Settings struct {
	Name        string // for messages, "gpiochip0/22+27"
	Open, Close Line
	// Seen is what the gate's end switches show now; nil where there are none. A line is cut when its end is
	// reached.
	Seen       func() gates.Proof
	Travel     time.Duration
	DeadTime   time.Duration // at least 100 ms; zero for that
	LongestRun time.Duration // ends a push that nobody has ended; zero for a little more than the motion machine's own
}

// Relay is one gate's pair of lines. It is used on one goroutine.
type Relay struct {
	set Settings

	level gates.Drive // asked for
	on    gates.Drive // the line that is on, or may be
	taken bool        // it has taken the level
	done  bool        // this level has ended by itself: at its end, or after the longest run
	since time.Duration
	rest  bool          // both lines went off at a time not told: the dead time starts at the next call
	free  time.Duration // from when a line may go on
	due   time.Duration
}

var _ gates.Actuator = (*Relay)(nil)

// New makes a pair and drives both lines off, its first act.
func New(s Settings) (*Relay, error) {
	if s.DeadTime == 0 {
		s.DeadTime = LeastDeadTime
	}
	if s.LongestRun == 0 {
		s.LongestRun = usualLongestRun(s.Travel)
	}
	r := &Relay{set: s}
	switch {
	case s.DeadTime < LeastDeadTime:
		return nil, fmt.Errorf("%v: a dead time of %v is too short for contacts to open: give at least %v", r, s.DeadTime, LeastDeadTime)
	case s.Travel <= 0 || s.LongestRun < s.Travel:
		return nil, fmt.Errorf("%v: a longest run of %v is less than the travel of %v: give a longer one", r, s.LongestRun, s.Travel)
	}
	return r, r.Halt()
}

// usualLongestRun is half a second more than the motion machine drives a gate without a stop, so that a driver's
// own cut comes only where the machine has failed.
func usualLongestRun(travel time.Duration) time.Duration {
	l := gates.Limits{Travel: gates.Span(travel / time.Millisecond)}
	return time.Duration(l.LongestRun())*time.Millisecond + 500*time.Millisecond
}

// String names the lines for messages.
func (r *Relay) String() string { return r.set.Name }

// Drive implements gates.Actuator.
func (r *Relay) Drive(now time.Duration, d gates.Drive) error {
	if d == r.level {
		return nil
	}
	r.level, r.done = d, false
	return r.settle(now)
}

// Poll implements gates.Actuator: it turns the direction when the dead time is over, and cuts a line at its
// end switch or after the longest run.
func (r *Relay) Poll(now time.Duration) (next time.Duration, err error) {
	err = r.settle(now)
	return r.due, err
}

// settle brings the lines nearer to the level and says when it is due again.
func (r *Relay) settle(now time.Duration) error {
	r.due = 0
	r.startRest(now)
	if r.on != gates.DriveNone && !r.done && r.on == r.level {
		r.done = r.arrived(r.level) || now-r.since >= r.set.LongestRun
	}
	want := r.level
	if r.done {
		want = gates.DriveNone
	}
	if r.on != gates.DriveNone && r.on != want {
		if err := r.off(); err != nil {
			r.due = now + retry
			return err
		}
		r.startRest(now)
	}
	switch {
	case want == gates.DriveNone:
		return nil
	case r.on == want && r.taken:
		r.due = r.watch(now)
		return nil
	}
	if r.arrived(want) {
		r.done = true
		return nil
	}
	if now < r.free {
		r.due = r.free
		return nil
	}
	if r.on != want {
		r.since = now
	}
	if err := r.turnOn(want); err != nil {
		r.due = now + retry
		return err
	}
	r.due = r.watch(now)
	return nil
}

// startRest starts a dead time that is due.
func (r *Relay) startRest(now time.Duration) {
	if r.rest {
		r.rest, r.free = false, now+r.set.DeadTime
	}
}

// arrived reports whether the end switch of a direction is made.
func (r *Relay) arrived(d gates.Drive) bool {
	if r.set.Seen == nil {
		return false
	}
	p := r.set.Seen()
	return d == gates.DriveOpen && p == gates.SeenOpen || d == gates.DriveClose && p == gates.SeenClosed
}

// watch is when a line that is on must be looked at again.
func (r *Relay) watch(now time.Duration) time.Duration {
	cut := r.since + r.set.LongestRun
	if r.set.Seen == nil {
		return cut
	}
	return min(cut, now+watchFor)
}

// off drives both lines off. Only when both have taken it is anything else done.
func (r *Relay) off() error {
	a := r.set.Open.Set(false)
	b := r.set.Close.Set(false)
	if a == nil {
		a = b
	}
	if a != nil {
		return fmt.Errorf("%v: a line could not be driven off: %w", r, a)
	}
	r.on, r.rest = gates.DriveNone, true
	return nil
}

// turnOn drives the other line off once more and then this one on.
func (r *Relay) turnOn(d gates.Drive) error {
	this, other := r.set.Open, r.set.Close
	if d == gates.DriveClose {
		this, other = other, this
	}
	if err := other.Set(false); err != nil {
		return fmt.Errorf("%v: a line could not be driven off: %w", r, err)
	}
	r.on, r.taken = d, false // also when the next call fails: the line may be on
	if err := this.Set(true); err != nil {
		return fmt.Errorf("%v: a line could not be driven on: %w", r, err)
	}
	r.taken = true
	return nil
}

// Halt implements gates.Actuator: both lines off.
func (r *Relay) Halt() error {
	r.level, r.done, r.due = gates.DriveNone, false, 0
	return r.off()
}
