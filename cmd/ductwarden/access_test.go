package main

import (
	"bytes"
	"context"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestAccessAtTheConsole goes the way of somebody who has the board and forgot everything else.
func TestAccessAtTheConsole(t *testing.T) {
	socket := filepath.Join(t.TempDir(), "console.sock")
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var out writer
	go run(ctx, []string{"rehearse", "--speed", "10", "--forever", "--plain", "--page", "127.0.0.1:0", "--socket", socket}, strings.NewReader(""), &out, &out)
	require.Eventually(t, func() bool { return strings.Contains(out.String(), "set-up code") }, 20*time.Second, 20*time.Millisecond, "%s", &out)
	page := regexp.MustCompile(`http://\S+/`).FindString(out.String())
	say := func(stdin string, args ...string) (int, string) {
		var stdout, stderr bytes.Buffer
		code := run(ctx, append(args, "--socket", socket), strings.NewReader(stdin), &stdout, &stderr)
		return code, stdout.String() + stderr.String()
	}
	require.Eventually(t, func() bool { code, _ := say("", "status"); return code == exitDone }, 20*time.Second, 20*time.Millisecond)

	code, said := say("", "setup-code")
	require.Equal(t, exitDone, code, said)
	first := regexp.MustCompile(`^[a-z2-7]{4}(-[a-z2-7]{4}){3}`).FindString(said)
	require.NotEmpty(t, first, said)
	s := sitting(t, page)
	assert.Equal(t, http.StatusOK, s.enter(t, "code", first, "password", "plenty of shavings"))
	_, said = say("", "access")
	assert.Equal(t, "the password is set\nthe PIN is not set\n", said)

	code, said = say("2718\n", "access", "pin")
	require.Equal(t, exitDone, code, said)
	assert.Equal(t, http.StatusOK, sitting(t, page).enter(t, "word", "2718"))
	code, said = say("27\n", "access", "pin")
	assert.Equal(t, exitNo, code)
	assert.Contains(t, said, "4 to 12 digits")
	code, said = say("", "access", "pin", "--remove")
	require.Equal(t, exitDone, code, said)
	assert.Equal(t, http.StatusUnauthorized, sitting(t, page).enter(t, "word", "2718"))

	code, said = say("", "access", "token", "kettle", "--role", "look")
	require.Equal(t, exitDone, code, said)
	token, _, _ := strings.Cut(said, "\n")
	assert.Equal(t, http.StatusOK, withToken(t, page+"api/v1/snapshot", token))
	code, said = say("", "access", "token", "kettle", "--role", "set_up")
	assert.Equal(t, exitNo, code)
	assert.Contains(t, said, "look, call or duty")
	code, _ = say("", "access", "forget", "kettle")
	assert.Equal(t, exitDone, code)
	assert.Equal(t, http.StatusUnauthorized, withToken(t, page+"api/v1/snapshot", token))

	code, said = say("", "access", "reset")
	require.Equal(t, exitDone, code, said)
	assert.Equal(t, http.StatusUnauthorized, s.get(t, "api/v1/snapshot"), "all logins end")
	second, _, _ := strings.Cut(said, "\n")
	assert.Equal(t, http.StatusOK, sitting(t, page).enter(t, "code", second, "password", "more shavings yet"))
}

// session is a browser without a screen.
type session struct {
	http.Client
	page string
}

func sitting(t *testing.T, page string) *session {
	t.Helper()
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	return &session{page: page, Client: http.Client{Jar: jar, Timeout: 20 * time.Second}}
}

// enter fills in the login; it gives the code of the page that follows.
func (s *session) enter(t *testing.T, pairs ...string) int {
	t.Helper()
	form := url.Values{}
	for i := 0; i < len(pairs); i += 2 {
		form.Set(pairs[i], pairs[i+1])
	}
	r, err := s.PostForm(s.page+"login", form)
	require.NoError(t, err)
	r.Body.Close()
	return r.StatusCode
}

func (s *session) get(t *testing.T, path string) int {
	t.Helper()
	r, err := s.Get(s.page + path)
	require.NoError(t, err)
	r.Body.Close()
	return r.StatusCode
}

// withToken is what a program with a token gets.
func withToken(t *testing.T, address, token string) int {
	t.Helper()
	q, err := http.NewRequestWithContext(t.Context(), http.MethodGet, address, nil)
	require.NoError(t, err)
	q.Header.Set("Authorization", "Bearer "+token)
	r, err := http.DefaultClient.Do(q)
	require.NoError(t, err)
	r.Body.Close()
	return r.StatusCode
}
