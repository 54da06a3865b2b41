package broker_test

import (
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/broker/brokertest"
)

// webProxy takes MQTT over web sockets to a broker, as a web server in front of one does. Debian's broker has
// no web sockets of its own.
func webProxy(t *testing.T, to string) string {
	t.Helper()
	up := websocket.Upgrader{Subprotocols: []string{"mqtt"}}
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		ws, err := up.Upgrade(w, r, nil)
		if err != nil {
			return
		}
		defer ws.Close()
		b, err := net.Dial("tcp", to)
		if err != nil {
			return
		}
		defer b.Close()
		go func() {
			buf := make([]byte, 4096)
			for {
				n, err := b.Read(buf)
				if err != nil || ws.WriteMessage(websocket.BinaryMessage, buf[:n]) != nil {
					ws.Close()
					return
				}
			}
		}()
		for {
			_, r, err := ws.NextReader()
			if err != nil {
				return
			}
			if _, err := io.Copy(b, r); err != nil {
				return
			}
		}
	}))
	t.Cleanup(s.Close)
	return strings.Replace(s.URL, "http", "ws", 1)
}

func TestWebSocket(t *testing.T) {
	t.Parallel()
	m := brokertest.Start(t)
	r := run(t, webProxy(t, m.Address()), nil)
	r.Offer(state(r.now(), true))
	r.online(t)
	require.Eventually(t, func() bool { return r.Status().Echoed && r.Link().Settled() }, 30*time.Second, 5*time.Millisecond)
	assert.Empty(t, r.Status().Missing)
	r.stop()
	assert.Equal(t, "offline", retainedSet(t, m.URL(), site+"availability")[site+"availability"])
}
