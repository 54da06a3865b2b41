package loop

import (
	"time"

	"ductwarden/current"
)

// stillShare is the share of the turning pressure below which a fan counts as standing still: a wide gap, because
// a coasting wheel still draws.
const stillShare = 0.7

// PressureMeter takes a fan's pressure as the evidence that it turns. It is a current.Meter whose converter is
// polled elsewhere.
type PressureMeter struct {
	name    string
	read    func() (pascals float64, ok bool)
	turning float64
	belief  current.Belief
	seen    bool // a reading has come at all
}

// NewPressureMeter makes the evidence from a tap: at or above turning (Pa) the fan blows.
func NewPressureMeter(name string, read func() (pascals float64, ok bool), turning float64) *PressureMeter {
	return &PressureMeter{name: name, read: read, turning: turning}
}

// Poll implements current.Meter.
func (m *PressureMeter) Poll(time.Duration) (time.Duration, error) { return 0, nil }

// Belief implements current.Meter.
func (m *PressureMeter) Belief() current.Belief {
	p, ok := m.read()
	switch {
	case !ok:
		m.belief = current.Unknown
		return m.belief
	case p >= m.turning:
		m.belief = current.Running
	case p < stillShare*m.turning || m.belief == current.Unknown:
		m.belief = current.Idle
	}
	m.seen = true
	return m.belief
}

// Health implements current.Meter.
func (m *PressureMeter) Health() current.Health {
	_, ok := m.read()
	switch {
	case ok:
		return current.Good
	case m.seen:
		return current.Lost
	}
	return current.HealthUntried
}

// RMS implements current.Meter: there is none.
func (m *PressureMeter) RMS() (int32, bool) { return 0, false }

// String names the tap.
func (m *PressureMeter) String() string { return m.name }
