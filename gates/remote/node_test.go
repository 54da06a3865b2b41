package remote_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ductwarden/gates"
	"ductwarden/gates/remote"
)

const base = "ductwarden/1/mossfen/node/annex"

// node is the far end as the package's comment asks for it, with the network between: messages take `delay`.
type node struct {
	now      time.Duration
	handle   func(topic string, payload []byte, retained bool)
	delay    time.Duration
	travel   time.Duration
	feedback bool
	deaf     bool // targets do not arrive
	dumb     bool // its messages do not arrive
	fail     bool // the broker is gone: Send fails

	wire   []post
	boot   int
	epoch  string
	seq    uint64
	place  time.Duration // 0 closed, travel open
	push   gates.Drive
	lease  time.Duration // end of it
	fault  string
	beat   time.Duration
	moved  time.Duration // when place was last brought up to date
	said   string
	acked  bool
	Sent   []target
	resent int
}

type post struct {
	at      time.Duration
	toNode  bool
	topic   string
	payload []byte
}

type target struct {
	Epoch    string `json:"epoch"`
	Seq      uint64 `json:"seq"`
	Position string `json:"position"`
	Lease    int64  `json:"lease_ms"`
}

func newNode() *node {
	return &node{boot: 1, delay: 20 * time.Millisecond, travel: 900 * time.Millisecond, feedback: true, beat: time.Millisecond}
}

func (n *node) Watch(filter string, handle func(string, []byte, bool)) {
	if filter != base+"/+" {
		panic(filter)
	}
	n.handle = handle
}

func (n *node) Send(topic string, payload []byte) error {
	if n.fail {
		return errors.New("no connection to the broker")
	}
	if !n.deaf {
		n.wire = append(n.wire, post{n.now + n.delay, true, topic, append([]byte(nil), payload...)})
	}
	return nil
}

func (n *node) say(leaf, payload string) {
	if !n.dumb && !n.fail {
		n.wire = append(n.wire, post{n.now + n.delay, false, base + "/" + leaf, []byte(payload)})
	}
}

// run brings the node to a moment.
func (n *node) run(to time.Duration) {
	for n.now < to {
		pace := 5 * time.Millisecond
		if len(n.wire) == 0 && n.push == gates.DriveNone {
			pace = 100 * time.Millisecond
		}
		n.now = min(to, n.now+pace)
		n.step()
	}
	n.step()
}

func (n *node) step() {
	for len(n.wire) > 0 && n.wire[0].at <= n.now {
		p := n.wire[0]
		n.wire = n.wire[1:]
		if p.toNode {
			n.obey(p.payload)
		} else if n.handle != nil {
			n.handle(p.topic, p.payload, false)
		}
	}
	n.place = min(max(n.place+(n.now-n.moved)*time.Duration(n.push), 0), n.travel)
	n.moved = n.now
	if n.place == 0 && n.push == gates.DriveClose || n.place == n.travel && n.push == gates.DriveOpen {
		n.push = gates.DriveNone
	}
	if n.lease != 0 && n.now > n.lease {
		n.lease, n.push, n.fault = 0, gates.DriveNone, "lease_expired" // set up to hold when it is alone
	}
	n.report(false)
	if n.now >= n.beat {
		n.beat = n.now + 2*time.Second
		n.say("heartbeat", fmt.Sprintf(`{"boot":"b%d"}`, n.boot))
	}
}

func (n *node) obey(payload []byte) {
	var t target
	if json.Unmarshal(payload, &t) != nil {
		return
	}
	n.Sent = append(n.Sent, t)
	if n.epoch == t.Epoch && t.Seq <= n.seq {
		n.resent++
		return
	}
	n.epoch, n.seq, n.acked, n.fault = t.Epoch, t.Seq, true, ""
	n.lease = n.now + time.Duration(t.Lease)*time.Millisecond
	n.push = map[string]gates.Drive{"open": gates.DriveOpen, "closed": gates.DriveClose, "rest": gates.DriveNone}[t.Position]
	n.report(true)
}

func (n *node) report(always bool) {
	position := "between"
	switch n.place {
	case 0:
		position = "closed"
	case n.travel:
		position = "open"
	}
	source := "assumed"
	if n.feedback {
		source = "measured"
	}
	ack := "null"
	if n.acked {
		ack = fmt.Sprintf(`{"epoch":%q,"seq":%d}`, n.epoch, n.seq)
	}
	body := fmt.Sprintf(`"position":%q,"source":%q,"moving":%v,"fault":%q`, position, source, n.push != gates.DriveNone, n.fault)
	if !always && body == n.said {
		return
	}
	n.said = body
	n.say("report", fmt.Sprintf(`{"v":1,"boot":"b%d","ack":%s,%s}`, n.boot, ack, body))
}

// restart is a cut of its power.
func (n *node) restart() {
	n.boot++
	n.epoch, n.seq, n.acked, n.push, n.lease, n.said, n.beat = "", 0, false, gates.DriveNone, 0, "", n.now
}

func (n *node) pushing() gates.Drive { return n.push }

// bench is a gate with its node, in virtual time.
type bench struct {
	t    *testing.T
	n    *node
	g    *remote.Gate
	next time.Duration
	err  error
}

func newBench(t *testing.T) *bench {
	t.Helper()
	n := newNode()
	g, err := remote.New(n, remote.Settings{Node: "annex", Base: base, Epoch: "e1", Travel: n.travel}, nil)
	require.NoError(t, err)
	return &bench{t: t, n: n, g: g}
}

// run polls as the loop does, with the level given again each time.
func (b *bench) run(d time.Duration) {
	for end := b.n.now + d; b.n.now < end; {
		b.n.run(b.n.now + 10*time.Millisecond)
		b.next, b.err = b.g.Poll(b.n.now)
	}
}

func (b *bench) until(what func() bool, limit time.Duration, why string) time.Duration {
	b.t.Helper()
	from := b.n.now
	for !what() {
		require.Less(b.t, b.n.now-from, limit, "%s: %+v", why, b.g.State())
		b.run(10 * time.Millisecond)
	}
	return b.n.now - from
}

func (b *bench) linked() {
	b.t.Helper()
	b.until(func() bool { return b.g.State().Link == remote.Linked }, 5*time.Second, "hands are shaken")
}
