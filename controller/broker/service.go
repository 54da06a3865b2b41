package broker

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"ductwarden/controller"
	"ductwarden/controller/publish"
)

// Desk is where a request is put before the shop. It answers accepted, or refused and why. A gate or machine
// at which somebody jogs or learns is the desk's to refuse.
type Desk interface {
	Ask(ctx context.Context, e controller.Event) Answer
}

// Answer is what the shop says to a request.
type Answer struct {
	Accepted bool
	Code     publish.Code // when refused; "" is refused
	Text     string       // when refused, one sentence
}

// Config is everything a Service needs.
type Config struct {
	Link    Options // ClientID, Availability, Greet, Connected and Echo are filled in here
	Publish publish.Settings
	Shop    publish.Shop
	Totals  *publish.Totals // where running totals begin; nil at zero
	Desk    Desk            // nil refuses every request
	Memory  Memory          // nil keeps nothing
	Boot    string          // names this start of the program
	// Now is monotonic time since the program started, as in the snapshots.
	Now func() time.Duration
	// Synced tells whether the wall clock has been set; nil takes it as set once the year is plausible.
	Synced func() bool
	// Birthday bounds the pause between the hub's start and our telling everything anew (3 s).
	Birthday time.Duration
	Log      *slog.Logger
}

// Service carries snapshots to the broker and requests to the desk.
type Service struct {
	c      Config
	link   *Link
	outlet *publish.Outlet

	mu       sync.Mutex
	waiting  []*controller.Snapshot // not yet told, oldest first
	skipped  int64
	wake     chan struct{}
	latest   atomic.Pointer[controller.Snapshot]
	totals   atomic.Pointer[publish.Totals]
	observed func(seconds float64)

	asks *asks

	birth  chan struct{}
	stages [][]publish.Message // of the announcement, not yet sent
	after  publish.Manifest    // what is on the broker once they have arrived
	saved  string
}

// queue is how many snapshots may wait to be told; the control loop makes a few a second.
const queue = 256

