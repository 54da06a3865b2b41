// Package servo moves a gate with a hobby servo: it turns "push towards open" into the width of a pulse, and
// ends the pulses when the move is over, so that a servo that holds by friction rests cool and still.
package servo

import (
	"fmt"
	"time"

	"ductwarden/gates"
)

// Pulser sends the pulses. The chip's driver happens to satisfy it.
type Pulser interface {
	// SetPulse gives the channel one pulse of this width in each period.
	SetPulse(channel int, width time.Duration) error
	// Off ends the channel's pulses.
	Off(channel int) error
}

// forgetful is a pulser that can lose its pulses by itself, and counts how often it has.
type forgetful interface{ Resets() int }

// The widths that a servo may ever get. Makers give 500 to 2500 us for half a turn; 1000 to 2000 us suits all.
// Common practice.
const (
	NarrowestPulse = 400 * time.Microsecond
	WidestPulse    = 2600 * time.Microsecond
)

const (
	slewStep = 20 * time.Millisecond // of a slowed move: one pulse period
	retry    = 50 * time.Millisecond // of a pulse that the board did not take
)

// Settings of one servo.
type Settings struct {
	Board        string        // for messages, "pca9685@0x40"
	Channel      int           // of the board
	Open, Closed time.Duration // pulse widths at the ends, found with jog
	Least, Most  time.Duration // never driven beyond; zero for the narrower and the wider of the ends
	Travel       time.Duration // from end to end
	// Hold keeps the pulses after a move, for a gate that drifts. It must not be used where the servo may end
	// up pushing against a jam: that heats it, and only Halt ends it. Without it the servo is released.
	Hold bool
	// LongestRun ends a push that nobody has ended. Zero for half a second more than the motion machine's own
	// longest run at the usual time to prove; give more where a gate has a longer one.
	LongestRun time.Duration
	// Slew is the longest move in one pulse period of 20 ms, for a gate that must go gently: a slow servo
	// meets a finger or a chip with a small error, hence with little force. Zero moves at the servo's own
	// speed. The first move after a release starts from a place that nobody knows and goes at full speed.
	Slew time.Duration
}

// Servo is one gate's servo. It is used on the goroutine that owns its board's bus.
type Servo struct {
	out Pulser
	set Settings

	level   gates.Drive
	target  time.Duration // pulse wanted, zero for none
	at      time.Duration // pulse sent last, zero for none
	applied bool          // the board has taken it
	cut     time.Duration // when the push ends by itself
	due     time.Duration // next step or try; zero for none
	resets  int
}

var _ gates.Actuator = (*Servo)(nil)

// New makes a servo. Nothing is sent.
func New(out Pulser, s Settings) (*Servo, error) {
	if s.Least == 0 {
		s.Least = min(s.Open, s.Closed)
	}
	if s.Most == 0 {
		s.Most = max(s.Open, s.Closed)
	}
	if s.LongestRun == 0 {
		s.LongestRun = usualLongestRun(s.Travel)
	}
	v := &Servo{out: out, set: s, applied: true}
	switch {
	case s.Least < NarrowestPulse || s.Most > WidestPulse || s.Least >= s.Most:
		return nil, fmt.Errorf("%v: pulses from %v to %v are outside %v to %v: give the limits of this servo", v, s.Least, s.Most, NarrowestPulse, WidestPulse)
	case s.Open == s.Closed:
		return nil, fmt.Errorf("%v: open and closed are the same pulse, %v: find both ends with jog", v, s.Open)
	case !v.within(s.Open) || !v.within(s.Closed):
		return nil, fmt.Errorf("%v: its ends, %v open and %v closed, are beyond its limits, %v to %v: correct one of them", v, s.Open, s.Closed, s.Least, s.Most)
	case s.Travel <= 0 || s.LongestRun < s.Travel:
		return nil, fmt.Errorf("%v: a longest run of %v is less than the travel of %v: give a longer one", v, s.LongestRun, s.Travel)
	case s.Slew < 0:
		return nil, fmt.Errorf("%v: a slew of %v cannot be: give a step like 20us, or none", v, s.Slew)
	}
	v.resets = v.boardResets()
	return v, nil
}

