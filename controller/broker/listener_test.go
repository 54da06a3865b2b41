package broker_test

import (
	"flag"
	"fmt"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"
)

var long = flag.Bool("long", false, "also run what takes minutes")

// listener is somebody else on the broker, who hears everything.
type listener struct {
	t *testing.T
	c mqtt.Client

	mu     sync.Mutex
	heard  []heard
	latest map[string]string
	each   func(mqtt.Message)
}

type heard struct {
	topic, payload string
	retained       bool
	at             time.Time
}

func listen(t *testing.T, url string, filters ...string) *listener {
	t.Helper()
	return listenAs(t, mqtt.NewClientOptions().AddBroker(url), nil, filters...)
}

func listenAs(t *testing.T, o *mqtt.ClientOptions, each func(mqtt.Message), filters ...string) *listener {
	t.Helper()
	l := &listener{t: t, latest: map[string]string{}, each: each}
	if o.ClientID == "" {
		o.SetClientID(fmt.Sprintf("listener-%d", time.Now().UnixNano()))
	}
	o.SetAutoReconnect(false).SetOrderMatters(true).SetConnectTimeout(30 * time.Second).SetDefaultPublishHandler(func(_ mqtt.Client, m mqtt.Message) {
		now := time.Now()
		l.mu.Lock()
		l.heard = append(l.heard, heard{m.Topic(), string(m.Payload()), m.Retained(), now})
		l.latest[m.Topic()] = string(m.Payload())
		if len(m.Payload()) == 0 {
			delete(l.latest, m.Topic())
		}
		l.mu.Unlock()
		if l.each != nil {
			l.each(m)
		}
	})
	l.c = mqtt.NewClient(o)
	l.done(l.c.Connect())
	t.Cleanup(func() { l.c.Disconnect(0) })
	for _, f := range filters {
		l.done(l.c.Subscribe(f, 1, nil))
	}
	return l
}

func (l *listener) done(tok mqtt.Token) {
	l.t.Helper()
	require.True(l.t, tok.WaitTimeout(30*time.Second), "the broker does not answer")
	require.NoError(l.t, tok.Error())
}

func (l *listener) say(topic, payload string, retained bool) {
	l.t.Helper()
	l.done(l.c.Publish(topic, 1, retained, payload))
}

// value is the last payload of a topic, "" for none.
func (l *listener) value(topic string) string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.latest[topic]
}

// retainedSet is what the broker keeps below a prefix, seen by a fresh subscriber.
func retainedSet(t *testing.T, url, filter string) map[string]string {
	t.Helper()
	l := listen(t, url, filter)
	defer l.c.Disconnect(0)
	settled, last := 0, -1
	require.Eventually(t, func() bool { // no more comes
		l.mu.Lock()
		defer l.mu.Unlock()
		if len(l.heard) == last {
			settled++
		} else {
			settled, last = 0, len(l.heard)
		}
		return settled >= 10
	}, 30*time.Second, 5*time.Millisecond)
	l.mu.Lock()
	defer l.mu.Unlock()
	out := map[string]string{}
	for _, h := range l.heard {
		if h.retained {
			out[h.topic] = h.payload
		}
	}
	return out
}
