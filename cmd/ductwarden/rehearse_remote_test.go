package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
	"ductwarden/controller/publish"
)

// A shop in which everything is on the network works as one with wires does, only later.
func TestRemotePartsInARehearsal(t *testing.T) {
	file, err := config.Load("testdata/remote.yaml")
	require.NoError(t, err)
	th, err := newTheatre(t.Context(), file, 1)
	require.NoError(t, err)
	ready(th)
	th.pass(t, time.Second)
	require.Equal(t, "on_duty", th.now().Mode)
	starts("sander", 0.5)(th)
	th.pass(t, 12*time.Second)
	assert.Greater(t, th.sim.Blade(0), 0.9)
	assert.True(t, th.sim.Powered(0))
	assert.Equal(t, "running", th.now().Collectors[0].Phase)
	assert.True(t, th.now().Gates[0].Proved)
	assert.Empty(t, th.alarms())

	th.sim.SilenceNode(0, true)
	th.pass(t, 20*time.Second)
	assert.Contains(t, th.alarms(), "gate_chip_silent/bench")
	assert.True(t, th.sim.Powered(0), "the air goes on while dust is made")
	th.sim.SilenceNode(0, false)
	th.pass(t, 20*time.Second)
	assert.NotContains(t, th.alarms(), "gate_chip_silent/bench")

	th.sim.Network().Down = true
	th.pass(t, 20*time.Second)
	assert.Equal(t, "unknown", th.now().Machines[0].State, "old is not zero")
	th.sim.Network().Down = false
	th.pass(t, 20*time.Second)
	assert.Equal(t, "running", th.now().Machines[0].State)
	stops("sander")(th)
	th.pass(t, 10*time.Minute)
	assert.False(t, th.sim.Powered(0), "off by the socket, after lingering")
}

func TestSocketIsToldAgain(t *testing.T) {
	c := &counting{noting: &noting{}}
	b := &builder{wires: c}
	s, err := b.socket(&config.RemoteSocket{Topic: "t", On: "ON", Off: "OFF", State: &config.RemoteState{Topic: "s", Yes: "ON", No: "OFF"}, Lease: 24 * time.Second})
	require.NoError(t, err)
	for at := time.Duration(0); at < 20*time.Second; at += 25 * time.Millisecond {
		require.NoError(t, s.On(at))
	}
	assert.Equal(t, []string{"ON", "ON", "ON"}, c.sent, "a third of the lease apart")
	c.fail = true
	assert.Error(t, s.Off(20*time.Second))
	c.fail = false
	require.NoError(t, s.Off(21*time.Second))
	require.NoError(t, s.Off(40*time.Second))
	assert.Equal(t, []string{"OFF", "OFF"}, c.sent[3:])
	c.handle("s", []byte("OFF"), true)
	require.NoError(t, s.Off(60*time.Second))
	c.handle("s", []byte("OFF"), false)
	require.NoError(t, s.Off(80*time.Second))
	assert.Len(t, c.sent, 6, "a kept answer is no answer, a fresh one is")
	assert.Contains(t, s.LeavesBehind(), "24s")
}

// counting are wires with a broker only.
type counting struct {
	*noting
	sent   []string
	fail   bool
	handle func(string, []byte, bool)
}

func (c *counting) Broker() (partsBroker, error) { return c, nil }

func (c *counting) Watch(_ string, handle func(string, []byte, bool)) { c.handle = handle }

func (c *counting) Send(_ string, payload []byte) error {
	if c.fail {
		return errNoBroker
	}
	c.sent = append(c.sent, string(payload))
	return nil
}

func TestEveryShopCanBePublished(t *testing.T) {
	file, err := config.Load("testdata/remote.yaml")
	require.NoError(t, err)
	require.NoError(t, publishSettings(file).Check())
	require.NoError(t, publishedShop(file).Check())
	demo, err := rehearsedShop(nil)
	require.NoError(t, err)
	s := publishedShop(demo)
	require.NoError(t, s.Check())
	assert.Len(t, s.Ducts, len(demo.Ducts))
	assert.True(t, s.Machines[0].Current && s.Machines[0].Share)
	assert.True(t, s.Collectors[0].Suction)
	assert.False(t, s.Machines[6].Current, "a contact has none")
	assert.Equal(t, publish.DiscoveryOff, publishSettings(file).Discovery)
}
