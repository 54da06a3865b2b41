//go:build linux && (amd64 || arm64)

package posing_test

import (
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"regexp"
	"strconv"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/broker/brokertest"
)

// somebody is another client on the broker, who keeps the last word on each topic.
type somebody struct {
	mqtt.Client
	mu   sync.Mutex
	last map[string]string
}

func join(t *testing.T, url string) *somebody {
	t.Helper()
	s := &somebody{last: map[string]string{}}
	o := mqtt.NewClientOptions().AddBroker(url).SetClientID("somebody").SetConnectTimeout(30 * time.Second)
	s.Client = mqtt.NewClient(o)
	for _, wait := range []func() mqtt.Token{s.Connect, func() mqtt.Token {
		return s.Subscribe("ductwarden/1/mossfen/#", 1, func(_ mqtt.Client, m mqtt.Message) {
			s.mu.Lock()
			s.last[m.Topic()] = string(m.Payload())
			s.mu.Unlock()
		})
	}} {
		tok := wait()
		require.True(t, tok.WaitTimeout(30*time.Second))
		require.NoError(t, tok.Error())
	}
	t.Cleanup(func() { s.Disconnect(0) })
	return s
}

func (s *somebody) heard(topic string) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.last["ductwarden/1/mossfen/"+topic]
}

var figure = regexp.MustCompile(`(?m)^ductwarden_mqtt_requests(?:_dropped)?_total(?:\{[^}]*\})? (\d+)$`)

// counted is how many requests the program's figures know of.
func (s *shop) counted() (n int) {
	r, err := http.Get("http://" + s.page + "/metrics")
	if err != nil {
		return 0
	}
	defer r.Body.Close()
	b, _ := io.ReadAll(r.Body)
	for _, m := range figure.FindAllSubmatch(b, -1) {
		v, _ := strconv.Atoi(string(m[1]))
		n += v
	}
	return n
}

// TestTheBuiltProgramOnABroker: the whole daemon on a real broker. Whatever is retained, late, oversized, malformed or
// floods moves nothing on the metal; a request that may be made does; a current is told to who listens; and a killed
// program is offline by its will.
func TestTheBuiltProgramOnABroker(t *testing.T) {
	t.Parallel()
	broker := brokertest.Start(t)
	other := join(t, broker.URL())
	other.Publish("ductwarden/1/mossfen/request/gate/saw", 1, true, "hold").WaitTimeout(30 * time.Second)
	s := openShop(t, fmt.Sprintf("mqtt: {broker: %q, site: mossfen, commands: requests}", broker.URL()))
	s.ready()
	s.until("the program is online", func() bool { return other.heard("availability") == "online" })
	s.until("it is on duty", func() bool { return other.heard("state/shop/mode") == "on_duty" })
	time.Sleep(2500 * time.Millisecond) // in the first two seconds of a connection nothing but a stop is taken
	still := func() {
		require.Zero(t, s.pulse(sawLine)+s.pulse(planerLine), "a message has moved a gate")
		require.False(t, s.collector(), "a message has started the collector")
	}
	chance := rand.New(rand.NewPCG(11, 5))
	const sent = 1500
	for i := range sent {
		topic, payload, retained := brokertest.Hostile(chance, "saw")
		other.Publish("ductwarden/1/mossfen/"+topic, byte(chance.IntN(2)), retained, payload)
		if i%10 == 0 {
			still()
		}
	}
	s.until("all are counted", func() bool { still(); return s.counted() >= sent*99/100 })
	t.Logf("%d hostile messages sent, %d counted, no gate moved, collector off", sent, s.counted())
	assert.Equal(t, "on_duty", other.heard("state/shop/mode"))

	s.until("a hold that may be asked for opens the gate", func() bool {
		other.Publish("ductwarden/1/mossfen/request/gate/saw", 1, false, "hold 10s").WaitTimeout(time.Second)
		for range 20 {
			if near(s.pulse(sawLine), open) {
				return true
			}
			time.Sleep(10 * time.Millisecond)
		}
		return false
	})
	require.False(t, s.collector())
	s.current.Store(6000)
	s.until("the saw is told to run", func() bool { return other.heard("state/machine/saw/state") == "running" })
	require.NoError(t, s.program.Process.Kill())
	s.until("its will says offline", func() bool { return other.heard("availability") == "offline" })
}
