package publish

import "time"

// Message is one MQTT publication. An empty payload on a retained topic clears it.
type Message struct {
	Topic    string
	Payload  []byte
	Retained bool
	QoS      byte // 0 or 1; 2 is never needed, because state is idempotent
}

// Moment is when a message is made. The clock of a board without a battery is wrong until the network has
// set it: consumers may then order by seq and mono_ms only.
type Moment struct {
	MonoMS int64     // milliseconds since the program started
	Wall   time.Time // the same moment on the wall clock
	Synced bool      // the wall clock has been set
}

// stamp is RFC 3339 in UTC with milliseconds.
const stamp = "2006-01-02T15:04:05.000Z"

// At is the wall time of a monotonic instant, in milliseconds since the program started.
func (m Moment) At(monoMS int64) time.Time {
	return m.Wall.Add(time.Duration(monoMS-m.MonoMS) * time.Millisecond)
}

func (m Moment) stamp() string { return m.Wall.UTC().Format(stamp) }
