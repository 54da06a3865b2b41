package starter

import (
	"fmt"
	"time"
)

// Times that a button is pressed. Contactors pull in within about 50 ms; half a second suits any. Common
// practice.
const (
	ShortestPress = 100 * time.Millisecond
	UsualPress    = 500 * time.Millisecond
	LongestPress  = 5 * time.Second
)

// MomentarySettings of the two buttons of a starter that holds itself.
type MomentarySettings struct {
	Name        string // for messages, "gpiochip0/5+6"
	Start, Stop Line   // each pressed while on
	Press       time.Duration
}

// Momentary presses the start and stop buttons of a starter that is already there. Stop outranks start: both
// are never pressed together.
type Momentary struct {
	set     MomentarySettings
	wanted  bool // the motor
	done    bool // the button for it has been pressed
	press   button
	until   time.Duration // of the present press; zero: its end is not fixed yet
	trouble bool          // a line has not taken its level
}

type button uint8

const (
	neither button = iota
	startButton
	stopButton
)

var _ Starter = (*Momentary)(nil)

// NewMomentary makes the pair. Its first act is to let go of start and to press stop, which the first Polls
// bring to an end.
func NewMomentary(s MomentarySettings) (*Momentary, error) {
	if s.Press == 0 {
		s.Press = UsualPress
	}
	if s.Press < ShortestPress || s.Press > LongestPress {
		return nil, fmt.Errorf("%s: a press of %v cannot be: give %v to %v", s.Name, s.Press, ShortestPress, LongestPress)
	}
	m := &Momentary{set: s}
	return m, m.Halt()
}

// String names the lines.
func (m *Momentary) String() string { return m.set.Name }

// On implements Starter. Start is pressed once; where the motor does not follow, its proof tells.
func (m *Momentary) On(now time.Duration) error {
	if !m.wanted {
		m.wanted, m.done = true, false
	}
	return m.settle(now)
}

// Off implements Starter. Stop is pressed once, also in the middle of a press of start.
func (m *Momentary) Off(now time.Duration) error {
	if m.wanted {
		m.wanted, m.done = false, false
	}
	return m.settle(now)
}

// Poll implements Starter.
func (m *Momentary) Poll(now time.Duration) (next time.Duration, err error) {
	err = m.settle(now)
	switch {
	case m.trouble:
		return now + retry, err
	case m.press != neither:
		return m.until, err
	}
	return 0, err
}

// settle ends a press that has lasted, and begins the one that is wanted. A press counts from when its lines
// have taken it.
func (m *Momentary) settle(now time.Duration) error {
	change := m.trouble
	if !m.trouble && m.press != neither {
		if m.until == 0 {
			m.until = now + m.set.Press
		}
		if now >= m.until {
			m.press, change = neither, true
		}
	}
	if m.press == startButton && !m.wanted {
		m.press, change = neither, true
	}
	if m.press == neither && !m.done {
		m.done, change = true, true
		m.press, m.until = stopButton, 0
		if m.wanted {
			m.press = startButton
		}
	}
	if !change {
		return nil
	}
	if err := m.assert(); err != nil {
		return err
	}
	if m.press != neither {
		m.until = now + m.set.Press
	}
	return nil
}

// assert gives both lines their level; a press is let go before the other begins.
func (m *Momentary) assert() error {
	m.trouble = true
	first, second := m.set.Start, m.set.Stop
	a, b := m.press == startButton, m.press == stopButton
	if a {
		first, second, a, b = second, first, b, a
	}
	if err := first.Set(a); err != nil {
		return fmt.Errorf("%v: a button could not be let go: %w", m, err)
	}
	if err := second.Set(b); err != nil {
		return fmt.Errorf("%v: a button could not be pressed: %w", m, err)
	}
	m.trouble = false
	return nil
}

// Halt implements Starter: start is let go and stop is pressed. Poll lets go of it.
func (m *Momentary) Halt() error {
	m.wanted, m.done = false, true
	m.press, m.until = stopButton, 0
	return m.assert()
}

// LeavesBehind implements Starter.
func (m *Momentary) LeavesBehind() string {
	return "the starter holds itself: the collector runs on until a person presses its stop button, or the program comes back and presses it; a program that dies within a press leaves that button pressed"
}
