// Package remote moves a gate that a node on the network drives: a small board with its own supply and motor,
// reached over the broker. The node obeys a target only for the length of its lease, so that a gate never
// follows a program that is gone; the program believes the node only after a handshake, so that it never
// follows a report from before the node's last start.
//
// Below its base topic a node has these, all JSON but availability:
//
//	availability  node: online, or offline by its will; retained
//	info          node: {"v":1,"boot":"b7","feedback":"switch|none","travel_ms":900,"alone":"hold|open|close"}; retained
//	target        program: {"v":1,"epoch":"e1","seq":7,"position":"open|closed|rest","lease_ms":10000}; never retained
//	report        node: {"v":1,"boot":"b7","ack":{"epoch":"e1","seq":7},"position":"open|closed|between","source":"measured|assumed","moving":false,"fault":""}
//	heartbeat     node, every 2 s: {"boot":"b7"}
//
// The node drops retained targets, targets of another epoch than the last it has shaken hands in, and any seq
// that is not above the last; it clamps speed and position itself; after boot it reports with ack null and
// moves nothing until a target comes. When its lease runs out it does what it was set up to do alone, and says
// so as its fault.
package remote

import (
	"errors"
	"fmt"
	"sync"
	"time"

	"ductwarden/gates"
)

// Broker carries messages. Send sends now or never: QoS 1, not retained.
type Broker interface {
	Watch(filter string, handle func(topic string, payload []byte, retained bool))
	Send(topic string, payload []byte) error
}

// Settings of one node.
type Settings struct {
	Node       string // for messages
	Base       string // topic of the node, without a slash at the end
	Epoch      string // this start of the program
	Travel     time.Duration
	Lease      time.Duration // a target holds so long; 0 is 10 s
	Answer     time.Duration // a target is acknowledged within; 0 is 300 ms
	LongestRun time.Duration // a push that nobody has ended; 0 is 4 travels, at least 2 s
}

// Times of the exchange. Own choice: a node beats every 2 s, so three missed beats are suspect and five lost.
const (
	suspectAfter = 6 * time.Second
	lostAfter    = 10 * time.Second
	tries        = 3                      // targets without an answer before a node that should move counts as lost
	notice       = 500 * time.Millisecond // a program that stood still has not listened: at most so much of a pause counts as silence
	asking       = 50 * time.Millisecond  // polls while an answer or a move is awaited
	watching     = 250 * time.Millisecond // and otherwise
)

// Link is how the node stands.
type Link uint8

// The states of the link.
const (
	Absent  Link = iota // nothing has been heard of it since the program's start
	Shaking             // it is there; its answer to our first target is awaited
	Linked              // it obeys, and its reports are believed
	Suspect             // linked, and silent for three beats
	Gone                // lost: silent for five beats, or its will came, or it does not answer
)

func (l Link) String() string {
	return [...]string{"absent", "shaking", "linked", "suspect", "gone"}[min(l, Gone)]
}

// Gate is one node's gate: a gates.Actuator. One lane drives and polls it; what it knows may be asked on any
// goroutine, and messages may come on any.
type Gate struct {
	b    Broker
	set  Settings
	wake func()

	mu  sync.Mutex
	box mailbox // and all below

	link    Link
	boot    string
	resets  int
	last    report
	ignored int

	want     gates.Drive // last asked
	wanted   string      // position to send
	cut      time.Duration
	seq      uint64
	due      bool // a target must go out at the next poll
	awaits   bool // its answer has not come
	missed   int  // targets without an answer in a row
	polled   time.Duration
	silence  time.Duration
	waited   time.Duration // since the newest target, as far as the program was awake
	unheard  time.Duration // since the oldest target that waits for an answer, likewise
	sendFail error
}

var _ gates.Actuator = (*Gate)(nil)

// New makes the gate and subscribes to its node. wake asks the lane for a poll as soon as may be; nil for
// none. Call it before the broker connects.
func New(b Broker, s Settings, wake func()) (*Gate, error) {
	if s.Lease == 0 {
		s.Lease = 10 * time.Second
	}
	if s.Answer == 0 {
		s.Answer = 300 * time.Millisecond
	}
	if s.LongestRun == 0 {
		s.LongestRun = max(4*s.Travel, 2*time.Second)
	}
	switch {
	case s.Node == "" || s.Base == "" || s.Epoch == "":
		return nil, errors.New("remote gate: a node, its topic and this start of the program need names")
	case s.Travel <= 0 || s.LongestRun < s.Travel:
		return nil, fmt.Errorf("remote gate %s: a longest run of %v is less than the travel of %v: give a longer one", s.Node, s.LongestRun, s.Travel)
	case s.Lease < 4*s.Answer:
		return nil, fmt.Errorf("remote gate %s: a lease of %v is over before three tries of %v: give a longer one", s.Node, s.Lease, s.Answer)
	}
	g := &Gate{b: b, set: s, wake: wake, wanted: "rest"}
	b.Watch(s.Base+"/+", g.receive)
	return g, nil
}

// Drive implements gates.Actuator. It fails while the node is not there; the level is kept and sent once it is.
func (g *Gate) Drive(now time.Duration, d gates.Drive) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	if d != g.want {
		g.want = d
		g.cut = 0
		g.wanted = "rest"
		if d != gates.DriveNone {
			g.wanted = map[gates.Drive]string{gates.DriveOpen: "open", gates.DriveClose: "closed"}[d]
			g.cut = now + g.set.LongestRun
		}
		g.due = true
		if g.ready() {
			g.send()
		}
	}
	return g.fault()
}

// ready reports whether a target may carry a push.
func (g *Gate) ready() bool { return g.link == Linked || g.link == Suspect }

// fault is why the node cannot be driven now.
func (g *Gate) fault() error {
	if g.sendFail != nil {
		return fmt.Errorf("%v: %w", g, g.sendFail)
	}
	if !g.ready() {
		return g.lost()
	}
	return nil
}

// Reasons are made once each, so that a node that is away costs nothing.
func (g *Gate) lost() error { return reasons[g.link] }

var reasons = [...]error{
	Absent:  errors.New("remote gate: nothing has been heard of its node yet; check its power and its network"),
	Shaking: errors.New("remote gate: its node is there and has not answered yet"),
	Gone:    errors.New("remote gate: its node is lost; check its power and its network"),
}

// Poll implements gates.Actuator: it takes in what has come, shakes hands, renews the lease, and ends a push
// that nobody has ended.
func (g *Gate) Poll(now time.Duration) (next time.Duration, err error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	pause := min(now-g.polled, notice)
	if g.polled == 0 {
		pause = 0
	}
	g.polled = now
	g.silence += pause
	g.waited += pause
	if g.unheard += pause; !g.awaits {
		g.unheard = 0
	}
	g.takeIn()
	g.watch()
	if g.cut != 0 && now >= g.cut {
		g.cut, g.wanted, g.due = 0, "rest", true
	}
	g.exchange()
	next = now + watching
	if g.awaits || g.last.Moving || g.due {
		next = now + asking
	}
	if g.cut != 0 {
		next = min(next, max(g.cut, now+1))
	}
	return next, g.fault()
}

// Halt implements gates.Actuator: the node is told to rest.
func (g *Gate) Halt() error {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.want, g.wanted, g.cut = gates.DriveNone, "rest", 0
	if g.link == Absent {
		return nil
	}
	g.send()
	if g.sendFail != nil {
		return fmt.Errorf("%v: %w", g, g.sendFail)
	}
	return nil
}

// String names the node.
func (g *Gate) String() string { return "remote@" + g.set.Node }
