package broker

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"ductwarden/controller/publish"
)

// Echo is the self-check of a session. A broker with access rules drops what they forbid without a word: a
// subscription is granted and nothing comes, a publication is acknowledged and goes nowhere. So the program
// talks to itself, and looks whether its own retained messages can be read back.
type Echo struct {
	Nonces []string        // topics to say a word on and hear it
	Probes func() []string // retained topics of ours, one of each area
	Sweep  []string        // trees of ours: retained topics there that are not ours any more are cleared, once the first tree has something
	Wait   time.Duration   // 0 is two seconds
}

type echo struct {
	s       *session
	c       Echo
	word    string
	probes  []string
	filters []string
	began   time.Time // of listening; zero before it

	mu    sync.Mutex
	heard map[string]string
}

func newEcho(s *session, c Echo) *echo {
	if c.Wait == 0 {
		c.Wait = 2 * time.Second
	}
	e := &echo{s: s, c: c, word: fmt.Sprintf("%s %d %d", s.l.o.ClientID, s.number, time.Now().UnixNano()), heard: map[string]string{}}
	if c.Probes != nil {
		e.probes = c.Probes()
	}
	return e
}

// see takes every message of the session; it runs on the library's goroutine.
func (e *echo) see(a publish.Arrival) {
	for _, tree := range e.c.Sweep {
		if !a.Retained || len(a.Payload) == 0 || !strings.HasPrefix(a.Topic, tree+"/") || !e.s.l.out.holds(e.c.Sweep[0]+"/") {
			continue
		}
		if _, ours := e.s.l.out.payload(a.Topic); !ours {
			e.s.l.out.put(publish.Message{Topic: a.Topic, Retained: true, QoS: 1})
		}
	}
	if slices.Contains(e.probes, a.Topic) || slices.Contains(e.c.Nonces, a.Topic) {
		e.mu.Lock()
		e.heard[a.Topic] = string(a.Payload)
		e.mu.Unlock()
	}
}

// step is called a few times a second until the check has ended.
func (e *echo) step(ctx context.Context, now time.Time) error {
	if e.began.IsZero() {
		return e.begin(ctx)
	}
	missing := e.missing()
	if len(missing) > 0 && now.Sub(e.began) < e.c.Wait {
		return nil
	}
	e.s.client.Unsubscribe(e.filters...)
	e.s.echo.Store(nil)
	e.s.l.update(func(st *Status) { st.Echoed, st.Missing = true, missing })
	if len(missing) > 0 {
		e.s.l.o.log().Error("the broker does not pass on what we say, or does not let us read it; check its access rules, and its limit on message sizes", "topics", missing)
	}
	return nil
}

func (e *echo) begin(ctx context.Context) error {
	filters := map[string]byte{}
	for _, p := range e.probes {
		filters[p] = 0
	}
	for _, tree := range e.c.Sweep {
		filters[tree+"/#"] = 0
	}
	for f := range filters {
		e.filters = append(e.filters, f)
	}
	if len(filters) > 0 {
		if err := e.s.subscribe(ctx, filters); err != nil {
			return err
		}
	}
	e.began = time.Now()
	for _, n := range e.c.Nonces {
		if err := e.s.send(parcel{m: publish.Message{Topic: n, Payload: []byte(e.word), QoS: 1}, at: e.began}, "direct"); err != nil {
			return err
		}
	}
	return nil
}

func (e *echo) missing() []string {
	e.mu.Lock()
	defer e.mu.Unlock()
	var out []string
	for _, n := range e.c.Nonces {
		if e.heard[n] != e.word {
			out = append(out, n)
		}
	}
	for _, p := range e.probes {
		if want, ours := e.s.l.out.payload(p); ours && e.heard[p] != string(want) {
			out = append(out, p)
		}
	}
	return out
}
