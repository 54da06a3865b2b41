package broker_test

import (
	"fmt"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/broker"
	"ductwarden/controller/broker/brokertest"
)

// One thousand edges, each told, in order, as a message at a subscriber.
func TestEdgeToSubscriber(t *testing.T) {
	m := brokertest.Start(t)
	r := run(t, m.URL(), func(c *broker.Config) { c.Publish.Plain = false })
	r.Offer(state(r.now(), false))
	r.online(t)
	require.Eventually(t, func() bool { return r.Link().Settled() && r.Status().Echoed }, 30*time.Second, 5*time.Millisecond)
	const edges = 1000
	sent := make([]time.Time, edges)
	var seen [edges]atomic.Int64
	var events atomic.Int64
	order := make(chan int, 4*edges)
	l := listen(t, m.URL())
	sub := func(topic string, f func(payload string)) {
		l.done(l.c.Subscribe(topic, 0, callback(f)))
	}
	sub(site+"state/machine/planer", func(p string) {
		if i := number(p); i >= 0 {
			at := time.Now().UnixNano()
			order <- i
			seen[i].Store(at)
		}
	})
	sub(site+"event", func(p string) {
		if strings.Contains(p, `"kind":"machine"`) {
			events.Add(1)
		}
	})
	lag := make([]time.Duration, 0, edges)
	for i := range edges {
		s := state(r.now(), i%2 == 0)
		s.Machines[0].Name = fmt.Sprintf("edge %d", i)
		sent[i] = time.Now() // the edge in the input layer; debounce is before it
		r.Offer(s)
		require.Eventually(t, func() bool { return seen[i].Load() != 0 }, 30*time.Second, 200*time.Microsecond, "edge %d", i)
		lag = append(lag, time.Duration(seen[i].Load()-sent[i].UnixNano()))
	}
	close(order)
	last := -1
	for i := range order {
		require.Equal(t, last+1, i, "in order")
		last = i
	}
	require.Equal(t, edges-1, last, "all arrived")
	require.Eventually(t, func() bool { return events.Load() == edges }, 30*time.Second, 5*time.Millisecond, "an event each")
	slices.Sort(lag)
	p50, p99, most := lag[edges/2], lag[edges*99/100], lag[edges-1]
	t.Logf("edge to subscriber over %d edges: p50 %s (goal 1 ms), p99 %s (goal 10 ms), max %s (goal 50 ms)", edges, p50, p99, most)
	assert.Less(t, most, time.Second)
}
