package loop

import (
	"time"

	"github.com/coreos/go-systemd/v22/daemon"
)

// Supervisor talks to systemd, where the program was started by it. All its methods do nothing elsewhere.
type Supervisor struct {
	tokens chan struct{} // a completed scan; holds one
	every  time.Duration
	last   time.Time
}

// NewSupervisor looks whether a watchdog is asked for. The sender is a goroutine of its own, so that a full
// socket cannot hold a scan up; it sends only what a scan has asked for.
func NewSupervisor() *Supervisor {
	s := &Supervisor{tokens: make(chan struct{}, 1)}
	interval, err := daemon.SdWatchdogEnabled(false)
	if err != nil || interval <= 0 {
		return s
	}
	s.every = interval / 4
	go func() {
		for range s.tokens {
			_, _ = daemon.SdNotify(false, daemon.SdNotifyWatchdog)
		}
	}()
	return s
}

// Feed is called by the core's lane after a completed scan with fresh samples. It never waits.
func (s *Supervisor) Feed() {
	if s.every == 0 || time.Since(s.last) < s.every {
		return
	}
	select {
	case s.tokens <- struct{}{}:
		s.last = time.Now()
	default: // the last word is still on its way
	}
}

// Ready tells that outputs are at rest and the first scan is done; status is one line for a person.
func (s *Supervisor) Ready(status string) {
	_, _ = daemon.SdNotify(false, daemon.SdNotifyReady+"\nSTATUS="+status)
}

// Stopping tells that the end has begun.
func (s *Supervisor) Stopping() { _, _ = daemon.SdNotify(false, daemon.SdNotifyStopping) }
