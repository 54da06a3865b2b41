package loop

import (
	"context"
	"time"
)

// AsFastAsMayBe is the speed of a Virtual that never waits for the wall clock.
const AsFastAsMayBe = 0

// standstill is the least step of virtual time for a task that asks to be polled again at once, so that it
// cannot hold the clock still.
const standstill = 10 * time.Microsecond

// Virtual runs all lanes on one goroutine and jumps to the next due time. Ties go by lane, then by order of
// adding, so the same tasks do the same things in the same order each time. With a speed above zero it waits
// for the wall clock: 1 is real time, 60 a minute in a second.
type Virtual struct {
	speed   float64
	now     time.Duration
	lanes   []Lane
	tasks   []*entry // sorted by lane, then by order of adding
	changed chan struct{}
	paced   struct { // where pacing began
		wall time.Time
		at   time.Duration
		on   bool
	}
}

// NewVirtual makes the front end for virtual time. Its clock starts at 1 ms: instant zero means none.
func NewVirtual(speed float64) *Virtual {
	return &Virtual{speed: speed, now: time.Millisecond, changed: make(chan struct{}, 1)}
}

// Now implements Scheduler. It is to be called from within tasks, or while Run does not run.
func (v *Virtual) Now() time.Duration { return v.now }

// SetSpeed changes the pace from now on. It is to be called from within tasks, or while Run does not run.
func (v *Virtual) SetSpeed(speed float64) { v.speed, v.paced.on = speed, false }

// Add implements Scheduler.
func (v *Virtual) Add(name Lane, task string, t Task) Handle {
	place := 0
	for place < len(v.lanes) && v.lanes[place] != name {
		place++
	}
	if place == len(v.lanes) {
		v.lanes = append(v.lanes, name)
	}
	e := &entry{task: t, name: task, lane: place, due: v.now, signal: v.look}
	at := len(v.tasks)
	for at > 0 && v.tasks[at-1].lane > place {
		at--
	}
	v.tasks = append(v.tasks, nil)
	copy(v.tasks[at+1:], v.tasks[at:])
	v.tasks[at] = e
	return e
}

// look interrupts a wait for the wall clock; it never waits itself.
func (v *Virtual) look() {
	select {
	case v.changed <- struct{}{}:
	default:
	}
}

// Run implements Scheduler.
func (v *Virtual) Run(ctx context.Context) error {
	v.run(ctx, never)
	for _, e := range v.tasks {
		for next := e.stop(v.now); next != 0; next = e.stop(v.now) {
			v.now = max(next, v.now+standstill)
		}
	}
	return nil
}

// Advance polls what falls due up to and including until, and leaves the clock there. Tasks are not stopped.
func (v *Virtual) Advance(ctx context.Context, until time.Duration) {
	v.run(ctx, until)
	if ctx.Err() == nil && v.now < until {
		v.now = until
	}
}

func (v *Virtual) run(ctx context.Context, until time.Duration) {
	v.paced.on = false
	for ctx.Err() == nil {
		e, due := v.next()
		if until != never && (e == nil || due > until) {
			return
		}
		if !v.waitFor(ctx, e, due) {
			continue // woken or ended while waiting: look again
		}
		if due > v.now {
			v.now = due
		}
		before := v.now
		e.poll(v.now)
		if e.due != never && e.due <= before {
			e.due = before + standstill
		}
		e.polled.Store(int64(v.now) + 1)
	}
}

// next finds the task that is due first. A woken task is due now.
func (v *Virtual) next() (first *entry, due time.Duration) {
	for _, e := range v.tasks {
		at := e.due
		if e.woken.Load() {
			at = v.now
		}
		if at != never && (first == nil || at < due) {
			first, due = e, at
		}
	}
	return first, due
}

// waitFor paces virtual time by the wall clock. It reports false when the task was not reached: the context
// ended or a task was woken meanwhile, and the clock now stands where the wall clock has got to.
func (v *Virtual) waitFor(ctx context.Context, e *entry, due time.Duration) bool {
	if e == nil { // nothing is due: only a wake can bring something
		select {
		case <-ctx.Done():
		case <-v.changed:
		}
		return false
	}
	if v.speed <= 0 {
		return true
	}
	if !v.paced.on {
		v.paced.wall, v.paced.at, v.paced.on = time.Now(), v.now, true
	}
	wait := time.Duration(float64(due-v.paced.at)/v.speed) - time.Since(v.paced.wall)
	if wait < time.Millisecond { // the wall clock's own grain: short steps are taken in one go
		if wait < -time.Second { // the machine was asleep or too slow: go on from here, do not race to catch up
			v.paced.on = false
		}
		return true
	}
	timer := time.NewTimer(wait)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-timer.C:
		return true
	case <-v.changed:
		reached := v.paced.at + time.Duration(float64(time.Since(v.paced.wall))*v.speed)
		v.now = max(v.now, min(reached, due))
		return false
	}
}
