package broker

import (
	"context"
	"errors"
	"math/rand/v2"
	"net/url"
	"strings"
	"sync"
	"time"

	"ductwarden/controller/publish"
)

// Link is one program's connection to its broker. Its methods may be called from any goroutine and never wait
// for the network. Run does the work.
type Link struct {
	o       Options
	url     *url.URL
	out     *outbox
	direct  chan publish.Message
	watches []watch

	mu     sync.Mutex
	status Status
	ack    func(seconds float64) // observer of the time to acknowledgement
}

type watch struct {
	filter string
	large  bool // wants to know of messages that were too large to read
	handle func(publish.Arrival)
}

// ErrNotConnected tells that a message that is worth nothing later was not sent.
var ErrNotConnected = errors.New("no connection to the broker")

// NewLink checks the options. It does not connect.
func NewLink(o Options) (*Link, error) {
	if err := o.Check(); err != nil {
		return nil, err
	}
	u, err := o.address()
	if err != nil {
		return nil, err
	}
	o.Pace = o.Pace.filled()
	return &Link{
		o: o, url: u, out: newOutbox(), direct: make(chan publish.Message, 64),
		status: Status{Connects: map[string]int64{}, Published: map[[2]string]int64{}},
	}, nil
}

// Put lays a retained message down: the newest payload a topic is kept until the broker has it, and sent again
// at every connection. An empty payload clears the topic.
func (l *Link) Put(all ...publish.Message) { l.out.put(all...) }

// Tell lays an event down. Up to 256 are kept while there is no connection, then the oldest are dropped and
// counted; an event that has waited longer than the pace's Stale is dropped too.
func (l *Link) Tell(all ...publish.Message) { l.out.tell(time.Now(), all...) }

// Send sends a message that is worth nothing later, such as a target for a remote gate: QoS 1, not retained,
// now or never. The error is ErrNotConnected when there is no connection or too much on its way.
func (l *Link) Send(topic string, payload []byte) error {
	if !l.Connected() {
		return ErrNotConnected
	}
	select {
	case l.direct <- publish.Message{Topic: topic, Payload: payload, QoS: 1}:
		l.out.knock()
		return nil
	default:
		return ErrNotConnected
	}
}

// Watch subscribes to a topic or filter for as long as Run runs. It must be called before Run. handle runs on
// the connection's goroutine: it must return at once and not call anything of this package that waits (there
// is nothing that does). retained tells that the broker kept the message: it may be of any age.
func (l *Link) Watch(filter string, handle func(topic string, payload []byte, retained bool)) {
	l.watches = append(l.watches, watch{filter, false, func(a publish.Arrival) { handle(a.Topic, a.Payload, a.Retained) }})
}

// Again makes everything that is retained due once more.
func (l *Link) Again() {
	l.out.again(time.Now())
	l.out.knock()
}

// Settled reports whether the broker has everything that is retained.
func (l *Link) Settled() bool {
	_, due, _, _ := l.out.counts()
	l.mu.Lock()
	defer l.mu.Unlock()
	return due == 0 && l.status.Online && l.status.Flying == 0
}

// Connected reports whether a session stands.
func (l *Link) Connected() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.status.Connected
}

// Run keeps the connection until ctx ends, says offline, and returns within a second of that, also when the
// broker has frozen.
func (l *Link) Run(ctx context.Context) error {
	p := pauses{pace: l.o.Pace, chance: rand.New(rand.NewPCG(rand.Uint64(), rand.Uint64()))}
	for n := 1; ctx.Err() == nil; n++ {
		began := time.Now()
		s := newSession(l, n)
		err := s.run(ctx)
		if ctx.Err() != nil {
			break
		}
		var lasted time.Duration
		if !s.since.IsZero() {
			lasted = time.Since(s.since)
			l.count("lost")
		} else {
			l.count("failed")
		}
		pause, why := p.after(explain(l.url.Host, err), time.Now(), lasted)
		l.failed(why, began)
		if !sleep(ctx, pause) {
			break
		}
	}
	l.update(func(st *Status) { st.Connected, st.Online, st.Flying = false, false, 0 })
	return nil
}

func sleep(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-t.C:
		return true
	}
}

// failed keeps the reason, and logs it once until it changes.
func (l *Link) failed(f *failure, began time.Time) {
	changed := false
	l.update(func(s *Status) {
		changed = s.Why != f.text
		s.Connected, s.Online, s.Flying = false, false, 0
		s.Fault, s.Why = f.fault, f.text
	})
	if changed {
		l.o.log().Warn("home automation is offline", "why", f.text, "kind", string(f.fault), "tried", time.Since(began).Round(time.Millisecond))
	}
}

// matches reports whether a topic fits a filter by the rules of MQTT.
func matches(filter, topic string) bool {
	for {
		f, restF, moreF := strings.Cut(filter, "/")
		if f == "#" {
			return true
		}
		t, restT, moreT := strings.Cut(topic, "/")
		if f != "+" && f != t {
			return false
		}
		if !moreF || !moreT {
			return moreF == moreT || moreF && restF == "#"
		}
		filter, topic = restF, restT
	}
}
