package broker

import (
	"maps"
	"slices"

	"ductwarden/controller/publish"
)

// Status is how the connection stands, for the page, the doctor and the figures.
type Status struct {
	Connected bool     // a session stands
	Online    bool     // and everything retained has been sent, so that online is said
	Session   int      // sessions since the start
	Fault     Fault    // why there is no connection, or why there was none
	Why       string   // the same as a sentence
	Echoed    bool     // the self-check of this session has ended
	Missing   []string // topics that the broker did not pass on in the self-check
	Aside     []string // topics that broke the connection every time they were sent
	Flying    int      // messages that the broker has not acknowledged
	Topics    int      // retained topics kept
	Due       int      // of these not yet with the broker
	Events    int      // events waiting
	Dropped   int64    // events dropped
	Oversized int64    // messages from the broker that were too large to read
	Connects  map[string]int64
	Published map[[2]string]int64 // by kind (state, event, direct) and result (arrived, lost)
}

// Status is a copy of the present state.
func (l *Link) Status() Status {
	topics, due, events, dropped := l.out.counts()
	l.mu.Lock()
	defer l.mu.Unlock()
	s := l.status
	s.Topics, s.Due, s.Events, s.Dropped = topics, due, events, dropped
	s.Missing, s.Aside = slices.Clone(s.Missing), slices.Clone(s.Aside)
	s.Connects, s.Published = maps.Clone(s.Connects), maps.Clone(s.Published)
	return s
}

func (l *Link) update(f func(*Status)) {
	l.mu.Lock()
	f(&l.status)
	l.mu.Unlock()
}

func (l *Link) count(result string) { l.update(func(s *Status) { s.Connects[result]++ }) }

func (l *Link) published(kind, result string, n int) {
	if n > 0 {
		l.update(func(s *Status) { s.Published[[2]string{kind, result}] += int64(n) })
	}
}

// ObserveAcks hands the time from sending to acknowledgement, in seconds, to a histogram. Call it before Run.
func (l *Link) ObserveAcks(observe func(seconds float64)) { l.ack = observe }

// Families are the figures that Samples gives.
func Families() []publish.Family {
	return []publish.Family{
		{Name: "ductwarden_mqtt_connected", Help: "1 while a session with the broker stands", Kind: publish.Gauge},
		{Name: "ductwarden_mqtt_connects_total", Help: "tries to connect, by what became of them", Kind: publish.Counter, Labels: []string{"result"}},
		{Name: "ductwarden_mqtt_published_total", Help: "messages given to the broker", Kind: publish.Counter, Labels: []string{"kind", "result"}},
		{Name: "ductwarden_mqtt_due", Help: "retained topics that the broker does not have yet", Kind: publish.Gauge},
		{Name: "ductwarden_mqtt_events_dropped_total", Help: "events dropped because the broker was away too long", Kind: publish.Counter},
		{Name: "ductwarden_mqtt_oversized_total", Help: "messages from the broker that were too large to read", Kind: publish.Counter},
		{Name: "ductwarden_mqtt_echo_missing", Help: "topics that the broker did not pass on in the self-check", Kind: publish.Gauge},
	}
}

// Samples are the figures of a status.
func (s Status) Samples() []publish.Sample {
	one := map[bool]float64{true: 1}
	out := []publish.Sample{
		{Name: "ductwarden_mqtt_connected", Value: one[s.Connected]},
		{Name: "ductwarden_mqtt_due", Value: float64(s.Due)},
		{Name: "ductwarden_mqtt_events_dropped_total", Value: float64(s.Dropped)},
		{Name: "ductwarden_mqtt_oversized_total", Value: float64(s.Oversized)},
		{Name: "ductwarden_mqtt_echo_missing", Value: float64(len(s.Missing))},
	}
	for _, r := range []string{"connected", "failed", "lost"} {
		out = append(out, publish.Sample{Name: "ductwarden_mqtt_connects_total", Labels: []string{r}, Value: float64(s.Connects[r])})
	}
	for _, k := range []string{"state", "event", "direct"} {
		for _, r := range []string{"arrived", "lost"} {
			out = append(out, publish.Sample{Name: "ductwarden_mqtt_published_total", Labels: []string{k, r}, Value: float64(s.Published[[2]string{k, r}])})
		}
	}
	return out
}
