package broker

import (
	"context"
	"fmt"
	"net"
	"net/url"
	"sync"
	"sync/atomic"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"ductwarden/controller/publish"
)

// session is one connection, from dialling to its end, with a client of its own.
type session struct {
	l      *Link
	number int
	since  time.Time // the greeting; zero before it
	client mqtt.Client
	lost   chan error
	spoken chan struct{} // somebody, a will of an earlier session perhaps, has said that we are offline
	flying []flight      // oldest first
	first  int           // retained messages that must have arrived before online is said; -1 when it has been
	beat   time.Time     // when online was last said
	echo   atomic.Pointer[echo]

	mu     sync.Mutex
	conn   net.Conn
	closed bool
}

func newSession(l *Link, number int) *session {
	return &session{l: l, number: number, lost: make(chan error, 1), spoken: make(chan struct{}, 1)}
}

// run ends with the reason why the session ended; with ctx it says offline first.
func (s *session) run(ctx context.Context) error {
	password, err := s.l.o.Password.Read()
	if err != nil {
		return &failure{Secrets, err.Error(), err}
	}
	inner, cancel := context.WithCancel(ctx)
	defer cancel()
	open := func(*url.URL, mqtt.ClientOptions) (net.Conn, error) {
		c, err := s.l.o.open(inner, s.l.url)
		if err != nil {
			return nil, err
		}
		return s.keep(newFrames(deadlines{c, s.l.o.Pace.Write}, s.oversized))
	}
	// A write that hangs, or a library that waits, ends when the line is cut.
	defer context.AfterFunc(ctx, func() { time.AfterFunc(s.l.o.Pace.Farewell, s.cut) })()
	s.client = s.l.o.client(open, password, s.receive, s.drop)
	defer s.end()
	if err := s.wait(ctx, s.client.Connect(), s.l.o.Pace.Connect+time.Second); err != nil {
		return err
	}
	s.since = time.Now()
	if err := s.greet(ctx); err != nil {
		return err
	}
	err = s.work(ctx)
	if ctx.Err() != nil {
		s.farewell()
		return ctx.Err()
	}
	s.settle(err)
	return err
}

// keep remembers the connection, so that it can be cut.
func (s *session) keep(c net.Conn) (net.Conn, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		c.Close()
		return nil, net.ErrClosed
	}
	s.conn = c
	return c, nil
}

// cut closes the network connection, whatever the library is doing with it.
func (s *session) cut() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.closed = true
	if s.conn != nil {
		s.conn.Close()
	}
}

// end leaves nothing behind. The library's goroutines see the closed connection and end.
func (s *session) end() {
	s.cut()
	s.client.Disconnect(0)
}

func (s *session) drop(err error) {
	select {
	case s.lost <- err:
	default:
	}
}

// wait waits for a token of the library: with the session's end, with ctx and with a limit, because a token
// may never complete by itself.
func (s *session) wait(ctx context.Context, t mqtt.Token, limit time.Duration) error {
	timer := time.NewTimer(limit)
	defer timer.Stop()
	select {
	case <-t.Done():
		return t.Error()
	case err := <-s.lost:
		return err
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return &failure{Silent, fmt.Sprintf("broker %s does not answer within %s; check whether it hangs", s.l.url.Host, limit), nil}
	}
}

// greet subscribes, and makes everything due.
func (s *session) greet(ctx context.Context) error {
	filters := map[string]byte{s.l.o.Availability: 0}
	for _, w := range s.l.watches {
		filters[w.filter] = 0
	}
	if e := s.l.o.Echo; e != nil {
		for _, nonce := range e.Nonces {
			filters[nonce] = 0
		}
	}
	if err := s.subscribe(ctx, filters); err != nil {
		return err
	}
	if s.l.o.Greet != nil {
		s.l.out.put(s.l.o.Greet(s.number)...)
	}
	for drained := false; !drained; { // what was meant for an earlier session is worth nothing now
		select {
		case <-s.l.direct:
		default:
			drained = true
		}
	}
	s.first = s.l.out.again(time.Now())
	s.l.count("connected")
	s.l.update(func(st *Status) {
		st.Connected, st.Online, st.Session = true, false, s.number
		st.Fault, st.Why, st.Echoed, st.Missing = NoFault, "", false, nil
	})
	s.l.o.log().Info("home automation is connected", "broker", s.l.url.Host, "session", s.number)
	if s.l.o.Connected != nil {
		s.l.o.Connected()
	}
	return nil
}

func (s *session) subscribe(ctx context.Context, filters map[string]byte) error {
	t := s.client.SubscribeMultiple(filters, nil)
	if err := s.wait(ctx, t, s.l.o.Pace.Ack); err != nil {
		return err
	}
	if st, ok := t.(*mqtt.SubscribeToken); ok {
		for filter, code := range st.Result() {
			if code == 0x80 {
				return &failure{Refused, fmt.Sprintf("broker %s refuses the subscription to %s; check its access rules", s.l.url.Host, filter), nil}
			}
		}
	}
	return nil
}

// work carries messages until the session ends. It alone sends.
func (s *session) work(ctx context.Context) error {
	tick := time.NewTicker(250 * time.Millisecond)
	defer tick.Stop()
	if s.first == 0 {
		if err := s.online(); err != nil {
			return err
		}
	}
	for {
		if err := s.fill(); err != nil {
			return err
		}
		var head <-chan struct{}
		if len(s.flying) > 0 {
			head = s.flying[0].token.Done()
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case err := <-s.lost:
			return err
		case <-head:
			if err := s.landed(); err != nil {
				return err
			}
		case <-s.l.out.wake:
		case <-s.spoken:
			if s.first < 0 {
				if err := s.online(); err != nil {
					return err
				}
			}
		case now := <-tick.C:
			if err := s.check(ctx, now); err != nil {
				return err
			}
		}
	}
}

// check does what hangs on time.
func (s *session) check(ctx context.Context, now time.Time) error {
	if len(s.flying) > 0 && now.Sub(s.flying[0].sent) > s.l.o.Pace.Ack {
		return &failure{Silent, fmt.Sprintf("broker %s does not acknowledge within %s; check whether it hangs", s.l.url.Host, s.l.o.Pace.Ack), nil}
	}
	if s.first < 0 && now.Sub(s.beat) >= s.l.o.Pace.Heartbeat {
		if err := s.online(); err != nil {
			return err
		}
	}
	if e := s.echo.Load(); e != nil {
		return e.step(ctx, now)
	}
	return nil
}

// receive runs on the library's goroutine and only lays things down.
func (s *session) receive(_ mqtt.Client, m mqtt.Message) {
	a := publish.Arrival{Topic: m.Topic(), Payload: m.Payload(), Retained: m.Retained(), Again: m.Duplicate()}
	if a.Topic == s.l.o.Availability && string(a.Payload) == publish.Offline {
		select {
		case s.spoken <- struct{}{}:
		default:
		}
	}
	if e := s.echo.Load(); e != nil {
		e.see(a)
	}
	for _, w := range s.l.watches {
		if matches(w.filter, a.Topic) {
			w.handle(a)
		}
	}
}

// oversized passes on that something came, without its bytes.
func (s *session) oversized(topic string, size int) {
	s.l.update(func(st *Status) { st.Oversized++ })
	s.l.o.log().Warn("a message from the broker is too large to read", "topic", topic, "bytes", size)
	for _, w := range s.l.watches {
		if w.large && matches(w.filter, topic) {
			w.handle(publish.Arrival{Topic: topic, Size: size})
		}
	}
}