// usualLongestRun is half a second more than the motion machine drives a gate without a stop, so that a driver's
// own cut comes only where the machine has failed.
func usualLongestRun(travel time.Duration) time.Duration {
	l := gates.Limits{Travel: gates.Span(travel / time.Millisecond)}
	return time.Duration(l.LongestRun())*time.Millisecond + 500*time.Millisecond
}

func (v *Servo) within(w time.Duration) bool { return w >= v.set.Least && w <= v.set.Most }

// String names board and channel, "pca9685@0x40/3".
func (v *Servo) String() string { return fmt.Sprintf("%s/%d", v.set.Board, v.set.Channel) }

// Drive implements gates.Actuator. DriveNone releases the servo, or with Hold leaves its pulses on.
func (v *Servo) Drive(now time.Duration, d gates.Drive) error {
	v.forget()
	if d == v.level {
		return nil
	}
	v.level = d
	switch d {
	case gates.DriveOpen:
		return v.push(now, v.set.Open)
	case gates.DriveClose:
		return v.push(now, v.set.Closed)
	}
	v.cut = 0
	if v.set.Hold && v.at != 0 {
		v.target = v.at // where a slowed move has got to
		return v.apply(now)
	}
	v.target = 0
	return v.apply(now)
}

func (v *Servo) push(now, width time.Duration) error {
	v.target = width
	v.cut = now + v.set.LongestRun
	return v.apply(now)
}

// Step sends one pulse width for the bench, within the limits; the level of Drive is none. The longest run
// ends it.
func (v *Servo) Step(now, width time.Duration) error {
	if !v.within(width) {
		return fmt.Errorf("%v: a pulse of %v is beyond the servo's limits, %v to %v: widen them in the shop file if the servo can go there", v, width, v.set.Least, v.set.Most)
	}
	v.forget()
	v.level = gates.DriveNone
	return v.push(now, width)
}

// apply brings the board nearer to the target: at once, or by one step of a slowed move.
func (v *Servo) apply(now time.Duration) error {
	if v.target == 0 {
		return v.send(now, 0)
	}
	next := v.target
	if s := v.set.Slew; s > 0 && v.at != 0 {
		next = min(max(next, v.at-s), v.at+s)
	}
	return v.send(now, next)
}

func (v *Servo) send(now, width time.Duration) error {
	var err error
	switch {
	case width == v.at && v.applied:
	case width == 0:
		err = v.out.Off(v.set.Channel)
	default:
		err = v.out.SetPulse(v.set.Channel, width)
	}
	v.at, v.applied, v.due = width, err == nil, 0
	switch {
	case err != nil:
		v.due = now + retry
		return fmt.Errorf("%v: %w", v, err)
	case v.at != v.target:
		v.due = now + slewStep
	}
	return nil
}

// forget follows a board that has lost its pulses: nothing is sent, and nothing is pushed until the next
// Drive says so, which is how the core brings gates back one at a time.
func (v *Servo) forget() {
	n := v.boardResets()
	if n == v.resets {
		return
	}
	v.resets = n
	v.level, v.target, v.at, v.applied, v.cut, v.due = gates.DriveNone, 0, 0, true, 0, 0
}

func (v *Servo) boardResets() int {
	if f, ok := v.out.(forgetful); ok {
		return f.Resets()
	}
	return 0
}

// Poll implements gates.Actuator: it makes the next step of a slowed move, tries again what the board did not
// take, and ends a push that has lasted for the longest run.
func (v *Servo) Poll(now time.Duration) (next time.Duration, err error) {
	v.forget()
	switch {
	case v.cut != 0 && now >= v.cut:
		v.cut, v.target = 0, 0
		err = v.apply(now)
	case v.due != 0 && now >= v.due:
		err = v.apply(now)
	}
	return earlier(v.cut, v.due), err
}

// earlier is the smaller of two times of which zero means none.
func earlier(a, b time.Duration) time.Duration {
	if a == 0 || b != 0 && b < a {
		return b
	}
	return a
}

// Halt implements gates.Actuator: the pulses end, held or not.
func (v *Servo) Halt() error {
	v.level, v.target, v.cut = gates.DriveNone, 0, 0
	v.at, v.applied = 0, false // also where nothing was ever sent by this program
	return v.send(0, 0)
}
