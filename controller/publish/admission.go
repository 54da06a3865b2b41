package publish

import (
	"time"

	"ductwarden/controller"
	"ductwarden/gates"
)

// Limits of what is taken from the network. A person presses a button a few times a second at most; a hub that
// repeats a scene for every gate of a large shop stays below ten a second.
const (
	perSubject = 1000 // milliseconds for one request at a subject to be forgotten
	subjects   = 3    // at a subject at once
	perAll     = 100  // milliseconds for one request of all to be forgotten: ten a second
	all        = 10   // at once
	perStop    = 200  // finish and halt have a bucket of their own, so that a flood of others cannot drown them
	stops      = 10

	settle   = 2 * gates.Second  // after a connection nothing but a stop is taken: what a broker held back comes first
	fresh    = 5 * time.Second   // a request that says when it was asked may be this old, and its clock this far ahead
	remember = 10 * gates.Minute // ids of requests, so that the same one does nothing twice
	ids      = 1024              // remembered at once
)

// Arrival is one message of the request tree as it came in.
type Arrival struct {
	Topic    string
	Payload  []byte
	Size     int  // of a message that was too large to read; else 0
	Retained bool // kept by the broker: it says what somebody wanted once
	Again    bool // the broker marks it as delivered a second time
}

// Admission decides which requests reach the shop. It is a small machine: the moment comes as an argument, and
// what it remembers is bounded. It is not for concurrent use.
type Admission struct {
	settings  Settings
	shop      Shop
	connected gates.Instant
	stops     bucket
	all       bucket
	subjects  map[string]*bucket
	seen      map[string]gates.Instant
	Counts    map[Verb]map[Code]int64 // by verb ("" when it could not be read) and refusal ("" when accepted)
}

// NewAdmission takes nothing until Connected.
func NewAdmission(s Settings, shop Shop) *Admission {
	return &Admission{
		settings: s, shop: shop, stops: bucket{every: perStop, most: stops}, all: bucket{every: perAll, most: all},
		subjects: map[string]*bucket{}, seen: map[string]gates.Instant{}, Counts: map[Verb]map[Code]int64{},
	}
}

// Connected says that the subscription stands from now on.
func (a *Admission) Connected(m Moment) { a.connected = gates.Instant(m.MonoMS) }

// Admit reads one message and gives the event to put before the shop, or why not. snap is the newest
// snapshot; nil before the first refuses everything but a stop.
func (a *Admission) Admit(in Arrival, snap *controller.Snapshot, m Moment) (Request, controller.Event, *Refusal) {
	r, e, no := a.admit(in, snap, m)
	if no != nil {
		a.count(r.Verb, no.Code)
	}
	return r, e, no
}

// Answered counts what the shop itself said: "" for accepted.
func (a *Admission) Answered(v Verb, c Code) { a.count(v, c) }

func (a *Admission) count(v Verb, c Code) {
	switch v {
	case Finish, Halt, Acknowledge, Hold, Automatic, Ready, CallAir:
	default:
		v = "" // what a stranger wrote does not become a name of ours
	}
	if a.Counts[v] == nil {
		a.Counts[v] = map[Code]int64{}
	}
	a.Counts[v][c]++
}

func (a *Admission) admit(in Arrival, snap *controller.Snapshot, m Moment) (Request, controller.Event, *Refusal) {
	none := controller.Event{}
	if in.Retained {
		return Request{}, none, refuse(CodeRetained, "the request was retained by the broker; send it without the retain flag")
	}
	if in.Again {
		return Request{}, none, refuse(CodeReplayed, "the broker delivered the request a second time")
	}
	if in.Size > LongestRequest {
		return Request{}, none, refuse(CodeTooLong, "the request has %d bytes; %d are read at most", in.Size, LongestRequest)
	}
	r, no := a.settings.Topics().Parse(in.Topic, in.Payload)
	if no != nil {
		return r, none, no
	}
	if r.Verb.level() > a.settings.Commands {
		return r, none, refuse(CodeNotOffered, "the shop file allows %q over the network; %s needs %q", a.settings.Commands, r.Verb, r.Verb.level())
	}
	if no := a.timely(r, m); no != nil {
		return r, none, no
	}
	e, no := a.shop.Event(r)
	if no != nil {
		return r, none, no
	}
	if no := a.rate(r, m); no != nil {
		return r, none, no
	}
	if no := a.open(r, e, snap, m); no != nil {
		return r, none, no
	}
	return r, e, nil
}

