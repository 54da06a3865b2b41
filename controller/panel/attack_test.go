package panel

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What somebody on the same network, or a page in the same browser, may try. Nothing of it reaches the shop.
func TestAttacks(t *testing.T) {
	s := serve(t)
	c := s.setUp(t)
	u, err := url.Parse(s.url)
	require.NoError(t, err)
	cookie := c.Jar.Cookies(u)[0].String()
	ready := `{"action":"ready"}`
	for _, a := range []struct {
		name, method, path, body string
		head                     map[string]string
		want                     int
	}{
		{"a post from another page", "POST", "/api/v1/requests", ready, map[string]string{"Origin": "http://attacker.example"}, 403},
		{"a post that the browser calls cross-site", "POST", "/api/v1/requests", ready, map[string]string{"Sec-Fetch-Site": "cross-site"}, 403},
		{"a form of another page", "POST", "/api/v1/requests", "action=ready", map[string]string{"Content-Type": "application/x-www-form-urlencoded"}, 415},
		{"JSON as plain text, which needs no preflight", "POST", "/api/v1/requests", ready, map[string]string{"Content-Type": "text/plain"}, 415},
		{"a name that was rebound to this address", "POST", "/api/v1/requests", ready, map[string]string{"Host": "attacker.example:8480", "Origin": "http://attacker.example:8480"}, 421},
		{"the stream under a rebound name", "GET", "/live", "", map[string]string{"Host": "attacker.example"}, 421},
		{"a cross-site change of the shop file", "PUT", "/api/v1/shop", `{"text":"x"}`, map[string]string{"Origin": "null"}, 403},
		{"a cross-site logout", "POST", "/logout", "", map[string]string{"Origin": "http://attacker.example"}, 403},
		{"an oversized request", "POST", "/api/v1/requests", `{"action":"` + strings.Repeat("x", 5000) + `"}`, nil, 413},
		{"an oversized shop file", "PUT", "/api/v1/shop", `{"text":"` + strings.Repeat("x", 250<<10) + `"}`, nil, 413},
		{"an oversized login", "POST", "/login", "word=" + strings.Repeat("x", 300<<10), map[string]string{"Content-Type": "application/x-www-form-urlencoded"}, 401},
		{"a header without end", "GET", "/table", "", map[string]string{"X-Long": strings.Repeat("x", 64<<10)}, 431},
		{"a made-up cookie", "GET", "/api/v1/snapshot", "", map[string]string{"Cookie": "ductwarden_session=" + strings.Repeat("0", 64)}, 401},
		{"a made-up token", "GET", "/api/v1/snapshot", "", map[string]string{"Authorization": "Bearer 0"}, 401},
		{"a role of its own choice", "PUT", "/api/v1/requests", `{"action":"ready","role":"set_up"}`, nil, 405},
		{"a console route from the network", "POST", "/api/v1/access/reset", "", nil, 404},
		{"a path that climbs", "GET", "/static/../server.go", "", nil, 404},
		{"a path that climbs in code", "GET", "/static/%2e%2e/page/head.html", "", nil, 404},
		{"a path with a code inside a code", "GET", "/static/%252e%252e/text/en.json", "", nil, 404},
		{"a path with a backslash", "GET", `/static/..%5cpage%5chead.html`, "", nil, 404},
		{"an absolute path", "GET", "/static//etc/passwd", "", nil, 404},
		{"a folder", "GET", "/page/head.html", "", nil, 404},
		{"a method that nobody serves", "TRACE", "/", "", nil, 405},
		{"a name with a quote as a token's", "DELETE", "/api/v1/access/tokens/%22%3E%3Cscript%3E", "", nil, 404},
	} {
		t.Run(a.name, func(t *testing.T) {
			q, err := http.NewRequest(a.method, s.url, strings.NewReader(a.body))
			require.NoError(t, err)
			q.URL.Opaque = a.path // as written
			q.Header.Set("Content-Type", "application/json")
			q.Header.Set("Cookie", cookie)
			for k, v := range a.head {
				if q.Header.Set(k, v); k == "Host" {
					q.Host = v
				}
			}
			r, err := (&http.Client{Timeout: 20 * time.Second, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}).Do(q)
			require.NoError(t, err)
			defer r.Body.Close()
			body, _ := io.ReadAll(r.Body)
			if a.want == 404 && r.StatusCode/100 == 3 { // the path is cleaned and asked again
				assert.NotContains(t, r.Header.Get("Location"), "://")
				return
			}
			assert.Equal(t, a.want, r.StatusCode, "%.200s", body)
			assert.NotContains(t, string(body), "<script>")
		})
	}
	assert.Empty(t, s.requests(), "nothing reached the shop")
	code, _ := text(t, c, s.url+"/table")
	assert.Equal(t, 200, code, "and whoever belongs here is still in")
}

