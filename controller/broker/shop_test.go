package broker_test

import (
	"context"
	"log/slog"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/broker"
	"ductwarden/controller/publish"
)

func shop() publish.Shop {
	return publish.Shop{
		Name:       "Mossfen chair shop",
		Machines:   []publish.Machine{{ID: "planer", Name: "thickness planer", Current: true}, {ID: "lathe", Name: "lathe", Current: true}},
		Gates:      []publish.Gate{{ID: "planer", Name: "planer"}, {ID: "lathe", Name: "lathe"}},
		Collectors: []publish.Collector{{ID: "collector", Name: "collector", Judged: true}},
		Ducts:      []publish.Duct{{ID: "trunk", Name: "trunk", Collector: "collector"}},
	}
}

// state is that shop with the planer running or not.
func state(at int64, running bool) *controller.Snapshot {
	amperes := 0.04
	s := &controller.Snapshot{
		AtMS: at, Shop: "Mossfen chair shop", Mode: "on_duty", Why: "nothing runs",
		Machines: []controller.MachineSnapshot{{ID: "planer", Name: "thickness planer", State: "idle", Health: "good", CurrentA: &amperes}, {ID: "lathe", Name: "lathe", State: "idle", Health: "good"}},
		Gates: []controller.GateSnapshot{{ID: "planer", Name: "planer", State: "closed", Selector: "automatic"},
			{ID: "lathe", Name: "lathe", State: "open", Selector: "automatic"}},
		Collectors: []controller.CollectorSnapshot{{ID: "collector", Name: "collector", Phase: "off", Why: "nothing runs", Selector: "automatic", StartsLeft: 8, StartsHour: 8, Feedback: "none", Transport: "not_judged"}},
		Ducts:      []controller.DuctSnapshot{{ID: "trunk", Name: "trunk", Collector: "collector", TransportMS: 21, Verdict: "not_judged"}},
	}
	if running {
		s.Machines[0].State, s.Gates[0].State, s.Collectors[0].Phase = "running", "open", "running"
	}
	return s
}

// desk takes every request and remembers it.
type desk struct {
	mu     sync.Mutex
	events []controller.Event
	answer broker.Answer
	wait   time.Duration
}

func (d *desk) Ask(ctx context.Context, e controller.Event) broker.Answer {
	if d.wait > 0 {
		select {
		case <-time.After(d.wait):
		case <-ctx.Done():
		}
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.events = append(d.events, e)
	return d.answer
}

func (d *desk) asked() []controller.Event {
	d.mu.Lock()
	defer d.mu.Unlock()
	return append([]controller.Event(nil), d.events...)
}

// quick is a pace for tests: the same machinery, shorter pauses.
func quick() broker.Pace {
	return broker.Pace{First: 50 * time.Millisecond, Most: 400 * time.Millisecond, Refused: 300 * time.Millisecond}
}

const site = "ductwarden/1/mossfen/"

type running struct {
	*broker.Service
	part  any
	desk  *desk
	began time.Time
	stop  func() time.Duration // how long the end took
	done  chan struct{}
}

func (r *running) now() int64 { return time.Since(r.began).Milliseconds() }

// config is a service for a broker; change changes it.
func config(url string, change func(*broker.Config)) (broker.Config, *desk, time.Time) {
	began := time.Now()
	d := &desk{answer: broker.Answer{Accepted: true}}
	c := broker.Config{
		Link: broker.Options{Broker: url, Pace: quick()},
		Publish: publish.Settings{Site: "mossfen", Plain: true, Discovery: publish.DiscoveryDevice, Commands: publish.CommandsRequests,
			Release: "1.2.3"},
		Shop: shop(), Desk: d, Boot: "boot-1", Now: func() time.Duration { return time.Since(began) }, Birthday: 200 * time.Millisecond,
		Log: slog.New(slog.DiscardHandler),
	}
	if change != nil {
		change(&c)
	}
	return c, d, began
}

// run starts a service and ends it with the test.
func run(t *testing.T, url string, change func(*broker.Config)) *running {
	t.Helper()
	c, d, began := config(url, change)
	r := runWith(t, c, nil)
	r.desk, r.began = d, began
	return r
}

// runWith starts a service; before makes what must be attached to it first.
func runWith(t *testing.T, c broker.Config, before func(*broker.Service) any) *running {
	t.Helper()
	s, err := broker.NewService(c)
	require.NoError(t, err)
	r := &running{Service: s, began: time.Now(), done: make(chan struct{})}
	if before != nil {
		r.part = before(s)
	}
	ctx, cancel := context.WithCancel(context.Background())
	go func() {
		defer close(r.done)
		assert.NoError(t, s.Run(ctx))
	}()
	var once sync.Once
	r.stop = func() (took time.Duration) {
		once.Do(func() {
			from := time.Now()
			cancel()
			<-r.done
			took = time.Since(from)
		})
		return took
	}
	t.Cleanup(func() { r.stop() })
	return r
}

func (r *running) online(t *testing.T) {
	t.Helper()
	if !assert.Eventually(t, func() bool { return r.Status().Online }, 10*time.Second, 5*time.Millisecond) {
		t.Fatalf("not online: %+v", r.Status())
	}
}
