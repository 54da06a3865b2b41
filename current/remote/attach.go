package remote

import "time"

// Broker brings messages. handle must return at once; retained tells that the broker kept the message, so that
// it may be of any age.
type Broker interface {
	Watch(filter string, handle func(topic string, payload []byte, retained bool))
}

// Attach lets messages of the reading's topic, and of the topic that tells whether the sender is there ("" for
// none), come to the meter. now is monotonic time since the program started. Call it before the broker
// connects; it may be called once.
func (m *Meter) Attach(b Broker, topic, online string, now func() time.Duration) {
	if online != "" && online != topic {
		b.Watch(online, func(_ string, payload []byte, _ bool) { m.Online(now(), payload) })
	}
	b.Watch(topic, func(_ string, payload []byte, retained bool) {
		if online == topic {
			m.Online(now(), payload)
		}
		m.Message(now(), payload, retained)
	})
}
