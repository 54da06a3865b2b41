package bench

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"ductwarden/controller/loop"
)

const (
	pollEvery = 50 * time.Millisecond
	idlePoll  = 250 * time.Millisecond
	lease     = 30 * time.Second // a session that nobody looks at ends by itself
)

// Bench lets one person at a time learn a machine or jog a gate. Its methods may be called from any goroutine; it is
// a task on the core's lane.
type Bench struct {
	parts Parts
	self  loop.Handle

	mu    sync.Mutex
	now   time.Duration
	token string
	seen  time.Duration // when the session was last looked at
	learn *learning
	jog   *jogging
	ended *View // what the last session left to see
	sight []loop.Seen
}

var _ Desk = (*Bench)(nil)

// New makes a bench and adds it to the scheduler.
func New(p Parts, s loop.Scheduler) *Bench {
	b := &Bench{parts: p}
	b.self = s.Add(loop.Core, "bench", b)
	return b
}

// Poll implements loop.Task.
func (b *Bench) Poll(now time.Duration) time.Duration {
	if !b.mu.TryLock() { // an order is being carried out, perhaps on a slow disk: a scan does not wait for it
		return now + pollEvery
	}
	defer b.mu.Unlock()
	b.now = now
	if b.learn == nil && b.jog == nil {
		return now + idlePoll
	}
	if now-b.seen > lease {
		b.end()
		return now + idlePoll
	}
	b.sight = b.parts.Loop.Sight(b.sight[:0])
	if b.learn != nil {
		b.learn.poll(now, b.sight)
		b.act()
	}
	if b.jog != nil {
		b.jog.poll(now, b.parts.Loop.Unheard(b.jog.gate))
		if why := b.forbids(); why != "" {
			b.jog.findings = append(b.jog.findings, Finding{"stopped", true, why})
			b.end()
		} else if b.parts.Props != nil {
			at := b.parts.Props.Blade(b.jog.gate)
			b.jog.blade = &at
		}
	}
	return now + pollEvery
}

// act lets the hands of a rehearsal do what the person was asked for.
func (b *Bench) act() {
	if on, wanted := b.learn.acts(); wanted && b.parts.Props != nil {
		b.parts.Props.Switch(b.learn.machine, on)
	}
}

// Stop implements loop.Stopper: pulses end with the program. The actuators' own tasks make them inert.
func (b *Bench) Stop(time.Duration) time.Duration {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.end()
	return 0
}

// View implements Desk.
func (b *Bench) View(_ context.Context, session string) (View, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if session != "" && session == b.token {
		b.seen = b.now
	}
	return b.view(), nil
}

// Do implements Desk.
func (b *Bench) Do(_ context.Context, o Order) (View, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := b.do(o); err != nil {
		return View{}, &Refusal{err.Error()}
	}
	b.self.Wake()
	return b.view(), nil
}

func (b *Bench) do(o Order) error {
	switch o.Action {
	case ActLearn:
		return b.beginLearn(o.Target)
	case ActJog:
		return b.beginJog(o.Target)
	}
	if b.token == "" || o.Session != b.token {
		if b.token == "" {
			return errors.New("nobody is at the bench: begin with learn or jog")
		}
		return fmt.Errorf("the bench belongs to another session: %s; wait until it has ended", b.doing())
	}
	b.seen = b.now
	switch {
	case o.Action == ActEnd:
		b.end()
		return nil
	case o.Action == ActWrite:
		return b.write()
	case b.learn != nil:
		if err := b.learn.do(o); err != nil {
			return err
		}
		b.learn.preview(b.parts.File)
		return nil
	}
	if err := b.jog.do(o); err != nil {
		return err
	}
	b.jog.preview(b.parts.File)
	b.parts.Loop.Nudge(b.jog.gate)
	return nil
}

// doing says what is going on, for whoever finds the bench taken.
func (b *Bench) doing() string {
	if b.learn != nil {
		return b.parts.Machines[b.learn.machine].Name + " is being learnt"
	}
	return "gate " + b.parts.Gates[b.jog.gate].Name + " is being jogged"
}

// take reserves the bench for a new session.
func (b *Bench) take() error {
	if b.token != "" {
		return fmt.Errorf("the bench is taken: %s; wait until that has ended", b.doing())
	}
	if err := b.parts.Loop.Reserve(); err != nil {
		return err
	}
	b.token, b.seen, b.ended = rand.Text(), b.now, nil
	return nil
}

// write puts the changes into the file.
func (b *Bench) write() error {
	changes, done := []Change(nil), (*bool)(nil)
	if b.learn != nil {
		changes, done = b.learn.changes, &b.learn.written
	} else {
		changes, done = b.jog.changes, &b.jog.written
	}
	switch {
	case len(changes) == 0:
		return fmt.Errorf("there is nothing to write yet")
	case b.parts.File == nil:
		return fmt.Errorf("there is no shop file to write to here: copy the changes into it by hand")
	case *done:
		return fmt.Errorf("it has been written already")
	}
	if err := b.parts.File.Keep(changes); err != nil {
		return err
	}
	*done = true
	return nil
}

func (b *Bench) view() View {
	if b.ended != nil && b.token == "" {
		v := *b.ended
		v.AtMS, v.Channels = b.now.Milliseconds(), b.channels()
		return v
	}
	v := View{AtMS: b.now.Milliseconds(), Channels: b.channels()}
	if b.learn != nil {
		v.Busy, v.Learn = "learn", b.learn.view(b.token, b.now)
	}
	if b.jog != nil {
		v.Busy, v.Jog = "jog", b.jog.view(b.token)
	}
	return v
}

// listed joins names for a sentence.
func listed(names []string) string {
	if len(names) == 0 {
		return "none"
	}
	return strings.Join(names, ", ")
}
