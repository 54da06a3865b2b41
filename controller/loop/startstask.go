package loop

import (
	"sync"
	"time"
)

// startsTask writes the file of starts on a lane of its own.
type startsTask struct {
	file    *Starts
	changed func(error)
	self    Handle

	mu      sync.Mutex
	pending []int
	on      bool
	failed  bool
}

// start asks for a start to be written.
func (t *startsTask) start(collector int) {
	t.mu.Lock()
	t.pending = append(t.pending, collector)
	t.mu.Unlock()
	t.self.Wake()
}

// mark says whether a start line is on. It may be repeated at every scan.
func (t *startsTask) mark(on bool) {
	t.mu.Lock()
	news := t.on != on
	t.on = on
	t.mu.Unlock()
	if news {
		t.self.Wake()
	}
}

// Poll implements Task.
func (t *startsTask) Poll(now time.Duration) time.Duration {
	t.mu.Lock()
	pending, on := t.pending, t.on
	t.pending = nil
	t.mu.Unlock()
	var err error
	for _, c := range pending {
		if e := t.file.Started(c); e != nil {
			err = e
		}
	}
	ending := StillOff
	if on {
		ending = StillOn
	}
	if e := t.file.Mark(ending); e != nil {
		err = e
	}
	if (err != nil) != t.failed {
		t.failed = err != nil
		if t.changed != nil {
			t.changed(err)
		}
	}
	return 0
}

// Stop implements Stopper: the program ends in order.
func (t *startsTask) Stop(time.Duration) time.Duration {
	_ = t.file.Mark(OrderlyEnd)
	return 0
}
