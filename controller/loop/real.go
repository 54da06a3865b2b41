package loop

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"time"
)

// stopGrace is how long Run waits for the lanes after its context has ended, or after the moment for which a task
// that stops in order has last asked: a stop button is let go before the program ends. A transfer on a stuck bus must
// not keep the program from ending within the second that is promised for Ctrl-C.
const stopGrace = 800 * time.Millisecond

// Real runs every lane on a goroutine of its own, by timers.
type Real struct {
	start  time.Time
	lanes  []*realLane
	ending atomic.Int64 // until when a task that stops in order has asked to be called again
}

// realLane is one goroutine with its tasks. A handful of tasks share a lane, so the next one due is found by
// looking at each.
type realLane struct {
	name    Lane
	tasks   []*entry
	changed chan struct{} // holds one token: some task was woken
}

// NewReal makes the front end for real time. Its clock starts now.
func NewReal() *Real { return &Real{start: time.Now()} }

// Next makes a fresh one whose clock goes on, for what takes the place of what this one has run.
func (r *Real) Next() *Real { return &Real{start: r.start} }

// Now implements Scheduler.
func (r *Real) Now() time.Duration { return time.Since(r.start) }

// Add implements Scheduler.
func (r *Real) Add(name Lane, task string, t Task) Handle {
	place := 0
	for place < len(r.lanes) && r.lanes[place].name != name {
		place++
	}
	if place == len(r.lanes) {
		r.lanes = append(r.lanes, &realLane{name: name, changed: make(chan struct{}, 1)})
	}
	l := r.lanes[place]
	e := &entry{task: t, name: task, lane: place, signal: l.look}
	l.tasks = append(l.tasks, e)
	return e
}

// look makes the lane's goroutine look at its tasks; it never waits.
func (l *realLane) look() {
	select {
	case l.changed <- struct{}{}:
	default:
	}
}

// Run implements Scheduler.
func (r *Real) Run(ctx context.Context) error {
	var mu sync.Mutex
	left := make(map[Lane]bool, len(r.lanes))
	for _, l := range r.lanes {
		left[l.name] = true
	}
	done := make(chan struct{})
	var wg sync.WaitGroup
	for _, l := range r.lanes {
		wg.Go(func() {
			r.runLane(ctx, l)
			mu.Lock()
			delete(left, l.name)
			mu.Unlock()
		})
	}
	go func() { wg.Wait(); close(done) }()
	<-ctx.Done()
	grace := time.NewTimer(stopGrace)
	defer grace.Stop()
	for waits := true; waits; {
		select {
		case <-done:
			return nil
		case <-grace.C:
		}
		left := time.Duration(r.ending.Load()) + stopGrace - r.Now() // a button that is still pressed
		if waits = left > 0; waits {
			grace.Reset(left)
		}
	}
	mu.Lock()
	defer mu.Unlock()
	var names []string
	for _, l := range r.lanes {
		if left[l.name] {
			names = append(names, string(l.name))
		}
	}
	if len(names) == 0 {
		return nil
	}
	return fmt.Errorf("%s did not stop within %v: a transfer hangs; switch the collector off by hand and power-cycle the boards",
		strings.Join(names, ", "), stopGrace)
}

// runLane polls the lane's tasks as they fall due.
func (r *Real) runLane(ctx context.Context, l *realLane) {
	timer := time.NewTimer(time.Hour)
	defer timer.Stop()
	for ctx.Err() == nil {
		next := l.pass(ctx, r.Now)
		if next == never {
			timer.Reset(time.Hour)
		} else {
			timer.Reset(max(next-r.Now(), 0))
		}
		select {
		case <-ctx.Done():
		case <-timer.C:
		case <-l.changed:
		}
	}
	for _, e := range l.tasks {
		for next := e.stop(r.Now()); next != 0; next = e.stop(r.Now()) {
			r.ending.Store(int64(max(next, time.Duration(r.ending.Load()))))
			time.Sleep(max(next-r.Now(), time.Millisecond))
		}
	}
}

// pass polls each due task once and returns when the lane wants to look again.
func (l *realLane) pass(ctx context.Context, now func() time.Duration) time.Duration {
	for _, e := range l.tasks {
		if at := now(); e.isDue(at) && ctx.Err() == nil {
			e.poll(at)
			e.polled.Store(int64(now()) + 1)
		}
	}
	next := never
	for _, e := range l.tasks {
		if e.woken.Load() {
			return 0
		}
		if e.due != never && (next == never || e.due < next) {
			next = e.due
		}
	}
	return next
}
