package broker_test

import (
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/broker/brokertest"
)

// The documents are longer than the broker takes: it acknowledges and drops them, which only the self-check
// finds; or it breaks the connection, and then all the rest must still get through.
func TestOversizedMessagesOfOurs(t *testing.T) {
	t.Parallel()
	m := brokertest.Start(t, "message_size_limit 4000")
	r := run(t, m.URL(), nil)
	r.Offer(state(r.now(), true))
	r.online(t)
	require.Eventually(t, func() bool { return r.Status().Echoed }, 30*time.Second, 5*time.Millisecond)
	assert.Equal(t, []string{"homeassistant/device/ductwarden-mossfen/config"}, r.Status().Missing)
	r.stop()

	m = brokertest.Start(t, "max_packet_size 4000")
	r = run(t, m.URL(), nil)
	r.Offer(state(r.now(), true))
	require.Eventually(t, func() bool { return r.Status().Online && r.Link().Settled() }, 15*time.Second, 5*time.Millisecond, "%+v", r.Status())
	assert.Equal(t, []string{"homeassistant/device/ductwarden-mossfen/config"}, r.Status().Aside)
	assert.Equal(t, "true", retainedSet(t, m.URL(), "ductwarden/#")[site+"state/machine/planer/running"])
}

func TestOversizedMessagesOfOthers(t *testing.T) {
	m := brokertest.Start(t)
	l := listen(t, m.URL(), site+"answer")
	r := run(t, m.URL(), nil)
	r.Offer(state(r.now(), false))
	r.online(t)
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	big := strings.Repeat("x", 4<<20)
	for range 5 {
		l.say(site+"request/halt", big, false)
	}
	require.Eventually(t, func() bool { return r.Status().Oversized == 5 }, 30*time.Second, 5*time.Millisecond)
	l.say(site+"request/finish", "press", false)
	require.Eventually(t, func() bool { return len(r.desk.asked()) == 1 }, 30*time.Second, 5*time.Millisecond, "the connection still works")
	require.Eventually(t, func() bool { return strings.Contains(l.value(site+"answer"), `"accepted":true`) }, 30*time.Second, 5*time.Millisecond)
	runtime.GC()
	runtime.ReadMemStats(&after)
	assert.Equal(t, 1, r.Status().Session)
	counted := false
	for _, s := range r.RequestSamples() {
		counted = counted || s.Value == 5 && slices.Contains(s.Labels, "too_long")
	}
	assert.True(t, counted, "%v", r.RequestSamples())
}
