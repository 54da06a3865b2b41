// Package loop is the running thing around the pure core: the scheduler with its two front ends, inputs,
// outputs, the watchdog and the file of starts. One goroutine owns controller.State.
package loop

import (
	"context"
	"sync/atomic"
	"time"
)

// Task is a machine that does what is due and says when it is due next. Nothing in a driver sleeps.
type Task interface {
	// Poll does what is due at now, monotonic time since the program started, and returns when to call again.
	// Zero means not until woken. A time that is not after now means again as soon as may be, after the other
	// tasks that are due; a machine that has fallen behind catches up that way instead of falling silent.
	Poll(now time.Duration) (next time.Duration)
}

// Stopper is a Task that has something to leave behind in order: outputs off, buses closed. Stop is called on the
// task's own lane after its last Poll, when Run ends. It returns when it wants to be called again, for a button
// that is still held down; zero: it is done.
type Stopper interface {
	Stop(now time.Duration) (next time.Duration)
}

// TaskFunc is a function as a Task.
type TaskFunc func(now time.Duration) time.Duration

// Poll calls the function.
func (f TaskFunc) Poll(now time.Duration) time.Duration { return f(now) }

// Lane names the goroutine that runs a task: one a bus, one for the core. On the virtual front end all lanes
// share one goroutine, and ties are broken by lane and then by order of adding.
type Lane string

// Scheduler runs tasks. Real time and virtual time are its two front ends.
type Scheduler interface {
	// Add registers a task before Run. A new task is due at once.
	Add(lane Lane, name string, t Task) Handle
	// Now is monotonic time since the program started.
	Now() time.Duration
	// Run polls tasks until ctx ends, stops them, and returns. It returns an error when a lane did not come
	// back from its last Poll in time, naming it.
	Run(ctx context.Context) error
}

// Handle is one task as the outside sees it. Its methods may be called from any goroutine.
type Handle interface {
	// Wake asks for a Poll as soon as may be.
	Wake()
	// Polled is when the last Poll of the task ended; ok is false before the first.
	Polled() (at time.Duration, ok bool)
}

// never is the due time of a task that waits to be woken.
const never = time.Duration(-1)

// entry is one task in a lane.
type entry struct {
	task   Task
	name   string
	lane   int           // place of the lane, in order of first adding
	due    time.Duration // never, or when to poll; owned by the lane's goroutine
	woken  atomic.Bool
	polled atomic.Int64 // nanoseconds of the last completed Poll plus one; 0 = none yet
	signal func()       // tells the lane's goroutine to look
}

// Wake implements Handle.
func (e *entry) Wake() {
	if !e.woken.Swap(true) {
		e.signal()
	}
}

// Polled implements Handle.
func (e *entry) Polled() (time.Duration, bool) {
	at := e.polled.Load()
	return time.Duration(at - 1), at != 0
}

// isDue reports whether the task is to be polled at now.
func (e *entry) isDue(now time.Duration) bool {
	return e.woken.Load() || (e.due != never && e.due <= now)
}

// poll polls the task once and notes when it wants to be called next.
func (e *entry) poll(now time.Duration) {
	e.woken.Store(false) // before the poll: a wake during it asks for one more
	next := e.task.Poll(now)
	switch {
	case next == 0:
		e.due = never
	case next < now:
		e.due = now
	default:
		e.due = next
	}
}

// stop lets the task leave its things in order and returns when to call it again; zero: it is done.
func (e *entry) stop(now time.Duration) (next time.Duration) {
	if s, ok := e.task.(Stopper); ok {
		return s.Stop(now)
	}
	return 0
}
