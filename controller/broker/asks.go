package broker

import (
	"bytes"
	"context"
	"strings"
	"sync"
	"time"

	"ductwarden/controller"
	"ductwarden/controller/publish"
)

const (
	askQueue = 64              // requests that may wait; more are dropped and counted
	askLimit = 2 * time.Second // longest for the shop to answer
	refusals = 10              // refusals answered a second; more are counted only, so that a flood is not doubled
)

// asks takes requests from the connection's goroutine and puts them before the desk, stops on a way of their
// own so that nothing else holds them up.
type asks struct {
	s      *Service
	stops  chan publish.Arrival
	others chan publish.Arrival

	mu        sync.Mutex
	admission *publish.Admission
	drowned   int64
	said      int
	second    time.Time
}

func newAsks(s *Service) *asks {
	return &asks{
		s: s, stops: make(chan publish.Arrival, askQueue), others: make(chan publish.Arrival, askQueue),
		admission: publish.NewAdmission(s.c.Publish, s.c.Shop),
	}
}

// connected begins the time in which only stops are taken.
func (a *asks) connected() {
	a.mu.Lock()
	a.admission.Connected(a.s.moment())
	a.mu.Unlock()
}

// arrive runs on the connection's goroutine: it lays the request down or drops it.
func (a *asks) arrive(in publish.Arrival) {
	t := a.s.c.Publish.Topics()
	if in.Topic == t.Request("echo") {
		return // our own word to ourselves
	}
	way := a.others
	if stops(t, in) {
		way = a.stops
	}
	select {
	case way <- in:
	default:
		a.mu.Lock()
		a.drowned++
		a.mu.Unlock()
	}
}

// stops guesses, without reading it, whether a request may be a stop. What guesses wrongly is read all the
// same, only on the other way.
func stops(t publish.Topics, in publish.Arrival) bool {
	if in.Topic != t.Request() {
		return strings.HasSuffix(in.Topic, "/finish") || strings.HasSuffix(in.Topic, "/halt")
	}
	return len(in.Payload) <= publish.LongestRequest &&
		(bytes.Contains(in.Payload, []byte(`"halt"`)) || bytes.Contains(in.Payload, []byte(`"finish"`)))
}

func (a *asks) run(ctx context.Context) {
	var wg sync.WaitGroup
	for _, way := range []chan publish.Arrival{a.stops, a.others} {
		wg.Go(func() {
			for {
				select {
				case <-ctx.Done():
					return
				case in := <-way:
					a.handle(ctx, in)
				}
			}
		})
	}
	wg.Wait()
}

func (a *asks) handle(ctx context.Context, in publish.Arrival) {
	m := a.s.moment()
	a.mu.Lock()
	r, e, no := a.admission.Admit(in, a.s.latest.Load(), m)
	a.mu.Unlock()
	if no == nil {
		no = a.ask(ctx, e)
		code := publish.Code("")
		if no != nil {
			code = no.Code
		}
		a.mu.Lock()
		a.admission.Answered(r.Verb, code)
		a.mu.Unlock()
		a.s.c.Log.Info("a request came over the network", "request", string(r.Verb), "subject", r.Subject, "accepted", no == nil)
	} else if !a.worthAnswering() {
		return
	}
	a.s.link.Tell(a.s.c.Publish.Answer(r, no, m))
}

func (a *asks) ask(ctx context.Context, e controller.Event) *publish.Refusal {
	if a.s.c.Desk == nil {
		return &publish.Refusal{Code: publish.CodeRefused, Text: "nobody takes requests here"}
	}
	ctx, cancel := context.WithTimeout(ctx, askLimit)
	defer cancel()
	answer := a.s.c.Desk.Ask(ctx, e)
	switch {
	case answer.Accepted:
		return nil
	case ctx.Err() != nil:
		return &publish.Refusal{Code: publish.CodeBusy, Text: "the shop did not answer in time"}
	case answer.Code == "":
		answer.Code = publish.CodeRefused
	}
	return &publish.Refusal{Code: answer.Code, Text: answer.Text}
}

func (a *asks) worthAnswering() bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	if now := time.Now(); now.Sub(a.second) >= time.Second {
		a.second, a.said = now, 0
	}
	a.said++
	return a.said <= refusals
}

// RequestFamilies are the figures that RequestSamples gives.
func RequestFamilies() []publish.Family {
	return []publish.Family{
		{Name: "ductwarden_mqtt_requests_total", Help: "requests over the network, by what became of them; result is accepted or the code of the refusal", Kind: publish.Counter, Labels: []string{"request", "result"}},
		{Name: "ductwarden_mqtt_requests_dropped_total", Help: "requests dropped unread because too many came at once", Kind: publish.Counter},
		{Name: "ductwarden_mqtt_snapshots_skipped_total", Help: "states of the shop that came faster than they could be told", Kind: publish.Counter},
	}
}

// RequestSamples are the figures of requests.
func (s *Service) RequestSamples() []publish.Sample {
	s.asks.mu.Lock()
	defer s.asks.mu.Unlock()
	s.mu.Lock()
	skipped := s.skipped
	s.mu.Unlock()
	out := []publish.Sample{
		{Name: "ductwarden_mqtt_requests_dropped_total", Value: float64(s.asks.drowned)},
		{Name: "ductwarden_mqtt_snapshots_skipped_total", Value: float64(skipped)},
	}
	for verb, codes := range s.asks.admission.Counts {
		for code, n := range codes {
			request, result := string(verb), string(code)
			if request == "" {
				request = "unreadable"
			}
			if result == "" {
				result = "accepted"
			}
			out = append(out, publish.Sample{Name: "ductwarden_mqtt_requests_total", Labels: []string{request, result}, Value: float64(n)})
		}
	}
	return out
}
