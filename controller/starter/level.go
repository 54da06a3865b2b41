package starter

import (
	"fmt"
	"time"
)

// Level is a plain line: on while it is high. It stays on when the program dies, so it needs the forced-off
// helper of the service and says so.
type Level struct {
	name  string
	line  Line
	on    bool
	taken bool // the line has taken what was last asked
	due   time.Duration
}

var _ Starter = (*Level)(nil)

// NewLevel makes a plain line and drives it off, its first act. name is for messages, "gpiochip0/17".
func NewLevel(name string, line Line) (*Level, error) {
	l := &Level{name: name, line: line}
	return l, l.Halt()
}

// String names the line.
func (l *Level) String() string { return l.name }

// On implements Starter.
func (l *Level) On(now time.Duration) error { return l.ask(now, true) }

// Off implements Starter.
func (l *Level) Off(now time.Duration) error { return l.ask(now, false) }

func (l *Level) ask(now time.Duration, on bool) error {
	if l.taken && on == l.on {
		return nil
	}
	l.on, l.due = on, 0
	err := l.line.Set(on)
	l.taken = err == nil
	if err != nil {
		l.due = now + retry
		return fmt.Errorf("%v could not be set: %w", l, err)
	}
	return nil
}

// Poll implements Starter.
func (l *Level) Poll(now time.Duration) (next time.Duration, err error) {
	if !l.taken && now >= l.due {
		err = l.ask(now, l.on)
	}
	return l.due, err
}

// Halt implements Starter.
func (l *Level) Halt() error {
	l.taken = false
	return l.ask(0, false)
}

// LeavesBehind implements Starter.
func (l *Level) LeavesBehind() string {
	return "the line keeps its level when the program dies: the collector runs on until the service's forced-off helper drives the line off, some seconds after a crash or a hang, or until a person uses its own switch"
}
