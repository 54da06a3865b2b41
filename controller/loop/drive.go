package loop

import (
	"sync/atomic"
	"time"

	"ductwarden/gates"
)

// driveTask carries a gate's level to its actuator on the actuator's lane. The level is a mailbox, not a message:
// whatever was lost, the next poll drives what is wanted now.
type driveTask struct {
	actuator gates.Actuator
	want     atomic.Int32
	failing  atomic.Bool
	mended   time.Duration // when it counts as working again, unless it fails before
	lent     lending
	self     Handle
	core     Handle
}

// reassert is how often a level is driven again though nothing changed.
const reassert = 250 * time.Millisecond

// failFor is how long an actuator counts as failing after its latest error. It is longer than any retry, so that one
// which fails only while it is driven does not come and go with each try.
const failFor = time.Second

// set asks for a level. It may be repeated at every scan.
func (t *driveTask) set(d gates.Drive) {
	if gates.Drive(t.want.Swap(int32(d))) != d {
		t.self.Wake()
	}
}

// Poll implements Task.
func (t *driveTask) Poll(now time.Duration) time.Duration {
	if next, lent := t.moved(now); lent {
		return next
	}
	err := t.actuator.Drive(now, gates.Drive(t.want.Load()))
	next, pollErr := t.actuator.Poll(now)
	if err != nil || pollErr != nil {
		t.mended = now + failFor
	}
	failing := now < t.mended
	if t.failing.Swap(failing) != failing {
		t.core.Wake()
	}
	if next == 0 || next > now+reassert {
		next = now + reassert
	}
	return next
}

// Stop implements Stopper: no pulses, no power; the gate stays where it is.
func (t *driveTask) Stop(time.Duration) time.Duration {
	_ = t.actuator.Halt()
	return 0
}
