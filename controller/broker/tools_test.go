package broker_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"log/slog"
	"os/exec"
	"strings"
	"sync"
	"testing"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"
)

// passwords writes a broker's list of users.
func passwords(t *testing.T, file, name, password string) string {
	t.Helper()
	if _, err := exec.LookPath("mosquitto_passwd"); err != nil {
		t.Skip("mosquitto_passwd is not installed; run: apt-get install mosquitto")
	}
	out, err := exec.Command("mosquitto_passwd", "-c", "-b", file, name, password).CombinedOutput()
	require.NoError(t, err, "%s", out)
	return file
}

func retainedAs(t *testing.T, url, name, password, filter string) map[string]string {
	t.Helper()
	l := listenAs(t, mqtt.NewClientOptions().AddBroker(url).SetClientID("reader").SetUsername(name).SetPassword(password), nil, filter)
	l.say("end/of/it", "x", false)
	l.mu.Lock()
	defer l.mu.Unlock()
	out := map[string]string{}
	for _, h := range l.heard {
		out[h.topic] = h.payload
	}
	return out
}

// syncBuffer is a log that many write.
type syncBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *syncBuffer) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *syncBuffer) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

func (s *syncBuffer) logger() *slog.Logger {
	return slog.New(slog.NewTextHandler(s, &slog.HandlerOptions{Level: slog.LevelDebug}))
}

func callback(f func(payload string)) mqtt.MessageHandler {
	return func(_ mqtt.Client, m mqtt.Message) { f(string(m.Payload())) }
}

// number is i in a document whose name is "edge i", -1 for another.
func number(payload string) int {
	var doc struct{ Name string }
	if json.Unmarshal([]byte(payload), &doc) != nil || !strings.HasPrefix(doc.Name, "edge ") {
		return -1
	}
	i := -1
	if _, err := fmt.Sscanf(doc.Name, "edge %d", &i); err != nil {
		return -1
	}
	return i
}