// timely refuses what is old, ahead of time or known. While our own clock has not been set, a time says
// nothing: a stop is taken then, anything else is not.
func (a *Admission) timely(r Request, m Moment) *Refusal {
	if !r.At.IsZero() {
		switch age := m.Wall.Sub(r.At); {
		case !m.Synced && !r.Verb.stops():
			return refuse(CodeLate, "this board's clock has not been set, so the request's age cannot be told")
		case m.Synced && (age > fresh || age < -fresh):
			return refuse(CodeLate, "the request says it was asked %s from now; %s is the most", age.Round(time.Second), fresh)
		}
	}
	if r.ID == "" {
		return nil
	}
	now := gates.Instant(m.MonoMS)
	if at, ok := a.seen[r.ID]; ok && now-at < gates.Instant(remember) {
		return refuse(CodeReplayed, "a request with this id was taken before")
	}
	if len(a.seen) >= ids {
		for id, at := range a.seen {
			if now-at >= gates.Instant(remember) {
				delete(a.seen, id)
			}
		}
		if len(a.seen) >= ids && !r.Verb.stops() {
			return refuse(CodeTooMany, "too many requests with ids; wait")
		}
	}
	if len(a.seen) < ids {
		a.seen[r.ID] = now
	}
	return nil
}

func (a *Admission) rate(r Request, m Moment) *Refusal {
	now := gates.Instant(m.MonoMS)
	if r.Verb.stops() {
		if !a.stops.take(now) {
			return refuse(CodeTooMany, "more than %d stops at once; one was enough", stops)
		}
		return nil
	}
	key := r.Subject // the subject exists, so there are no more of these than things in the shop
	if a.subjects[key] == nil {
		a.subjects[key] = &bucket{every: perSubject, most: subjects}
	}
	if !a.subjects[key].take(now) || !a.all.take(now) {
		return refuse(CodeTooMany, "too many requests in one moment; wait a second")
	}
	return nil
}

// open asks what the snapshot already answers: who has put a gate or a collector in Off has the last word.
func (a *Admission) open(r Request, e controller.Event, snap *controller.Snapshot, m Moment) *Refusal {
	if r.Verb.stops() {
		return nil
	}
	if snap == nil || gates.Instant(m.MonoMS)-a.connected < gates.Instant(settle) {
		return refuse(CodeTooEarly, "the connection has only just been made; ask again in a few seconds")
	}
	const off = "somebody has put it in Off at the shop; put it in automatic there"
	switch e.Kind {
	case controller.HoldGate, controller.SelectGate:
		if int(e.N) < len(snap.Gates) && snap.Gates[e.N].Selector == "off" {
			return refuse(CodeOff, off)
		}
	case controller.SelectCollector:
		if int(e.N) < len(snap.Collectors) && snap.Collectors[e.N].Selector == "off" {
			return refuse(CodeOff, off)
		}
	}
	return nil
}

// bucket lets `most` through at once, and one more each `every` milliseconds.
type bucket struct {
	every gates.Span
	most  int
	used  int
	since gates.Instant
}

func (b *bucket) take(now gates.Instant) bool {
	if back := int((now - b.since) / gates.Instant(b.every)); back > 0 {
		b.used = max(0, b.used-back)
		b.since += gates.Instant(back) * gates.Instant(b.every)
	}
	if b.used >= b.most {
		return false
	}
	b.used++
	return true
}
