package api

import (
	"bufio"
	"context"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
)

// shop stands in for a daemon.
type shop struct {
	snap  *controller.Snapshot
	asked []Request
	watch chan *controller.Snapshot
}

func (s *shop) Snapshot() *controller.Snapshot                    { return s.snap }
func (s *shop) Watch(context.Context) <-chan *controller.Snapshot { return s.watch }
func (s *shop) Recent(n int) []Event                              { return make([]Event, min(n, 3)) }
func (s *shop) Ask(_ context.Context, r Request) Answer {
	s.asked = append(s.asked, r)
	if r.Action == "ready" {
		return Answer{Accepted: true}
	}
	return Answer{Reason: "the last run did not end in order: acknowledge first"}
}

// served is a daemon's socket, and a client of it.
func served(t *testing.T, s *shop) (*Client, string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "console.sock")
	l, err := Listen(path)
	require.NoError(t, err)
	srv := (&Server{Live: s, Desk: s, Recent: s, Role: "console"}).Serve(l)
	t.Cleanup(func() { srv.Close() })
	return Dial(path), path
}

func TestConsole(t *testing.T) {
	s := &shop{}
	c, path := served(t, s)
	_, err := c.Snapshot(t.Context())
	assert.ErrorContains(t, err, "first scan is not done yet")
	s.snap = &controller.Snapshot{Shop: "bench", Mode: "on_duty"}
	got, err := c.Snapshot(t.Context())
	require.NoError(t, err)
	assert.Equal(t, "on_duty", got.Mode)

	a, err := c.Ask(t.Context(), Request{Action: "ready", Key: "k1", Role: "set up"})
	require.NoError(t, err)
	assert.True(t, a.Accepted)
	assert.Equal(t, "console", s.asked[0].Role, "the role is the socket's, not the caller's to choose")
	a, err = c.Ask(t.Context(), Request{Action: "halt"})
	require.NoError(t, err, "a refusal is an answer")
	assert.Contains(t, a.Reason, "acknowledge first")

	events, err := c.Events(t.Context(), 2)
	require.NoError(t, err)
	assert.Len(t, events, 2)
	_, err = c.Events(t.Context(), 1000)
	assert.ErrorContains(t, err, "a number from 1 to 200")

	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o660), info.Mode().Perm())
}

func TestSocketIsTakenOverOnlyFromTheDead(t *testing.T) {
	_, path := served(t, &shop{})
	_, err := Listen(path)
	assert.ErrorIs(t, err, ErrRunning)

	dead := filepath.Join(t.TempDir(), "dead.sock")
	l, err := net.Listen("unix", dead)
	require.NoError(t, err)
	l.(*net.UnixListener).SetUnlinkOnClose(false)
	l.Close()
	l, err = Listen(dead)
	require.NoError(t, err)
	l.Close()

	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	_, err = Listen(file)
	assert.ErrorContains(t, err, "no socket is in its place")
	_, err = Listen(filepath.Join(t.TempDir(), "none", "console.sock"))
	assert.ErrorContains(t, err, "make the folder")
}

func TestNobodyAnswers(t *testing.T) {
	_, err := Dial(filepath.Join(t.TempDir(), "none.sock")).Snapshot(t.Context())
	require.ErrorIs(t, err, ErrNobody)
	assert.ErrorContains(t, err, "ductwarden run")
}

func TestRequestsThatAreNotUnderstood(t *testing.T) {
	s := &shop{}
	h := httptest.NewServer((&Server{Live: s, Desk: s}).Handler())
	defer h.Close()
	for _, c := range []struct {
		kind, body string
		code       int
	}{
		{"text/plain", `{"action":"ready"}`, 415},
		{"application/json", `{"action":`, 400},
		{"application/json", `{"action":"ready","sudo":true}`, 400},
		{"application/json", `{"action":"ready"}{"action":"halt"}`, 400},
		{"application/json", `{"action":"` + strings.Repeat("x", 5000) + `"}`, 413},
		{"application/json", `{"action":"nonsense"}`, 400},
	} {
		r, err := http.Post(h.URL+"/api/v1/requests", c.kind, strings.NewReader(c.body))
		require.NoError(t, err)
		r.Body.Close()
		assert.Equal(t, c.code, r.StatusCode, c.body[:min(40, len(c.body))])
	}
	assert.Empty(t, s.asked, "only what was understood reaches the desk")
	r, err := http.Get(h.URL + "/api/v1/requests")
	require.NoError(t, err)
	r.Body.Close()
	assert.Equal(t, 405, r.StatusCode)
}

func TestStream(t *testing.T) {
	s := &shop{watch: make(chan *controller.Snapshot, 1)}
	h := httptest.NewServer((&Server{Live: s, Desk: s}).Handler())
	defer h.Close()
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	req, _ := http.NewRequestWithContext(ctx, "GET", h.URL+"/api/v1/events", nil)
	req.Header.Set("Accept", "text/event-stream")
	s.watch <- &controller.Snapshot{Shop: "bench"}
	r, err := http.DefaultClient.Do(req)
	require.NoError(t, err)
	defer r.Body.Close()
	lines := bufio.NewScanner(r.Body)
	require.True(t, lines.Scan())
	assert.Equal(t, "event: state", lines.Text())
	require.True(t, lines.Scan())
	assert.Contains(t, lines.Text(), `"shop":"bench"`)
	close(s.watch)
	for lines.Scan() { // the stream ends with the source
	}
}
