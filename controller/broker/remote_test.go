package broker_test

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/broker"
	"ductwarden/controller/broker/brokertest"
	"ductwarden/current"
	meter "ductwarden/current/remote"
	"ductwarden/gates"
	gate "ductwarden/gates/remote"
)

const annex = site + "node/annex"

// node is a board with a gate, as a client of the broker.
type node struct {
	t     *testing.T
	boot  string
	cut   func()
	c     mqtt.Client
	place string
	got   chan string
}

func startNode(t *testing.T, address, boot, place string) *node {
	t.Helper()
	n := &node{t: t, boot: boot, place: place, got: make(chan string, 1000)}
	l := newLine(t, address)
	n.cut = l.cut
	o := mqtt.NewClientOptions().AddBroker(l.url()).SetClientID("annex-"+boot).SetAutoReconnect(false).SetOrderMatters(true).
		SetWill(annex+"/availability", "offline", 1, true)
	n.c = mqtt.NewClient(o)
	require.True(t, n.c.Connect().WaitTimeout(30*time.Second))
	t.Cleanup(func() { n.c.Disconnect(0) })
	require.True(t, n.c.Subscribe(annex+"/target", 1, n.obey).WaitTimeout(30*time.Second))
	n.c.Publish(annex+"/availability", 1, true, "online")
	n.report("null")
	go func() {
		for tick := time.NewTicker(100 * time.Millisecond); n.c.IsConnectionOpen(); <-tick.C {
			n.c.Publish(annex+"/heartbeat", 0, false, fmt.Sprintf(`{"boot":%q}`, boot))
		}
	}()
	return n
}

func (n *node) report(ack string) {
	n.c.Publish(annex+"/report", 1, true, fmt.Sprintf(`{"v":1,"boot":%q,"ack":%s,"position":%q,"source":"measured","moving":false,"fault":""}`, n.boot, ack, n.place))
}

func (n *node) obey(_ mqtt.Client, m mqtt.Message) {
	var t struct {
		Epoch, Position string
		Seq             uint64
	}
	if m.Retained() || json.Unmarshal(m.Payload(), &t) != nil {
		return
	}
	if t.Position != "rest" {
		n.place = t.Position
	}
	select {
	case n.got <- t.Position:
	default:
	}
	go n.report(fmt.Sprintf(`{"epoch":%q,"seq":%d}`, t.Epoch, t.Seq))
}

// lane polls a gate as the loop does.
func lane(t *testing.T, g *gate.Gate, now func() time.Duration) {
	stop, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		for tick := time.NewTicker(10 * time.Millisecond); ; {
			select {
			case <-stop:
				return
			case <-tick.C:
				_, _ = g.Poll(now())
			}
		}
	}()
	t.Cleanup(func() { close(stop); <-done })
}

