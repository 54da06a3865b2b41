// Package button takes a push button beside a machine that calls the air before the start, or for a sweep that
// has no motor: a press calls it for a time, another press ends it. It reads no line itself: the loop feeds it
// levels.
package button

import (
	"fmt"
	"time"

	"ductwarden/current"
)

const (
	// DefaultDebounce holds for push buttons (common practice: 5 to 50 ms).
	DefaultDebounce = 20 * time.Millisecond
	// stuckAfter is how long a button may be held before it counts as stuck.
	stuckAfter = 30 * time.Second
	longestFor = 4 * time.Hour
)

// Settings of a button.
type Settings struct {
	Name      string        // of the line, for messages
	ActiveLow bool          // the line is low while the button is pressed
	Debounce  time.Duration // zero means DefaultDebounce
	For       time.Duration // how long a press calls the air
}

// Button is one button, a current.Meter whose belief is Running while it calls the air. One goroutine feeds and
// asks it.
type Button struct {
	set     Settings
	level   bool // the newest, polarity taken off
	since   time.Duration
	pressed bool // debounced
	ready   bool // seen released since the start or since it was lost
	calling bool
	until   time.Duration
	presses int
	fed     bool
	lost    bool
	now     time.Duration
}

// New makes a button.
func New(s Settings) (*Button, error) {
	if s.Debounce == 0 {
		s.Debounce = DefaultDebounce
	}
	if s.Debounce < 0 || s.Debounce > 2*time.Second {
		return nil, fmt.Errorf("button %s: a debounce of %v: give 0 s to 2 s", s.Name, s.Debounce)
	}
	if s.For <= 0 || s.For > longestFor {
		return nil, fmt.Errorf("button %s: it calls the air for %v: give a time up to %v", s.Name, s.For, longestFor)
	}
	return &Button{set: s}, nil
}

// Line feeds the level of the line at a time; high is the electrical level. A button that is held down at the
// program's start is no press until it has been let go.
func (b *Button) Line(at time.Duration, high bool) {
	level := high != b.set.ActiveLow
	if !b.fed || b.lost || level != b.level {
		b.level, b.since = level, at
	}
	b.fed, b.lost = true, false
	b.settle(at)
}

// Fail says that the line cannot be read. A call that runs goes on to its end.
func (b *Button) Fail(time.Duration) { b.lost, b.ready, b.pressed = true, false, false }

// Poll lets time pass; next is when something will change without a new level, zero when nothing will.
func (b *Button) Poll(now time.Duration) (next time.Duration, err error) {
	b.settle(now)
	if b.fed && !b.lost && (b.level != b.pressed || !b.ready && !b.level) {
		next = b.since + b.set.Debounce
	}
	if b.calling && (next == 0 || b.until < next) {
		next = b.until
	}
	return next, nil
}

func (b *Button) settle(now time.Duration) {
	b.now = max(b.now, now)
	if b.calling && now >= b.until {
		b.calling = false
	}
	if !b.fed || b.lost || now-b.since < b.set.Debounce {
		return
	}
	if !b.level {
		b.ready, b.pressed = true, false
		return
	}
	if b.pressed || !b.ready {
		b.pressed = true
		return
	}
	b.pressed = true
	b.presses++
	b.calling = !b.calling
	b.until = now + b.set.For
}

// Presses counts the debounced presses so far; the loop posts an event for each.
func (b *Button) Presses() int { return b.presses }

// Calling is when the call ends, and whether there is one.
func (b *Button) Calling() (until time.Duration, ok bool) { return b.until, b.calling }

// End ends a call, as another press would.
func (b *Button) End() { b.calling = false }

// Belief is Running while the air is called, Unknown while the line cannot be read, else Idle.
func (b *Button) Belief() current.Belief {
	switch {
	case b.calling:
		return current.Running
	case !b.fed || b.lost:
		return current.Unknown
	}
	return current.Idle
}

// Health is Good while the line can be read, and Flat while the button seems to be stuck.
func (b *Button) Health() current.Health {
	switch {
	case b.lost:
		return current.Lost
	case !b.fed:
		return current.HealthUntried
	case b.level && b.now-b.since >= stuckAfter:
		return current.Flat
	}
	return current.Good
}

// RMS is never known from a button.
func (b *Button) RMS() (int32, bool) { return 0, false }

// String names the line.
func (b *Button) String() string { return "button@" + b.set.Name }
