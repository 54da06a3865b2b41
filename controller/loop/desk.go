package loop

import (
	"context"
	"errors"
	"sync"
	"time"

	"ductwarden/controller"
)

// Request is something that a person or another program asks for: an event for the core, or a mark, or an alarm to
// be put away; and a key by which a repetition is known.
type Request struct {
	Key    string // the same key within a minute is answered, not done again; empty: always done
	Who    string // the role of the person, for the journal; "": not known
	Event  controller.Event
	Mark   *Mark   // in place of Event
	Shelve *Shelve // in place of Event
}

// Mark is what a person says was done at a collector: BinEmptied, FilterCleaned or FilterReplaced. It concerns the
// journal, not the core.
type Mark struct {
	What      Purpose
	Collector int
	Note      string // in the person's own words
}

// Shelve puts an alarm away for a while, with a reason.
type Shelve struct {
	Key    string
	For    time.Duration
	Reason string
}

// Answer is what became of a request.
type Answer struct {
	Accepted bool
	Why      controller.Reason // when refused by the core
	Text     string            // when refused by another part: a sentence
}

// Sentence says why a request was refused.
func (a Answer) Sentence() string {
	if a.Text != "" {
		return a.Text
	}
	return a.Why.Sentence()
}

// Asked is a request with its answer, for the journal.
type Asked struct {
	At controller.Instant
	Request
	Answer Answer
}

// ErrEnded says that the loop ended before it could answer.
var ErrEnded = errors.New("the program is ending; the request was not done")

// ErrBusy says that more requests wait than the loop takes in one scan.
var ErrBusy = errors.New("too many requests at once; try again in a moment")

const (
	deskQueue  = 64
	keyLife    = controller.Instant(60_000)
	keysKept   = 256
	answerTime = 2 * time.Second // a scan takes 25 ms; whoever waits longer is told
)

// desk is where requests from other goroutines wait for the core's lane.
type desk struct {
	mu    sync.Mutex
	queue []*ask
	ref   uint32
	memo  map[string]remembered // owned by the core's lane
	order []string
}

type ask struct {
	request Request
	answer  chan Answer // holds one; nil: nobody waits
	leave   func()      // in place of a request
}

type remembered struct {
	answer Answer
	at     controller.Instant
}

// Do hands a request to the core's lane and waits for its answer, a scan at most. It may be called from any
// goroutine but the core's own.
func (l *Loop) Do(ctx context.Context, r Request) (Answer, error) {
	a := &ask{request: r, answer: make(chan Answer, 1)}
	l.desk.mu.Lock()
	if len(l.desk.queue) >= deskQueue {
		l.desk.mu.Unlock()
		return Answer{}, ErrBusy
	}
	l.desk.queue = append(l.desk.queue, a)
	l.desk.mu.Unlock()
	l.self.Wake()
	late := time.NewTimer(answerTime)
	defer late.Stop()
	select {
	case got := <-a.answer:
		return got, nil
	case <-ctx.Done():
		return Answer{}, ctx.Err()
	case <-late.C:
		return Answer{}, ErrEnded
	}
}

// Post hands events to the core's lane that nobody waits for: a remote meter's belief, a remote gate's proof. It
// never waits. The time of an event is set when it is taken in.
func (l *Loop) Post(events ...controller.Event) {
	l.desk.mu.Lock()
	for _, ev := range events {
		l.desk.queue = append(l.desk.queue, &ask{request: Request{Event: ev}})
	}
	l.desk.mu.Unlock()
	l.self.Wake()
}

// serve takes in what waits at the desk.
func (l *Loop) serve() {
	l.desk.mu.Lock()
	queue := l.desk.queue
	l.desk.queue = nil
	l.desk.mu.Unlock()
	for _, a := range queue {
		if a.leave != nil {
			a.leave()
			continue
		}
		if a.answer == nil {
			l.post(a.request.Event)
			continue
		}
		a.answer <- l.answer(a.request)
	}
}

// answer does a request, or gives the answer that the same key has had.
func (l *Loop) answer(r Request) Answer {
	d := &l.desk
	if m, ok := d.memo[r.Key]; ok && r.Key != "" && l.now-m.at < keyLife {
		return m.answer
	}
	l.bench.mu.Lock()
	busy := l.bench.refuses(r.Event.Kind)
	l.bench.mu.Unlock()
	if busy {
		return Answer{Why: controller.BecauseBench}
	}
	var got Answer
	switch {
	case r.Mark != nil:
		got = l.mark(*r.Mark)
	case r.Shelve != nil:
		got = l.shelve(*r.Shelve)
	default:
		got = l.ask(r.Event)
	}
	if l.parts.Asked != nil {
		l.parts.Asked(Asked{At: l.now, Request: r, Answer: got})
	}
	if r.Key == "" {
		return got
	}
	if len(d.order) >= keysKept {
		delete(d.memo, d.order[0])
		d.order = d.order[1:]
	}
	if _, known := d.memo[r.Key]; !known {
		d.order = append(d.order, r.Key)
	}
	d.memo[r.Key] = remembered{got, l.now}
	return got
}

// ask puts an event before the core.
func (l *Loop) ask(ev controller.Event) Answer {
	if (ev.Kind == controller.CallAir || ev.Kind == controller.MachinePressed) && l.choose(int(ev.N)) {
		return Answer{Accepted: true}
	}
	d := &l.desk
	d.ref++
	if d.ref == 0 {
		d.ref = 1
	}
	ev.Ref = d.ref
	got := Answer{Accepted: true}
	for _, e := range l.post(ev) {
		if e.Kind == controller.Answered && e.Ref == ev.Ref {
			got = Answer{Accepted: e.V == 0, Why: e.Why}
		}
	}
	if got.Accepted && ev.Kind == controller.Acknowledged && l.parts.Alarms != nil {
		l.parts.Alarms.Acknowledge(l.now, ev.N)
	}
	return got
}

// mark notes what a person says of the bin or the filter.
func (l *Loop) mark(m Mark) Answer {
	switch {
	case m.What != BinEmptied && m.What != FilterCleaned && m.What != FilterReplaced:
		return Answer{Text: "that is nothing that can be marked as done"}
	case m.Collector < 0 || m.Collector >= len(l.parts.Shop.Collectors):
		return Answer{Why: controller.BecauseNoSuchThing}
	}
	l.diary.marked(m.What, m.Collector, l.now)
	l.dirty = true
	return Answer{Accepted: true}
}

// shelve puts an alarm away; the list says when it comes back.
func (l *Loop) shelve(s Shelve) Answer {
	if l.parts.Alarms == nil {
		return Answer{Text: "there is no alarm list"}
	}
	until := l.now + controller.Instant(s.For/time.Millisecond)
	if err := l.parts.Alarms.Shelve(s.Key, until, l.now, s.Reason); err != nil {
		return Answer{Text: err.Error()}
	}
	l.alarmNext, l.dirty = l.now, true
	return Answer{Accepted: true}
}
