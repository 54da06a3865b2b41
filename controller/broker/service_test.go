package broker_test

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/broker"
	"ductwarden/controller/broker/brokertest"
	"ductwarden/controller/publish"
	"ductwarden/controller/publish/fakehub"
)

func TestTheWholeShopIsOnTheBroker(t *testing.T) {
	m := brokertest.Start(t)
	early := listen(t, m.URL(), "#")
	c, d, began := config(m.URL(), nil)
	r := runWith(t, c, func(s *broker.Service) any { s.Offer(state(0, false)); return nil }) // before it connects
	r.desk, r.began = d, began
	r.online(t)
	require.Eventually(t, r.Link().Settled, 30*time.Second, 5*time.Millisecond)
	require.Eventually(t, func() bool { return early.value(site+"availability") == "online" }, 30*time.Second, 5*time.Millisecond)
	early.mu.Lock()
	said := map[string]bool{}
	for _, h := range early.heard {
		if h.topic == site+"availability" && h.payload == "online" {
			break
		}
		said[h.topic] = true
	}
	early.mu.Unlock()
	for _, topic := range []string{site + "info", site + "state/shop", site + "state/duct/trunk", "homeassistant/device/ductwarden-mossfen/config"} {
		assert.True(t, said[topic], "%s comes before online", topic)
	}
	kept := retainedSet(t, m.URL(), "#")
	for _, topic := range []string{"availability", "info", "state/shop", "state/machine/planer", "state/machine/planer/running", "state/gate/lathe", "state/collector/collector", "state/air/collector", "state/duct/trunk"} {
		assert.Contains(t, kept, site+topic)
	}
	assert.Equal(t, "online", kept[site+"availability"])
	assert.Contains(t, kept, "homeassistant/device/ductwarden-mossfen/config")
	var info map[string]any
	require.NoError(t, json.Unmarshal([]byte(kept[site+"info"]), &info))
	assert.Equal(t, "boot-1", info["boot_id"])
	assert.Equal(t, 1.0, info["session"])
	assert.Equal(t, "set", info["clock"])
	for topic := range kept {
		assert.NotContains(t, topic, "event", "events are not kept")
	}
	r.stop()
	assert.Equal(t, "offline", retainedSet(t, m.URL(), site+"availability")[site+"availability"])
}

// hubOn is a hub that listens on a broker.
func hubOn(t *testing.T, url string) (*fakehub.Hub, *listener) {
	t.Helper()
	h := fakehub.New(publish.DefaultPrefix)
	l := listenAs(t, mqtt.NewClientOptions().AddBroker(url), func(m mqtt.Message) { h.Receive(m.Topic(), m.Payload(), m.Retained()) },
		publish.DefaultPrefix+"/#", "ductwarden/#")
	return h, l
}

func TestTheHubBuildsEveryEntityWithinASecond(t *testing.T) {
	t.Parallel()
	m := brokertest.Start(t)
	for _, form := range []publish.Discovery{publish.DiscoveryDevice, publish.DiscoverySingle} {
		r := run(t, m.URL(), func(c *broker.Config) { c.Publish.Discovery, c.Publish.Commands = form, publish.CommandsStart })
		r.Offer(state(r.now(), false))
		r.online(t)
		require.Eventually(t, r.Link().Settled, 30*time.Second, 5*time.Millisecond)
		from := time.Now()
		hub, _ := hubOn(t, m.URL())
		want := 40
		require.Eventually(t, func() bool { return len(hub.Entities()) >= want && len(hub.Invalid()) == 0 }, 10*time.Second, 5*time.Millisecond,
			"%d entities, invalid %v", len(hub.Entities()), hub.Invalid())
		took := time.Since(from)
		assert.Empty(t, hub.Findings())
		t.Logf("hub: %d entities of form %d, all with a valid state after %s (goal 1 s)", len(hub.Entities()), form, took.Round(time.Millisecond))

		r.Offer(state(r.now(), true))
		require.Eventually(t, func() bool {
			e := hub.Entities()
			return e["binary_sensor ductwarden-mossfen-machine-planer-running"].State == "True" && e["cover ductwarden-mossfen-gate-planer-damper"].State == "open" &&
				e["event ductwarden-mossfen-shop-event"].Updates > 0
		}, 30*time.Second, 5*time.Millisecond)
		r.stop()
		require.Eventually(t, func() bool { return hub.Available(site+"availability") == "offline" }, 30*time.Second, 5*time.Millisecond)
		retained := retainedSet(t, m.URL(), publish.DefaultPrefix+"/#")
		assert.NotEmpty(t, retained, "nothing is cleared because the program ends")
		clearAll(t, m.URL(), retained)
	}
}