func TestRemoteGateLostAndFound(t *testing.T) {
	t.Parallel()
	m := brokertest.Start(t)
	c, _, began := config(m.URL(), nil)
	now := func() time.Duration { return time.Since(began) }
	r := runWith(t, c, func(s *broker.Service) any {
		g, err := gate.New(s.Link(), gate.Settings{Node: "annex", Base: annex, Epoch: "boot-1", Travel: 900 * time.Millisecond}, nil)
		require.NoError(t, err)
		return g
	})
	g := r.part.(*gate.Gate)
	lane(t, g, now)
	r.Offer(state(r.now(), false))
	r.online(t)
	n := startNode(t, m.Address(), "b1", "closed")
	link := func(want gate.Link) func() bool { return func() bool { return g.State().Link == want } }
	require.Eventually(t, link(gate.Linked), 30*time.Second, 5*time.Millisecond)
	assert.Equal(t, "rest", <-n.got, "hands are shaken without moving")
	require.NoError(t, g.Drive(now(), gates.DriveOpen))
	from := time.Now()
	require.Eventually(t, func() bool { return g.Proof() == gates.SeenOpen }, 30*time.Second, time.Millisecond)
	t.Logf("remote gate: %s from the level to the proof, over the broker and back", time.Since(from).Round(100*time.Microsecond))
	assert.Equal(t, "open", <-n.got)

	n.cut() // its power
	require.Eventually(t, link(gate.Gone), 30*time.Second, 5*time.Millisecond, "its will tells at once")
	assert.Equal(t, gates.SeenNeither, g.Proof())
	assert.Error(t, g.Drive(now(), gates.DriveClose))
	n = startNode(t, m.Address(), "b2", "open")
	require.Eventually(t, link(gate.Linked), 30*time.Second, 5*time.Millisecond)
	assert.Equal(t, "rest", <-n.got)
	assert.Equal(t, 1, g.State().Resets)
	require.Eventually(t, func() bool { return g.Proof() == gates.SeenClosed }, 30*time.Second, time.Millisecond, "the level that is wanted now goes out after the handshake")

	m.Kill() // all nodes at once
	require.Eventually(t, func() bool { return g.Drive(now(), gates.DriveNone) != nil }, 30*time.Second, 5*time.Millisecond)
	assert.ErrorIs(t, r.Link().Send("x", nil), broker.ErrNotConnected)
}

// What is sent in the moment of the end still goes out: it may be the off of a collector's socket.
func TestTheLastWordIsSent(t *testing.T) {
	t.Parallel()
	m := brokertest.Start(t)
	l := listen(t, m.URL(), "socket/#", site+"availability")
	for i := range 10 {
		r := run(t, m.URL(), nil)
		r.online(t)
		word := fmt.Sprint("OFF ", i)
		require.NoError(t, r.Link().Send("socket/set", []byte(word)))
		r.stop()
		require.Eventually(t, func() bool { return l.value("socket/set") == word && l.value(site+"availability") == "offline" }, 30*time.Second, 5*time.Millisecond)
	}
}

func TestPowerTelemetry(t *testing.T) {
	t.Parallel()
	m := brokertest.Start(t)
	l := listen(t, m.URL())
	l.say("plug/SENSOR", `{"ENERGY":{"Power":900}}`, true) // somebody's last word, from last week perhaps
	c, _, began := config(m.URL(), nil)
	now := func() time.Duration { return time.Since(began) }
	r := runWith(t, c, func(s *broker.Service) any {
		p, err := meter.New(meter.Settings{Name: "plug", Pointer: "/ENERGY/Power", Power: true, Running: 60_000, Idle: 20_000, MaxAge: 600 * time.Millisecond, Yes: "Online", No: "Offline"})
		require.NoError(t, err)
		p.Attach(s.Link(), "plug/SENSOR", "plug/LWT", now)
		return p
	})
	p := r.part.(*meter.Meter)
	belief := func(want current.Belief) func() bool {
		return func() bool { _, _ = p.Poll(now()); return p.Belief() == want }
	}
	r.online(t)
	assert.Never(t, func() bool { return p.Belief() != current.Unknown }, 200*time.Millisecond, 10*time.Millisecond, "retained is not fresh")
	say := func(power int, want current.Belief) {
		t.Helper()
		l.say("plug/SENSOR", fmt.Sprintf(`{"Time":"x","ENERGY":{"Power":%d}}`, power), false)
		require.Eventually(t, belief(want), 30*time.Second, time.Millisecond)
	}
	say(900, current.Running)
	say(3, current.Idle)
	say(900, current.Running)
	l.say("plug/SENSOR", `{"WIFI":5}`, false) // a partial update
	require.Eventually(t, belief(current.Unknown), 30*time.Second, time.Millisecond, "stale is neither zero nor running")
	assert.Equal(t, current.Late, p.Health())
	say(900, current.Running)
	l.say("plug/LWT", "Offline", false)
	require.Eventually(t, belief(current.Unknown), 30*time.Second, time.Millisecond)
	assert.Equal(t, current.Lost, p.Health())
	say(2, current.Idle)
}