// NewService checks everything and makes the link. It does not connect.
func NewService(c Config) (*Service, error) {
	if err := c.Publish.Check(); err != nil {
		return nil, fmt.Errorf("home automation: %w", err)
	}
	if err := c.Shop.Check(); err != nil {
		return nil, fmt.Errorf("home automation: %w", err)
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if c.Memory == nil {
		c.Memory = FileMemory("")
	}
	if c.Synced == nil {
		c.Synced = func() bool { return time.Now().Year() >= plausible }
	}
	if c.Birthday == 0 {
		c.Birthday = 3 * time.Second
	}
	if c.Link.Log == nil {
		c.Link.Log = c.Log
	}
	s := &Service{
		c: c, outlet: publish.NewOutlet(c.Publish, c.Shop, c.Totals), wake: make(chan struct{}, 1), birth: make(chan struct{}, 1),
	}
	s.totals.Store(s.outlet.Totals())
	s.asks = newAsks(s)
	t := c.Publish.Topics()
	o := c.Link
	o.ClientID, o.Availability = c.Publish.Client(), t.Availability()
	o.Greet = func(session int) []publish.Message {
		return []publish.Message{c.Publish.Info(c.Shop, c.Boot, session, s.moment())}
	}
	o.Connected = s.asks.connected
	o.Echo = s.echo(t)
	var err error
	if s.link, err = NewLink(o); err != nil {
		return nil, fmt.Errorf("home automation: %w", err)
	}
	s.subscribe(t)
	return s, nil
}

// plausible is a year in which this program did not exist yet: a clock that says less has not been set.
const plausible = 2025

// echo is the self-check: a word to ourselves, and one retained topic of each area.
func (s *Service) echo(t publish.Topics) *Echo {
	e := &Echo{Nonces: []string{t.Echo()}, Sweep: []string{t.Base() + "/state", t.Base() + "/alarm"}}
	if s.c.Publish.Commands > publish.CommandsNone {
		e.Nonces = append(e.Nonces, t.Request("echo"))
	}
	e.Probes = func() []string {
		return append([]string{t.Info(), t.State("shop", "")}, publish.DocumentTopics(s.c.Publish, s.c.Shop)...)
	}
	return e
}

func (s *Service) subscribe(t publish.Topics) {
	if s.c.Publish.Commands > publish.CommandsNone {
		s.link.watches = append(s.link.watches, watch{t.Request() + "/#", true, s.asks.arrive}) // the topic itself included
	}
	if s.c.Publish.Discovery != publish.DiscoveryOff {
		s.link.Watch(s.c.Publish.Birth(), func(_ string, payload []byte, retained bool) {
			if !retained && s.c.Publish.Born(payload) {
				select {
				case s.birth <- struct{}{}:
				default:
				}
			}
		})
	}
}

// Link is the connection, for remote parts: they watch and send.
func (s *Service) Link() *Link { return s.link }

// Status of the connection.
func (s *Service) Status() Status { return s.link.Status() }

// ObserveLag hands the age of each snapshot when it is laid into the outbox, in seconds, to a histogram. Call
// it before Run.
func (s *Service) ObserveLag(observe func(seconds float64)) { s.observed = observe }

// Totals are the running totals as of the last snapshot.
func (s *Service) Totals() *publish.Totals { return s.totals.Load() }

// Latest is the last snapshot offered; nil before the first.
func (s *Service) Latest() *controller.Snapshot { return s.latest.Load() }

// Offer lays a snapshot down to be told. It never waits; the caller must not change the snapshot afterwards.
func (s *Service) Offer(snap *controller.Snapshot) {
	s.latest.Store(snap)
	s.mu.Lock()
	if len(s.waiting) == queue {
		s.waiting = append(s.waiting[:0], s.waiting[1:]...)
		s.skipped++
	}
	s.waiting = append(s.waiting, snap)
	s.mu.Unlock()
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

func (s *Service) moment() publish.Moment {
	return publish.Moment{MonoMS: s.c.Now().Milliseconds(), Wall: time.Now(), Synced: s.c.Synced()}
}

// Run works until ctx ends, and then says offline. It returns within a second of that.
func (s *Service) Run(ctx context.Context) error {
	if err := s.announce(); err != nil {
		s.c.Log.Error("what is gone from the shop file may stay on the broker", "why", err)
	}
	s.drain() // what was offered already stands on the broker before it hears that we are online
	var wg sync.WaitGroup
	wg.Go(func() { s.asks.run(ctx) })
	wg.Go(func() { s.feed(ctx) })
	err := s.link.Run(ctx)
	wg.Wait()
	return err
}

// feed tells what is new, and what had to wait.
func (s *Service) feed(ctx context.Context) {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	var born <-chan time.Time
	for {
		select {
		case <-ctx.Done():
			return
		case <-s.wake:
			s.drain()
		case <-tick.C:
			s.link.Put(s.outlet.Again(s.moment())...)
			s.totals.Store(s.outlet.Totals())
			s.advance()
		case <-s.birth:
			if born == nil { // many births in a row are answered once
				born = time.After(s.c.Birthday/5 + jitter(s.c.Birthday*4/5))
			}
		case <-born:
			born = nil
			s.c.Log.Info("the hub has started; everything is told anew")
			s.link.Again()
		}
	}
}

func (s *Service) drain() {
	s.mu.Lock()
	all := s.waiting
	s.waiting = nil
	s.mu.Unlock()
	for _, snap := range all {
		m := s.moment()
		if s.observed != nil {
			s.observed(float64(m.MonoMS-snap.AtMS) / 1000)
		}
		m.Wall = m.At(snap.AtMS)
		m.MonoMS = snap.AtMS
		state, events := s.outlet.Take(snap, m)
		s.link.Put(state...)
		s.link.Tell(events...)
	}
	s.totals.Store(s.outlet.Totals())
}
