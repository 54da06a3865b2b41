package access

import (
	"sync"
	"time"
)

// Back-off on wrong tries: five are free, then the wait doubles up to a minute, for one address and, more
// patiently, for all together. The console is never shut out.
const (
	freeTries     = 5
	freeTriesAll  = 30
	longestWait   = time.Minute
	forgetAfter   = 15 * time.Minute
	mostAddresses = 1024
)

type count struct {
	wrong int
	last  time.Time
}

type tries struct {
	mu  sync.Mutex
	by  map[string]count
	all count
}

func (c count) wait(free int) time.Duration {
	if c.wrong < free {
		return 0
	}
	return min(longestWait, time.Second<<min(c.wrong-free, 6))
}

// allow returns ErrWait while from, or everybody together, has to wait.
func (t *tries) allow(from string, now time.Time) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	if now.Sub(t.all.last) > forgetAfter {
		t.all = count{}
	}
	c := t.by[from]
	if now.Sub(c.last) > forgetAfter {
		c = count{}
	}
	if now.Sub(c.last) < c.wait(freeTries) || now.Sub(t.all.last) < t.all.wait(freeTriesAll) {
		return ErrWait
	}
	return nil
}

func (t *tries) failed(from string, now time.Time) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.by == nil || len(t.by) >= mostAddresses {
		t.by = map[string]count{}
	}
	c := t.by[from]
	if now.Sub(c.last) > forgetAfter {
		c = count{}
	}
	t.by[from] = count{c.wrong + 1, now}
	t.all = count{t.all.wrong + 1, now}
}

func (t *tries) passed(from string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.by, from)
}
