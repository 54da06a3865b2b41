package broker

import (
	"cmp"
	"slices"
	"sync"
	"time"

	"ductwarden/controller/publish"
)

const (
	solo    = 2 // losses after which a message is sent alone, to see whether it is to blame
	blame   = 4 // losses after which it is set aside
	timeout = 10 * time.Minute
)

// outbox holds what is to be said: the newest payload a topic, and a bounded ring of events. Its size hangs on
// the number of topics, never on time.
type outbox struct {
	mu      sync.Mutex
	slots   map[string]*slot
	queue   []string // topics to send, each once, oldest first
	events  events
	made    uint64 // numbers slots in order of making
	dropped int64
	wake    chan struct{}
}

// slot is one topic.
type slot struct {
	m       publish.Message
	number  uint64
	version uint64 // raised by each put
	queued  bool
	losses  int       // connections lost in a row while it was on its way
	aside   time.Time // not sent again before, unless it changes
}

// parcel is one message on its way.
type parcel struct {
	m       publish.Message
	version uint64
	event   bool
	at      time.Time // of an event: when it was told; else when it was taken
	solo    bool
}

func newOutbox() *outbox {
	return &outbox{slots: map[string]*slot{}, wake: make(chan struct{}, 1)}
}

func (o *outbox) knock() {
	select {
	case o.wake <- struct{}{}:
	default:
	}
}

func (o *outbox) put(all ...publish.Message) {
	o.mu.Lock()
	for _, m := range all {
		s := o.slots[m.Topic]
		if s == nil {
			o.made++
			s = &slot{number: o.made}
			o.slots[m.Topic] = s
		}
		if string(s.m.Payload) != string(m.Payload) {
			s.losses, s.aside = 0, time.Time{}
		}
		s.m = m
		s.version++
		o.enqueue(m.Topic, s)
	}
	o.mu.Unlock()
	o.knock()
}

func (o *outbox) enqueue(topic string, s *slot) {
	if !s.queued {
		s.queued = true
		o.queue = append(o.queue, topic)
	}
}

func (o *outbox) tell(now time.Time, all ...publish.Message) {
	o.mu.Lock()
	for _, m := range all {
		if o.events.push(event{m, now}) {
			o.dropped++
		}
	}
	o.mu.Unlock()
	o.knock()
}

// again makes everything due, in the order in which the topics came to be, and says how many there are.
func (o *outbox) again(now time.Time) int {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.queue = o.queue[:0]
	for topic, s := range o.slots {
		s.queued = false
		if now.After(s.aside) {
			o.enqueue(topic, s)
		}
	}
	slices.SortFunc(o.queue, func(a, b string) int { return cmp.Compare(o.slots[a].number, o.slots[b].number) })
	return len(o.queue)
}

// take gives the next message: state before events. flying is how many are on their way; a message that has
// been on its way at several losses flies alone.
func (o *outbox) take(now time.Time, flying int, stale time.Duration) (parcel, bool) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for len(o.queue) > 0 {
		s := o.slots[o.queue[0]]
		alone := s.losses >= solo
		if alone && flying > 0 {
			return parcel{}, false
		}
		o.queue = slices.Delete(o.queue, 0, 1)
		s.queued = false
		if now.Before(s.aside) {
			continue
		}
		return parcel{m: s.m, version: s.version, at: now, solo: alone}, true
	}
	for {
		e, ok := o.events.pop()
		if !ok {
			return parcel{}, false
		}
		if now.Sub(e.at) > stale {
			o.dropped++ // an automation must not act on what happened long ago
			continue
		}
		return parcel{m: e.m, event: true, at: e.at}, true
	}
}

// arrived notes that the broker has it.
func (o *outbox) arrived(p parcel) {
	if p.event {
		return
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	s := o.slots[p.m.Topic]
	if s == nil || s.version != p.version {
		return
	}
	s.losses = 0
	if len(p.m.Payload) == 0 && !s.queued {
		delete(o.slots, p.m.Topic) // cleared, and the broker knows
	}
}

// lost takes back the events that were on their way when the connection broke (state is made due anew by again,
// when the next session begins), and names the topics that are set aside
// because they broke it every time.
func (o *outbox) lost(now time.Time, all []parcel) (aside []string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, p := range slices.Backward(all) {
		if p.event && o.events.back(event{p.m, p.at}) {
			o.dropped++
		}
	}
	for _, p := range all {
		if p.event {
			continue
		}
		s := o.slots[p.m.Topic]
		if s == nil {
			continue
		}
		if s.version == p.version {
			if s.losses++; s.losses >= blame {
				s.aside = now.Add(timeout)
				aside = append(aside, p.m.Topic)
			}
		}
	}
	return aside
}

// payload is what a topic holds or is about to hold; ok is false for a topic that is not ours.
func (o *outbox) payload(topic string) (b []byte, ok bool) {
	o.mu.Lock()
	defer o.mu.Unlock()
	s := o.slots[topic]
	if s == nil {
		return nil, false
	}
	return s.m.Payload, true
}

// holds reports whether any topic begins with this.
func (o *outbox) holds(prefix string) bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	for topic := range o.slots {
		if len(topic) > len(prefix) && topic[:len(prefix)] == prefix {
			return true
		}
	}
	return false
}

func (o *outbox) counts() (topics, due, events int, dropped int64) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return len(o.slots), len(o.queue), o.events.n, o.dropped
}