func clearAll(t *testing.T, url string, topics map[string]string) {
	l := listen(t, url)
	for topic := range topics {
		l.say(topic, "", true)
	}
	l.c.Disconnect(50)
}

func TestABirthIsAnsweredWithEverything(t *testing.T) {
	t.Parallel()
	m := brokertest.Start(t)
	r := run(t, m.URL(), nil)
	r.Offer(state(r.now(), false))
	r.online(t)
	require.Eventually(t, r.Link().Settled, 30*time.Second, 5*time.Millisecond)
	hub, l := hubOn(t, m.URL())
	require.Eventually(t, func() bool { return hub.Documents() == 1 && len(hub.Invalid()) == 0 }, 30*time.Second, 5*time.Millisecond)
	states := func() int {
		l.mu.Lock()
		defer l.mu.Unlock()
		n := 0
		for _, h := range l.heard {
			if h.topic == site+"state/shop" {
				n++
			}
		}
		return n
	}
	before := states()
	for range 5 { // a hub that starts over and over is answered once
		l.say("homeassistant/status", "online", false)
	}
	require.Eventually(t, func() bool { return hub.Documents() == 2 && states() == before+1 }, 30*time.Second, 5*time.Millisecond)
	l.say("homeassistant/status", "offline", false)
	l.say("homeassistant/status", "online", true) // a retained birth says nothing about now
	assert.Never(t, func() bool { return hub.Documents() > 3 }, 500*time.Millisecond, 20*time.Millisecond)
}

func TestWhatIsGoneFromTheShopFileIsClearedAtTheNextStart(t *testing.T) {
	t.Parallel()
	m := brokertest.Start(t)
	file := broker.FileMemory(t.TempDir() + "/published.json")
	hub, _ := hubOn(t, m.URL())
	r := run(t, m.URL(), func(c *broker.Config) { c.Memory = file })
	r.Offer(state(r.now(), true))
	r.online(t)
	require.Eventually(t, func() bool { return len(hub.Invalid()) == 0 && len(hub.Entities()) > 30 }, 30*time.Second, 5*time.Millisecond)
	r.stop()

	r = run(t, m.URL(), func(c *broker.Config) {
		c.Memory = file
		c.Shop.Machines, c.Shop.Gates = c.Shop.Machines[1:], c.Shop.Gates[1:]
	})
	s := state(r.now(), false)
	s.Machines, s.Gates = s.Machines[1:], s.Gates[1:]
	r.Offer(s)
	r.online(t)
	require.Eventually(t, func() bool {
		for topic := range retainedSet(t, m.URL(), "ductwarden/#") {
			if strings.Contains(topic, "planer") {
				return false
			}
		}
		for id := range hub.Entities() {
			if strings.Contains(id, "planer") {
				return false
			}
		}
		return true
	}, 30*time.Second, 50*time.Millisecond)
	assert.Contains(t, retainedSet(t, m.URL(), "ductwarden/#"), site+"state/machine/lathe")
}

func TestALeftoverWithoutAListIsSweptToo(t *testing.T) {
	t.Parallel()
	m := brokertest.Start(t)
	l := listen(t, m.URL())
	l.say(site+"state/machine/attic", `{"v":1}`, true)
	l.say(site+"alarm/no_air/attic", `{"v":1}`, true)
	l.say("ductwarden/1/other/state/machine/attic", `{"v":1}`, true)
	r := run(t, m.URL(), nil)
	r.Offer(state(r.now(), false))
	r.online(t)
	require.Eventually(t, func() bool { return r.Status().Echoed && r.Link().Settled() }, 30*time.Second, 10*time.Millisecond)
	require.Eventually(t, func() bool {
		kept := retainedSet(t, m.URL(), "ductwarden/#")
		return kept[site+"state/machine/attic"] == "" && kept[site+"alarm/no_air/attic"] == "" && kept["ductwarden/1/other/state/machine/attic"] != ""
	}, 30*time.Second, 20*time.Millisecond)
	assert.Empty(t, r.Status().Missing)
}

