// Package contact takes a contact that closes while a machine runs: a current-operated switch, the auxiliary
// contact of a starter, the run relay of a drive. It reads no line itself: the loop feeds it levels.
package contact

import (
	"fmt"
	"time"

	"ductwarden/current"
)

// DefaultDebounce holds for relay and current-switch contacts: common practice is 50 to 100 ms for a current
// switch, whose contact chatters near its trip level.
const DefaultDebounce = 50 * time.Millisecond

// Settings of a contact.
type Settings struct {
	Name      string        // of the line, for messages
	ActiveLow bool          // the line is low while the machine runs
	Debounce  time.Duration // how long a level must stand; zero means DefaultDebounce
}

// Contact is one machine's contact, a current.Meter. One goroutine feeds and asks it.
type Contact struct {
	set    Settings
	belief current.Belief
	level  bool // the newest, polarity taken off: true while the machine runs
	since  time.Duration
	fed    bool
	lost   bool
}

// New makes a contact; its belief is Unknown until a level has stood for the debounce time.
func New(s Settings) (*Contact, error) {
	if s.Debounce == 0 {
		s.Debounce = DefaultDebounce
	}
	if s.Debounce < 0 || s.Debounce > 2*time.Second {
		return nil, fmt.Errorf("contact %s: a debounce of %v: give 0 s to 2 s", s.Name, s.Debounce)
	}
	return &Contact{set: s}, nil
}

// Line feeds the level of the line at a time; high is the electrical level.
func (c *Contact) Line(at time.Duration, high bool) {
	level := high != c.set.ActiveLow
	if !c.fed || c.lost || level != c.level {
		c.level, c.since = level, at
	}
	c.fed, c.lost = true, false
	c.settle(at)
}

// Fail says that the line cannot be read: the belief is Unknown until it can.
func (c *Contact) Fail(time.Duration) { c.lost, c.belief = true, current.Unknown }

// Poll lets time pass; next is when a waiting level will have stood long enough, zero when nothing waits.
func (c *Contact) Poll(now time.Duration) (next time.Duration, err error) {
	c.settle(now)
	if c.fed && !c.lost && c.belief != c.says() {
		return c.since + c.set.Debounce, nil
	}
	return 0, nil
}

func (c *Contact) settle(now time.Duration) {
	if c.fed && !c.lost && now-c.since >= c.set.Debounce {
		c.belief = c.says()
	}
}

func (c *Contact) says() current.Belief {
	if c.level {
		return current.Running
	}
	return current.Idle
}

// Belief is the debounced state.
func (c *Contact) Belief() current.Belief { return c.belief }

// Health is Good while the line can be read.
func (c *Contact) Health() current.Health {
	switch {
	case c.lost:
		return current.Lost
	case !c.fed:
		return current.HealthUntried
	}
	return current.Good
}

// RMS is never known from a contact.
func (c *Contact) RMS() (int32, bool) { return 0, false }

// String names the line.
func (c *Contact) String() string { return "contact@" + c.set.Name }
