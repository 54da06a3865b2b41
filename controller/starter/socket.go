package starter

import (
	"fmt"
	"sync"
	"time"
)

// Times of a socket on the network. Own choice.
const (
	// ShortestLease is the shortest time after which a socket may switch itself off: three requests must fit in.
	ShortestLease = 15 * time.Second
	LongestLease  = 10 * time.Minute

	socketAgain = 10 * time.Second       // a socket that missed a request is wrong for no longer
	socketRetry = 500 * time.Millisecond // of a request that the broker did not take
	// offFor is how long an off without an answer is sent again: a socket that comes back later keeps what a person
	// has set by its own button.
	offFor = 10 * time.Minute
)

// SocketSettings of a socket on the network.
type SocketSettings struct {
	Name string
	Send func(on bool) error // sends a request, now or never; it must not wait
	// Lease is after what time without a request the socket switches itself off, as it was set up to; zero: it does
	// not, and stays as it is when the program or the network dies.
	Lease time.Duration
	// Answers says that Report will tell what the socket says of itself.
	Answers bool
}

// Socket switches a small collector's motor by a socket on the network. Requests get lost, so they are repeated:
// on for as long as it is wanted, off until the socket has answered, or for some minutes. Report may come on
// another goroutine than everything else.
type Socket struct {
	set SocketSettings

	mu      sync.Mutex
	on      bool
	asked   bool // on or off was ever asked
	begun   time.Duration
	again   time.Duration // next request
	taken   bool          // the broker took the latest request
	settled bool          // the socket has said that it did as asked
}

var _ Starter = (*Socket)(nil)

// NewSocket makes a socket. Nothing is sent: the broker may not be there yet; the first Off is.
func NewSocket(s SocketSettings) (*Socket, error) {
	if s.Lease != 0 && (s.Lease < ShortestLease || s.Lease > LongestLease) {
		return nil, fmt.Errorf("%s: a lease of %v cannot be: give %v to %v, as the socket is set up", s.Name, s.Lease, ShortestLease, LongestLease)
	}
	return &Socket{set: s}, nil
}

// String names the topic.
func (s *Socket) String() string { return s.set.Name }

// On implements Starter.
func (s *Socket) On(now time.Duration) error { return s.ask(now, true) }

// Off implements Starter.
func (s *Socket) Off(now time.Duration) error { return s.ask(now, false) }

func (s *Socket) ask(now time.Duration, on bool) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.asked || on != s.on {
		s.on, s.asked, s.begun, s.settled = on, true, now, false
		return s.send(now)
	}
	switch {
	case now < s.again:
		return nil
	case on || !s.taken:
	case s.settled, !s.set.Answers && now-s.begun > offFor:
		return nil
	}
	return s.send(now)
}

func (s *Socket) send(now time.Duration) error {
	err := s.set.Send(s.on)
	s.taken, s.again = err == nil, now+s.every()
	if err != nil {
		s.again = now + socketRetry
		return fmt.Errorf("%v could not be told: %w", s, err)
	}
	return nil
}

// every is how often a request is repeated: three fit into a lease.
func (s *Socket) every() time.Duration {
	if s.on && s.set.Lease != 0 {
		return min(socketAgain, s.set.Lease/3)
	}
	return socketAgain
}

// Report takes what the socket says of itself. That it is as asked ends the repeating of an off; what it says later
// is a person's doing, and left.
func (s *Socket) Report(on bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.asked && on == s.on {
		s.settled = true
	}
}

// Poll implements Starter: On and Off, which are repeated at every scan, do what is due.
func (s *Socket) Poll(time.Duration) (time.Duration, error) { return 0, nil }

// Halt implements Starter.
func (s *Socket) Halt() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.on, s.asked, s.settled = false, true, false
	return s.send(s.again)
}

// LeavesBehind implements Starter.
func (s *Socket) LeavesBehind() string {
	if s.set.Lease != 0 {
		return fmt.Sprintf("the socket switches itself off %v after the last request, if it was set up to: also when the broker, the network or this computer dies", s.set.Lease)
	}
	return "the socket stays as it is when the program, the broker or the network dies: the collector runs on until the program comes back or a person uses the socket's own button; set the socket up to switch itself off, and say so with lease"
}
