package broker_test

import (
	"fmt"
	"maps"
	"runtime"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/broker"
	"ductwarden/controller/broker/brokertest"
	"ductwarden/controller/publish"
)

func fault(want broker.Fault, r *running) func() bool {
	return func() bool { return r.Status().Fault == want }
}

func TestBrokerAbsentAtStart(t *testing.T) {
	t.Parallel()
	m := brokertest.Start(t)
	m.Kill()
	r := run(t, m.URL(), nil)
	for i := range int64(5) {
		r.Offer(state(r.now()+i, i%2 == 0))
	}
	require.Eventually(t, fault(broker.Unreachable, r), 30*time.Second, 5*time.Millisecond)
	assert.Contains(t, r.Status().Why, "nobody listens there")
	m.Start()
	r.online(t)
	require.Eventually(t, r.Link().Settled, 30*time.Second, 5*time.Millisecond)
	assert.Equal(t, "true", retainedSet(t, m.URL(), "ductwarden/#")[site+"state/machine/planer/running"])
	assert.Equal(t, broker.NoFault, r.Status().Fault)
}

// Twenty kills with messages on their way: each time everything retained is right again within six seconds.
func TestBrokerKilledTwentyTimes(t *testing.T) {
	t.Parallel()
	m := brokertest.Start(t)
	r := run(t, m.URL(), func(c *broker.Config) {
		c.Link.Pace = broker.Pace{}
		if !*long { // the usual pace, only that a short session counts as one, so that pauses do not grow from round to round
			c.Link.Pace.Steady = 10 * time.Millisecond
		}
	})
	running := false
	r.Offer(state(r.now(), running))
	r.online(t)
	var slowest time.Duration
	for round := range 20 {
		m.Kill()
		for range 20 {
			running = !running
			s := state(r.now(), running)
			s.Why = fmt.Sprintf("round %d", round)
			r.Offer(s)
		}
		running = round%2 == 0
		s := state(r.now(), running)
		s.Why = fmt.Sprintf("round %d", round)
		r.Offer(s)
		require.Eventually(t, fault(broker.Unreachable, r), 30*time.Second, 5*time.Millisecond)
		m.Start()
		from := time.Now()
		want := map[string]string{
			"availability": "online", "state/machine/planer/running": fmt.Sprint(running), "state/shop/why": fmt.Sprintf("round %d", round),
			"state/gate/planer/state": map[bool]string{true: "open", false: "closed"}[running], "state/collector/collector/running": fmt.Sprint(running),
		}
		require.Eventually(t, func() bool {
			if !r.Status().Online || !r.Link().Settled() {
				return false
			}
			kept := retainedSet(t, m.URL(), "ductwarden/#")
			for topic, v := range want {
				if kept[site+topic] != v {
					return false
				}
			}
			return true
		}, time.Minute, 10*time.Millisecond, "round %d: %+v", round, r.Status())
		slowest = max(slowest, time.Since(from))
	}
	t.Logf("kills: 20 of 20 retained sets right, slowest %s after the broker was back (goal 6 s)", slowest.Round(time.Millisecond))
}

func TestSecondClientWithTheSameID(t *testing.T) {
	t.Parallel()
	m := brokertest.Start(t)
	a := run(t, m.URL(), nil)
	b := run(t, m.URL(), nil)
	require.Eventually(t, func() bool { return a.Status().Fault == broker.Rival || b.Status().Fault == broker.Rival }, 20*time.Second, 5*time.Millisecond)
	for _, r := range []*running{a, b} {
		if r.Status().Fault == broker.Rival {
			assert.Contains(t, r.Status().Why, "another client uses the same client id")
		}
	}
}