// Guessing is slow: after a few wrong words an address waits, and each wrong word costs it a check.
func TestGuessedPasswords(t *testing.T) {
	s := serve(t)
	s.setUp(t)
	var codes []int
	for _, word := range []string{"password", "sawdust1", "0000", "1234", "letmein1", "workshop", "plenty of shavings"} {
		r, err := http.PostForm(s.url+"/login", url.Values{"word": {word}})
		require.NoError(t, err)
		r.Body.Close()
		codes = append(codes, r.StatusCode)
	}
	assert.Equal(t, []int{401, 401, 401, 401, 401, 429, 429}, codes, "the right word is not tried either while an address waits")
}

// A thousand connections that never finish their headers: one machine gets its share and no more, another is served
// at once, and the slow ones are let go.
func TestAThousandSlowConnections(t *testing.T) {
	t.Parallel()
	if runtime.GOOS != "linux" {
		t.Skip("only Linux has a second address to come from without being told")
	}
	s := serve(t)
	c := s.setUp(t)
	u, err := url.Parse(s.url)
	require.NoError(t, err)
	from := net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, 0, 2)}, Timeout: 5 * time.Second}
	before := runtime.NumGoroutine()
	var open []net.Conn
	for range 1000 {
		conn, err := from.DialContext(t.Context(), "tcp", u.Host)
		if err != nil {
			continue // refused: as good
		}
		defer conn.Close()
		io.WriteString(conn, "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ")
		open = append(open, conn)
	}
	assert.Less(t, runtime.NumGoroutine()-before, 2*mostOfOne+50, "goroutines stay bounded")
	began := time.Now()
	code, _ := text(t, c, s.url+"/table")
	assert.Equal(t, 200, code)
	assert.Less(t, time.Since(began), 10*time.Second, "somebody else does not wait")
	for _, conn := range open { // each is ended by the server
		conn.SetReadDeadline(time.Now().Add(60 * time.Second))
		_, err := io.Copy(io.Discard, conn)
		assert.False(t, errors.Is(err, os.ErrDeadlineExceeded), "a connection without its headers is let go")
	}
}

// A body that trickles in is cut off.
func TestSlowBody(t *testing.T) {
	t.Parallel()
	s := serve(t)
	c := s.setUp(t)
	pr, pw := io.Pipe()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	q, err := http.NewRequestWithContext(ctx, "POST", s.url+"/api/v1/requests", pr)
	require.NoError(t, err)
	q.Header.Set("Content-Type", "application/json")
	go func() {
		for ctx.Err() == nil {
			if _, err := io.Copy(pw, bytes.NewReader([]byte(" "))); err != nil {
				return
			}
			select {
			case <-ctx.Done():
			case <-time.After(200 * time.Millisecond):
			}
		}
	}()
	c.Timeout = 0
	r, err := c.Do(q)
	if err == nil {
		defer r.Body.Close()
		assert.Equal(t, 400, r.StatusCode)
	}
	require.NoError(t, ctx.Err(), "within a minute")
	pw.Close()
}
