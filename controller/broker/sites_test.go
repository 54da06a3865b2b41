package broker_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/broker"
	"ductwarden/controller/broker/brokertest"
)

// at makes a service of another site.
func at(name string) func(*broker.Config) {
	return func(c *broker.Config) {
		c.Publish.Site, c.Shop.Name, c.Boot = name, name, "boot-"+name
	}
}

func TestTwoShopsOnOneBroker(t *testing.T) {
	t.Parallel()
	m := brokertest.Start(t)
	hub, _ := hubOn(t, m.URL())
	lane, hall := run(t, m.URL(), at("lane")), run(t, m.URL(), at("hall"))
	lane.Offer(state(lane.now(), true))
	hall.Offer(state(hall.now(), false))
	lane.online(t)
	hall.online(t)
	require.Eventually(t, func() bool {
		return lane.Link().Settled() && hall.Link().Settled() && lane.Status().Echoed && hall.Status().Echoed
	}, 30*time.Second, 5*time.Millisecond)
	kept := retainedSet(t, m.URL(), "ductwarden/#")
	assert.Equal(t, "true", kept["ductwarden/1/lane/state/machine/planer/running"])
	assert.Equal(t, "false", kept["ductwarden/1/hall/state/machine/planer/running"])
	require.Eventually(t, func() bool { return len(hub.Invalid()) == 0 }, 30*time.Second, 5*time.Millisecond)
	count := map[string]int{}
	for id, e := range hub.Entities() {
		for _, s := range []string{"lane", "hall"} {
			if strings.Contains(id, "ductwarden-"+s+"-") {
				count[s]++
				assert.Contains(t, fmt.Sprint(e.Options), "ductwarden/1/"+s+"/")
			}
		}
	}
	assert.Equal(t, count["lane"], count["hall"])
	assert.Len(t, hub.Entities(), 2*count["lane"], "no entity is shared")

	l := listen(t, m.URL())
	l.say("ductwarden/1/hall/request/halt", "press", false)
	require.Eventually(t, func() bool { return len(hall.desk.asked()) == 1 }, 30*time.Second, 5*time.Millisecond)
	assert.Empty(t, lane.desk.asked(), "a request to one site reaches no other")
	hall.stop()
	require.Eventually(t, func() bool {
		return hub.Available("ductwarden/1/hall/availability") == "offline" && hub.Available("ductwarden/1/lane/availability") == "online"
	}, 30*time.Second, 5*time.Millisecond)
	assert.Equal(t, 1, lane.Status().Session)
}

// A room has a broker of its own and a bridge to the building's: state goes out, requests come in, and the
// room works on when the building's broker is away.
func TestAShopBehindABridge(t *testing.T) {
	t.Parallel()
	building := brokertest.Start(t)
	room := brokertest.Start(t, bridge(t, building.Port)...)
	r := run(t, room.URL(), at("room"))
	r.Offer(state(r.now(), true))
	r.online(t)
	hub, l := hubOn(t, building.URL())
	answers := listen(t, building.URL(), "ductwarden/1/room/answer")
	require.Eventually(t, func() bool {
		return hub.Available("ductwarden/1/room/availability") == "online" && len(hub.Entities()) > 30 && len(hub.Invalid()) == 0
	}, 10*time.Second, 10*time.Millisecond, "%v", hub.Invalid())
	require.Eventually(t, func() bool { return r.now() > 2300 }, 30*time.Second, 10*time.Millisecond)
	l.say("ductwarden/1/room/request/gate/lathe", "hold", false)
	require.Eventually(t, func() bool { return len(r.desk.asked()) == 1 }, 30*time.Second, 5*time.Millisecond)
	assert.Equal(t, controller.HoldGate, r.desk.asked()[0].Kind)
	require.Eventually(t, func() bool { return strings.Contains(answers.value("ductwarden/1/room/answer"), `"accepted":true`) }, 30*time.Second, 5*time.Millisecond)

	building.Kill()
	r.Offer(state(r.now(), false))
	require.Eventually(t, func() bool {
		return retainedSet(t, room.URL(), "ductwarden/#")["ductwarden/1/room/state/machine/planer/running"] == "false"
	}, 20*time.Second, 50*time.Millisecond, "the room notices nothing")
	assert.True(t, r.Status().Connected)
	building.Start()
	require.Eventually(t, func() bool {
		return retainedSet(t, building.URL(), "ductwarden/#")["ductwarden/1/room/state/machine/planer/running"] == "false"
	}, 20*time.Second, 100*time.Millisecond, "what happened meanwhile arrives")
	asked := len(r.desk.asked())
	assert.Equal(t, 1, asked, "no request is repeated by the bridge")
}