func TestRequestsOverTheBroker(t *testing.T) {
	t.Parallel()
	m := brokertest.Start(t)
	l := listen(t, m.URL(), site+"answer")
	l.say(site+"request/halt", "press", true) // retained before we come
	r := run(t, m.URL(), nil)
	r.Offer(state(r.now(), false))
	r.online(t)
	answers := func(accepted bool, code string) func() bool {
		return func() bool {
			l.mu.Lock()
			defer l.mu.Unlock()
			for _, h := range l.heard {
				var a publish.Answer
				if json.Unmarshal([]byte(h.payload), &a) == nil && a.Accepted == accepted && string(a.Code) == code {
					return true
				}
			}
			return false
		}
	}
	wait := func(what func() bool, text string) {
		t.Helper()
		require.Eventually(t, what, 30*time.Second, 5*time.Millisecond, text)
	}
	wait(answers(false, "retained"), "a retained request is answered and does nothing")
	l.say(site+"request/gate/lathe", "hold", false)
	wait(answers(false, "too_early"), "right after connecting only stops are taken")
	l.say(site+"request/finish", "press", false)
	wait(answers(true, ""), "finish")
	require.Len(t, r.desk.asked(), 1)
	require.Eventually(t, func() bool { return r.now() > 2300 }, 30*time.Second, 10*time.Millisecond)
	l.say(site+"request", `{"id":"x1","request":"hold","subject":"lathe","for":"90s"}`, false)
	wait(func() bool { return len(r.desk.asked()) == 2 }, "hold")
	assert.Equal(t, int32(90_000), r.desk.asked()[1].V)
	l.say(site+"request", `{"id":"x1","request":"hold","subject":"lathe","for":"90s"}`, false)
	wait(answers(false, "replayed"), "replayed")
	l.say(site+"request", `{"request":"hold","subject":"lathe","ts":"2020-01-01T00:00:00Z"}`, false)
	wait(answers(false, "late"), "late")
	l.say(site+"request/ready", "press", false)
	wait(answers(false, "not_offered"), "ready is not offered")
	l.say(site+"request/gate/lathe", strings.Repeat("x", 2000), false)
	wait(answers(false, "too_long"), "too long")
	l.say(site+"request/nonsense", "", false)
	wait(answers(false, "unknown"), "unknown")
	l.say(site+"request/gate/lathe", "hold \xff", false)
	wait(answers(false, "malformed"), "malformed")
	assert.Len(t, r.desk.asked(), 2, "nothing else reached the shop")

	r.desk.mu.Lock()
	r.desk.answer = broker.Answer{Text: "somebody jogs this gate"}
	r.desk.mu.Unlock()
	l.say(site+"request/gate/lathe", "automatic", false)
	wait(answers(false, "refused"), "the shop's own refusal")
	r.desk.mu.Lock()
	r.desk.wait = 5 * time.Second
	r.desk.mu.Unlock()
	l.say(site+"request/gate/planer", "automatic", false)
	wait(answers(false, "busy"), "a shop that does not answer")
}

func TestAFloodOfRequests(t *testing.T) {
	t.Parallel()
	m := brokertest.Start(t, "max_queued_messages 100000")
	l := listen(t, m.URL(), site+"answer")
	r := run(t, m.URL(), nil)
	r.Offer(state(r.now(), false))
	r.online(t)
	require.Eventually(t, func() bool { return r.now() > 2300 }, 30*time.Second, 10*time.Millisecond)
	const flood = 5000
	from := time.Now()
	var last mqtt.Token
	for range flood {
		last = l.c.Publish(site+"request/gate/lathe", 0, false, "hold")
	}
	l.done(last)
	l.say(site+"request/halt", "press", false)
	require.Eventually(t, func() bool {
		for _, e := range r.desk.asked() {
			if e.Kind == controller.HaltPressed {
				return true
			}
		}
		return false
	}, 30*time.Second, 5*time.Millisecond, "a halt gets through the flood")
	took := time.Since(from)
	seconds := int(time.Since(from)/time.Second) + 1
	got := len(r.desk.asked()) - 1
	assert.LessOrEqual(t, got, 3+seconds, "three at once, one a second")
	var counted float64
	require.Eventually(t, func() bool {
		counted = 0
		for _, s := range r.RequestSamples() {
			if s.Name != "ductwarden_mqtt_snapshots_skipped_total" {
				counted += s.Value
			}
		}
		return int(counted) >= flood+1
	}, 30*time.Second, 20*time.Millisecond, "all are counted")
	l.mu.Lock()
	said := len(l.heard)
	l.mu.Unlock()
	assert.LessOrEqual(t, said, 15*seconds+10, "answers are not a second flood")
	t.Logf("flood: %d requests and a halt in %s; %d reached the shop, %.0f counted, %d answers", flood, took.Round(time.Millisecond), got, counted, said)
}
