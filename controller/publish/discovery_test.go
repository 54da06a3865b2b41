package publish_test

import (
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/publish"
	"ductwarden/controller/publish/fakehub"
)

var update = flag.Bool("update", false, "rewrite the documents in testdata")

const prefix = publish.DefaultPrefix

// put lays an announcement onto a broker that keeps what is retained, and shows every message to the hub.
func put(t *testing.T, broker map[string]string, hub *fakehub.Hub, a publish.Announcement) {
	t.Helper()
	for _, stage := range a.Stages {
		for _, m := range stage {
			assert.True(t, m.Retained, m.Topic)
			broker[m.Topic] = string(m.Payload)
			if len(m.Payload) == 0 {
				delete(broker, m.Topic)
			}
			hub.Receive(m.Topic, m.Payload, false)
		}
	}
}

func TestEveryDocumentPassesTheHubsRules(t *testing.T) {
	for _, form := range []publish.Discovery{publish.DiscoveryDevice, publish.DiscoverySingle} {
		for level := publish.CommandsNone; level <= publish.CommandsStart; level++ {
			s := settings()
			s.Discovery, s.Commands, s.PageURL = form, level, "http://shop.local:8480/"
			hub, broker := fakehub.New(prefix), map[string]string{}
			put(t, broker, hub, publish.Announce(s, shopOfThree(), publish.Manifest{}))
			assert.Empty(t, hub.Findings(), "form %d, commands %s", form, level)
			o := publish.NewOutlet(s, shopOfThree(), nil)
			for _, snap := range []int64{1000, 2000} {
				state, events := o.Take(quiet(snap), moment(snap))
				if snap == 2000 {
					state, events = o.Take(cutting(snap), moment(snap))
				}
				for _, m := range append(state, events...) {
					hub.Receive(m.Topic, m.Payload, false)
				}
				assert.Empty(t, hub.Invalid())
			}
			buttons := 0
			for _, e := range hub.Entities() {
				if e.Platform == "button" {
					buttons++
				}
				if e.Platform == "event" {
					assert.True(t, e.Valid, e.Problem)
				}
				if e.Platform == "cover" {
					assert.Equal(t, "damper", e.Options["device_class"])
					assert.Equal(t, level >= publish.CommandsRequests && !strings.HasSuffix(e.Key, "gate_mortiser_damper"), e.Options["command_topic"] != nil, e.Key)
				}
			}
			assert.Equal(t, []int{0, 2, 3, 7}[level], buttons, "buttons with commands %s", level)
		}
	}
}