func TestRestartWithoutPersistence(t *testing.T) {
	t.Parallel()
	m := brokertest.Start(t)
	r := run(t, m.URL(), nil)
	r.Offer(state(r.now(), true))
	r.online(t)
	require.Eventually(t, r.Link().Settled, 30*time.Second, 5*time.Millisecond)
	before := retainedSet(t, m.URL(), "#")
	m.End()
	m.Start()
	// an attempt while the broker was still down takes a session's number too: any later one will do
	require.Eventually(t, func() bool { return r.Status().Session >= 2 && r.Status().Online && r.Link().Settled() }, 10*time.Second, 5*time.Millisecond)
	after := retainedSet(t, m.URL(), "#")
	assert.Equal(t, slices.Sorted(maps.Keys(before)), slices.Sorted(maps.Keys(after)))
}

// A will of a predecessor that comes late does not leave offline standing.
func TestOfflineByAnotherIsPutRight(t *testing.T) {
	m := brokertest.Start(t)
	r := run(t, m.URL(), nil)
	r.Offer(state(r.now(), false))
	r.online(t)
	l := listen(t, m.URL(), site+"availability")
	l.say(site+"availability", "offline", true)
	require.Eventually(t, func() bool {
		l.mu.Lock()
		defer l.mu.Unlock()
		n := len(l.heard)
		return n >= 2 && l.heard[n-1].payload == "online" && slices.ContainsFunc(l.heard, func(h heard) bool { return h.payload == "offline" })
	}, 30*time.Second, 5*time.Millisecond)
}

// A kill of the program: the broker says offline by the will.
func TestTheWill(t *testing.T) {
	m := brokertest.Start(t)
	n := newLine(t, m.Address())
	r := run(t, n.url(), func(c *broker.Config) { c.Link.Pace.First = 5 * time.Second })
	r.Offer(state(r.now(), false))
	r.online(t)
	l := listen(t, m.URL(), site+"availability")
	n.cut()
	require.Eventually(t, func() bool { return l.value(site+"availability") == "offline" }, 30*time.Second, 5*time.Millisecond)
}

func TestAThousandReconnects(t *testing.T) {
	m := brokertest.Start(t)
	n := newLine(t, m.Address())
	rounds := 1000
	r := run(t, n.url(), func(c *broker.Config) {
		c.Link.Pace = broker.Pace{First: time.Millisecond, Most: time.Millisecond, Refused: 2 * time.Millisecond}
		c.Publish.Plain, c.Publish.Discovery = false, publish.DiscoveryOff
	})
	r.Offer(state(r.now(), false))
	r.online(t)
	require.Eventually(t, func() bool { return r.Status().Echoed && r.Link().Settled() }, 30*time.Second, 5*time.Millisecond)
	before := runtime.NumGoroutine()
	from := time.Now()
	for i := range rounds {
		n.cut()
		require.Eventually(t, func() bool { return r.Status().Session >= i+2 }, 10*time.Second, 500*time.Microsecond, "round %d: %+v", i, r.Status())
	}
	var after int
	require.Eventually(t, func() bool { after = runtime.NumGoroutine(); return after <= before+2 }, 10*time.Second, 20*time.Millisecond, "%d before, %d after", before, after)
	t.Logf("reconnects: %d in %s, goroutines %d before and %d after", rounds, time.Since(from).Round(time.Millisecond), before, after)
	r.online(t)
}

func TestDiscoveryOff(t *testing.T) {
	t.Parallel()
	m := brokertest.Start(t)
	r := run(t, m.URL(), func(c *broker.Config) {
		c.Publish.Discovery, c.Publish.Commands = publish.DiscoveryOff, publish.CommandsNone
	})
	r.Offer(state(r.now(), false))
	r.online(t)
	require.Eventually(t, func() bool { return r.Status().Echoed && r.Link().Settled() }, 30*time.Second, 5*time.Millisecond)
	assert.Empty(t, r.Status().Missing)
	assert.Empty(t, retainedSet(t, m.URL(), "homeassistant/#"))
	l := listen(t, m.URL())
	l.say(site+"request/halt", "press", false)
	assert.Never(t, func() bool { return len(r.desk.asked()) > 0 }, 200*time.Millisecond, 20*time.Millisecond, "commands: none does not even listen")
}
