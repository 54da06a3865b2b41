// Package remote takes a power or a current that somebody else measures and publishes: a metering socket, a node
// on the broker. It is later than a clamp by seconds, and lost with the network. Old is not zero: without a fresh
// reading the belief is Unknown; a retained message is not fresh.
package remote

import (
	"fmt"
	"sync"
	"time"

	"ductwarden/current"
)

// MaxPayload is the size of the largest message that is looked at, in bytes.
const MaxPayload = 16 << 10

// Settings of a reading. Levels are thousandths of the unit: mW or mA.
type Settings struct {
	Name    string // of the topic, for messages
	Pointer string // JSON pointer (RFC 6901) to the number; empty: the whole message is the number
	Factor  float64
	// Power says that the reading is a power in W after the factor; else it is a current in A.
	Power         bool
	Running, Idle int64         // thousandths of a W or an A
	MaxAge        time.Duration // an older reading is Unknown
	// OnlinePointer, Yes and No read the messages of the topic that tells whether the sender is there.
	OnlinePointer string
	Yes, No       string
}

// Meter is one machine's remote reading, a current.Meter. Messages may come on another goroutine than polls.
type Meter struct {
	set     Settings
	running path
	online  State

	mu      sync.Mutex
	value   int64 // thousandths
	at      time.Duration
	fresh   bool // a message that was not retained has come since the sender was last lost
	seen    bool // any message at all
	lost    bool
	late    bool
	belief  current.Belief
	ignored int
	why     error
}

// New makes a meter; its belief is Unknown until a fresh message has come.
func New(s Settings) (*Meter, error) {
	m := &Meter{set: s}
	if s.Factor == 0 {
		m.set.Factor = 1
	}
	if s.Running <= 0 || s.Idle < 0 || s.Idle >= s.Running {
		return nil, fmt.Errorf("%v: idle is %d and running is %d thousandths: idle must be below running", m, s.Idle, s.Running)
	}
	if s.MaxAge <= 0 {
		return nil, fmt.Errorf("%v: say after what time a reading is too old: a little over twice the sender's period", m)
	}
	var err error
	if m.running, err = parsePath(s.Pointer); err == nil {
		m.online, err = NewState(s.OnlinePointer, s.Yes, s.No)
	}
	if err != nil {
		return nil, fmt.Errorf("%v: %w", m, err)
	}
	return m, nil
}

// Message takes a message of the reading's topic, received at a time. A message without the number in it is
// left (senders publish partial updates) and counted. A retained one tells no news: it was sent before anyone knows.
func (m *Meter) Message(at time.Duration, payload []byte, retained bool) {
	v, err := m.running.thousandths(payload, m.set.Factor)
	m.mu.Lock()
	defer m.mu.Unlock()
	if err != nil {
		m.ignored++
		m.why = fmt.Errorf("%v: %w", m, err)
		return
	}
	m.seen = true
	if retained {
		return
	}
	m.value, m.at, m.fresh, m.lost, m.late, m.why = v, at, true, false, false, nil
	switch {
	case v >= m.set.Running:
		m.belief = current.Running
	case v < m.set.Idle:
		m.belief = current.Idle
	}
	m.settle(at)
}

// Online takes a message of the topic that tells whether the sender is there. That it is there is no reading; that
// it is not makes the belief Unknown at once.
func (m *Meter) Online(at time.Duration, payload []byte) {
	there, err := m.online.Read(payload)
	m.mu.Lock()
	defer m.mu.Unlock()
	switch {
	case err != nil:
		m.ignored++
		m.why = fmt.Errorf("%v: whether the sender is there: %w", m, err)
	case !there:
		m.lose()
	}
}

// Fail says that the broker is gone.
func (m *Meter) Fail(time.Duration) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.lose()
}

func (m *Meter) lose() { m.lost, m.fresh, m.belief = true, false, current.Unknown }

// Poll lets time pass; next is when the reading will be too old, zero when there is none.
func (m *Meter) Poll(now time.Duration) (next time.Duration, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.settle(now)
	if m.fresh {
		next = m.at + m.set.MaxAge + 1
	}
	return next, m.why
}

func (m *Meter) settle(now time.Duration) {
	if m.fresh && now-m.at > m.set.MaxAge {
		m.fresh, m.late, m.belief = false, true, current.Unknown
	}
}

// Belief is what the last fresh reading says.
func (m *Meter) Belief() current.Belief {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.belief
}

// Health is Good while readings are fresh.
func (m *Meter) Health() current.Health {
	m.mu.Lock()
	defer m.mu.Unlock()
	switch {
	case m.lost:
		return current.Lost
	case m.late:
		return current.Late
	case m.fresh:
		return current.Good
	}
	return current.HealthUntried
}

// RMS is the last fresh current in mA; there is none of a power.
func (m *Meter) RMS() (int32, bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.set.Power || !m.fresh {
		return 0, false
	}
	return int32(m.value), true
}

// Milliwatts is the last fresh power; there is none of a current.
func (m *Meter) Milliwatts() (int64, bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.value, m.set.Power && m.fresh
}

// Ignored counts the messages that held no reading, and Err says why the last one did not; nil after a good one.
func (m *Meter) Ignored() int {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.ignored
}

// Err is why the last message was left; nil after a good one.
func (m *Meter) Err() error {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.why
}

// String names the topic.
func (m *Meter) String() string { return "remote@" + m.set.Name }