func TestDocumentIsAsStored(t *testing.T) {
	a := publish.Announce(settings(), shopOfThree(), publish.Manifest{})
	require.Len(t, a.Stages, 1)
	require.Len(t, a.Stages[0], 1)
	var pretty any
	require.NoError(t, json.Unmarshal(a.Stages[0][0].Payload, &pretty))
	got, err := json.MarshalIndent(pretty, "", " ")
	require.NoError(t, err)
	file := filepath.Join("testdata", "device.json")
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(file, append(got, '\n'), 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.Equal(t, string(want), string(got)+"\n", "run the test with -update and read the difference")
	assert.Equal(t, prefix+"/device/ductwarden-mossfen/config", a.Stages[0][0].Topic)
	assert.Less(t, len(a.Stages[0][0].Payload), 64<<10)
}

func TestRenamingKeepsEveryID(t *testing.T) {
	hub, broker := fakehub.New(prefix), map[string]string{}
	first := publish.Announce(settings(), shopOfThree(), publish.Manifest{})
	put(t, broker, hub, first)
	before := hub.Entities()
	shop := shopOfThree()
	shop.Name, shop.Machines[0].Name, shop.Gates[0].Name = "Chairs & co", "old planer", "first gate"
	second := publish.Announce(settings(), shop, first.After)
	put(t, broker, hub, second)
	after := hub.Entities()
	assert.Len(t, after, len(before))
	for id := range before {
		assert.Contains(t, after, id)
	}
	assert.Equal(t, "old planer", after["binary_sensor ductwarden-mossfen-machine-planer-running"].Options["name"])
	assert.Len(t, broker, 1)
	assert.Len(t, second.Stages, 1, "renaming clears nothing")
}

func TestWhatIsGoneIsCleared(t *testing.T) {
	for _, form := range []publish.Discovery{publish.DiscoveryDevice, publish.DiscoverySingle} {
		s := settings()
		s.Discovery = form
		hub, broker := fakehub.New(prefix), map[string]string{}
		first := publish.Announce(s, shopOfThree(), publish.Manifest{})
		put(t, broker, hub, first)
		o := publish.NewOutlet(s, shopOfThree(), nil)
		state, _ := o.Take(cutting(0), moment(0))
		for _, m := range state {
			if len(m.Payload) > 0 {
				broker[m.Topic] = string(m.Payload)
			}
		}
		stored, err := publish.ReadManifest(first.After.With([]string{base + "alarm/no_air/planer"}).Encode())
		require.NoError(t, err)
		broker[base+"alarm/no_air/planer"] = "{}"

		shop := shopOfThree()
		shop.Machines = shop.Machines[1:]
		shop.Gates = shop.Gates[1:]
		second := publish.Announce(s, shop, stored)
		assert.Subset(t, second.Before.Documents, first.After.Documents, "a program that dies now still knows what it left")
		assert.Subset(t, second.Before.Topics, stored.Topics)
		put(t, broker, hub, second)
		for topic, payload := range broker {
			assert.False(t, strings.HasPrefix(topic, base) && strings.Contains(topic, "planer"), "%s is still there", topic)
			if form == publish.DiscoverySingle {
				assert.NotContains(t, topic, "planer")
			} else {
				_ = payload
			}
		}
		for id := range hub.Entities() {
			assert.NotContains(t, id, "planer")
		}
		assert.Empty(t, hub.Findings())

		third := publish.Announce(s, shop, second.After)
		put(t, broker, hub, third)
		assert.Len(t, third.Stages, 1, "cleared once is enough")
		if form == publish.DiscoveryDevice {
			assert.NotContains(t, broker[prefix+"/device/ductwarden-mossfen/config"], "planer")
		}
	}
}

func TestChangingTheFormMovesEntitiesAndClearsTheOld(t *testing.T) {
	forms := []publish.Discovery{publish.DiscoveryDevice, publish.DiscoverySingle, publish.DiscoveryDevice, publish.DiscoveryOff}
	hub, broker, before, entities := fakehub.New(prefix), map[string]string{}, publish.Manifest{}, 0
	for i, form := range forms {
		s := settings()
		s.Discovery = form
		a := publish.Announce(s, shopOfThree(), before)
		if i > 0 && form != publish.DiscoveryOff {
			require.Len(t, a.Stages, 3)
			for _, m := range a.Stages[0] {
				assert.JSONEq(t, `{"migrate_discovery": true}`, string(m.Payload))
			}
		}
		put(t, broker, hub, a)
		before = a.After
		switch form {
		case publish.DiscoveryOff:
			assert.Empty(t, broker)
			assert.Empty(t, hub.Entities())
		default:
			if entities == 0 {
				entities = len(hub.Entities())
			}
			assert.Len(t, hub.Entities(), entities)
		}
	}
	assert.Empty(t, hub.Findings())
}

func TestAnotherSiteClearsTheOldOne(t *testing.T) {
	hub, broker := fakehub.New(prefix), map[string]string{}
	first := publish.Announce(settings(), shopOfThree(), publish.Manifest{})
	put(t, broker, hub, first)
	s := settings()
	s.Site = "annex"
	second := publish.Announce(s, shopOfThree(), first.After)
	put(t, broker, hub, second)
	assert.NotContains(t, broker, prefix+"/device/ductwarden-mossfen/config")
	cleared := byTopic(t, second.Stages[len(second.Stages)-1])
	assert.Contains(t, cleared, base+"availability")
	assert.Contains(t, cleared, base+"state/machine/planer/running")
}

func TestManifestOnDisk(t *testing.T) {
	m, err := publish.ReadManifest(nil)
	require.NoError(t, err)
	assert.Empty(t, m.Documents)
	_, err = publish.ReadManifest([]byte(`{"schema":9}`))
	assert.ErrorContains(t, err, "schema 9")
	_, err = publish.ReadManifest([]byte(`{"schema":`))
	assert.ErrorContains(t, err, "damaged")
}

func TestSettings(t *testing.T) {
	s := settings()
	require.NoError(t, s.Check())
	s.Site = "My Shop"
	assert.ErrorContains(t, s.Check(), "a-z, 0-9 and -")
	s = settings()
	s.Prefix = "a/#"
	assert.ErrorContains(t, s.Check(), "prefix")
	for _, w := range []string{"off", "device", "single"} {
		_, err := publish.ParseDiscovery(w)
		assert.NoError(t, err)
	}
	_, err := publish.ParseDiscovery("both")
	assert.ErrorContains(t, err, "device, single, off")
	c, err := publish.ParseCommands("requests")
	require.NoError(t, err)
	assert.Equal(t, publish.CommandsRequests, c)
	_, err = publish.ParseCommands("all")
	assert.Error(t, err)
	bad := shopOfThree()
	bad.Gates[0].ID, bad.Machines[1].ID = "Planer gate", "planer"
	assert.ErrorContains(t, bad.Check(), `gate: id "Planer gate"`)
	assert.ErrorContains(t, bad.Check(), `machine: id "planer" is used twice`)
	s = settings()
	assert.Equal(t, "homeassistant/status", s.Birth())
	s.Prefix = "hub"
	assert.Equal(t, "hub/status", s.Birth())
	assert.True(t, s.Born([]byte("online")))
	assert.False(t, s.Born([]byte("offline")))
}
