package api

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"syscall"
	"time"

	"ductwarden/controller"
)

// socketMode lets the daemon's user and group speak to it, nobody else.
const socketMode = 0o660

// ErrRunning says that another daemon answers on the socket.
var ErrRunning = errors.New("a daemon answers there already")

// Listen makes the console socket. A socket file that a dead program has left is taken over; one on which
// somebody answers is not.
func Listen(path string) (net.Listener, error) {
	if c, err := net.DialTimeout("unix", path, time.Second); err == nil {
		c.Close()
		return nil, fmt.Errorf("console socket %s: %w; end it first", path, ErrRunning)
	}
	if info, err := os.Lstat(path); err == nil {
		if info.Mode()&fs.ModeSocket == 0 {
			return nil, fmt.Errorf("console socket %s: something that is no socket is in its place; remove it or name another path", path)
		}
		if err := os.Remove(path); err != nil {
			return nil, fmt.Errorf("console socket %s: %w", path, err)
		}
	}
	l, err := listenPrivately(path)
	if err != nil {
		return nil, fmt.Errorf("console socket %s: %w; make the folder %s for the daemon's user", path, err, filepath.Dir(path))
	}
	if err := os.Chmod(path, socketMode); err != nil {
		l.Close()
		return nil, fmt.Errorf("console socket %s: %w", path, err)
	}
	return l, nil
}

// Serve answers on a listener until it is closed.
func (s *Server) Serve(l net.Listener) *http.Server {
	srv := &http.Server{Handler: s.Handler(), ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Second, IdleTimeout: time.Minute, MaxHeaderBytes: 16 << 10}
	go func() { _ = srv.Serve(l) }()
	return srv
}

// ErrNobody says that no daemon answers on the socket.
var ErrNobody = errors.New("no daemon answers")

// Client speaks to a daemon over its console socket.
type Client struct {
	path string
	http http.Client
}

// Dial makes a client; nothing is sent before the first request.
func Dial(path string) *Client {
	t := &http.Transport{DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
		var d net.Dialer
		return d.DialContext(ctx, "unix", path)
	}}
	return &Client{path: path, http: http.Client{Transport: t, Timeout: 10 * time.Second}}
}

// Snapshot asks for the state.
func (c *Client) Snapshot(ctx context.Context) (*controller.Snapshot, error) {
	s := new(controller.Snapshot)
	return s, c.do(ctx, http.MethodGet, "/api/v1/snapshot", nil, s)
}

// Events asks for the latest events, newest first.
func (c *Client) Events(ctx context.Context, n int) ([]Event, error) {
	var e Events
	err := c.do(ctx, http.MethodGet, fmt.Sprintf("/api/v1/events?n=%d", n), nil, &e)
	return e.Events, err
}

// Ask sends a request. A refusal by the rules of control is an Answer, not an error.
func (c *Client) Ask(ctx context.Context, r Request) (Answer, error) {
	var a Answer
	return a, c.do(ctx, http.MethodPost, "/api/v1/requests", r, &a)
}

func (c *Client) do(ctx context.Context, method, path string, in, out any) error {
	b, code, err := c.send(ctx, method, path, in)
	if err != nil {
		return err
	}
	if code == http.StatusOK || code == http.StatusConflict {
		return json.Unmarshal(b, out)
	}
	return reasonOf(b, code)
}

// Exchange sends in as JSON and takes the answer into out; whatever is not 200 is an error with its reason.
func (c *Client) Exchange(ctx context.Context, method, path string, in, out any) error {
	b, code, err := c.send(ctx, method, path, in)
	if err != nil {
		return err
	}
	if code == http.StatusOK {
		return json.Unmarshal(b, out)
	}
	return reasonOf(b, code)
}

// reasonOf is why the daemon has refused.
func reasonOf(body []byte, code int) error {
	var no Refusal
	if json.Unmarshal(body, &no) != nil || no.Reason == "" {
		no.Reason = http.StatusText(code)
	}
	return errors.New(no.Reason)
}

func (c *Client) send(ctx context.Context, method, path string, in any) (answer []byte, code int, err error) {
	var body io.Reader
	if in != nil {
		b, err := json.Marshal(in)
		if err != nil {
			return nil, 0, err
		}
		body = bytes.NewReader(b)
	}
	req, err := http.NewRequestWithContext(ctx, method, "http://console"+path, body)
	if err != nil {
		return nil, 0, err
	}
	req.Header.Set("Content-Type", "application/json")
	res, err := c.http.Do(req)
	if err != nil {
		return nil, 0, c.explain(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(io.LimitReader(res.Body, 4<<20))
	if err != nil {
		return nil, 0, c.explain(err)
	}
	return b, res.StatusCode, nil
}

// explain says in one sentence why the daemon could not be reached.
func (c *Client) explain(err error) error {
	switch {
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("the console socket %s may not be opened by this user: join the group that owns it", c.path)
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ECONNREFUSED):
		return fmt.Errorf("%w at %s: start it with `ductwarden run`, or name its socket with --socket", ErrNobody, c.path)
	}
	return fmt.Errorf("the daemon at %s could not be asked: %w", c.path, err)
}
