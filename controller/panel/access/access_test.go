package access

import (
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

type wall struct{ t time.Time }

func (w *wall) now() time.Time { return w.t }

func opened(t *testing.T) (*Store, *wall, string) {
	t.Helper()
	w := &wall{time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)}
	path := filepath.Join(t.TempDir(), "access.json")
	s, err := Open(path, w.now)
	require.NoError(t, err)
	return s, w, path
}

func setUp(t *testing.T, s *Store, password string) string {
	t.Helper()
	code, err := s.NewCode()
	require.NoError(t, err)
	cookie, err := s.SetUp("192.0.2.1", code, password)
	require.NoError(t, err)
	return cookie
}

func TestSetUpCodeWorksOnceAndRunsOut(t *testing.T) {
	s, w, path := opened(t)
	assert.False(t, s.HasPassword())
	_, _, err := s.Login("a", "anything at all")
	assert.ErrorIs(t, err, ErrNotSetUp, "no default password lets anybody in")

	code, err := s.NewCode()
	require.NoError(t, err)
	w.t = w.t.Add(CodeLife + time.Second)
	_, err = s.SetUp("a", code, "plenty of shavings")
	assert.ErrorIs(t, err, ErrNoCode)

	code, err = s.NewCode()
	require.NoError(t, err)
	_, err = s.SetUp("a", "0000-0000-0000-0000", "plenty of shavings")
	assert.ErrorIs(t, err, ErrWrong)
	cookie, err := s.SetUp("a", strings.ToUpper(code), "plenty of shavings")
	require.NoError(t, err)
	assert.Equal(t, SetUp, s.Session(cookie))
	_, err = s.SetUp("a", code, "plenty of shavings")
	assert.ErrorIs(t, err, ErrNoCode, "a code works once")

	b, err := os.ReadFile(path)
	require.NoError(t, err)
	for _, word := range []string{"plenty", cookie, code} {
		assert.NotContains(t, string(b), word, "only hashes are kept")
	}
	st, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), st.Mode().Perm())

	again, err := Open(path, w.now)
	require.NoError(t, err)
	assert.Equal(t, SetUp, again.Session(cookie), "a session outlives a restart")
}

func TestPasswordsThatFallAtOnceAreRefused(t *testing.T) {
	for p, want := range map[string]error{"short": ErrShort, "Password123": ErrCommon, "aaaaaaaaaaaa": ErrCommon, "12345678": ErrCommon,
		strings.Repeat("x y", 200): ErrLong, "träge späne": nil, "correct horse battery": nil} {
		assert.ErrorIs(t, goodPassword(p), want, p)
	}
}

func TestWrongTriesWait(t *testing.T) {
	s, w, _ := opened(t)
	setUp(t, s, "plenty of shavings")
	for range freeTries {
		_, _, err := s.Login("192.0.2.9", "wrong")
		require.ErrorIs(t, err, ErrWrong)
	}
	_, _, err := s.Login("192.0.2.9", "plenty of shavings")
	assert.ErrorIs(t, err, ErrWait, "even the right word waits")
	_, role, err := s.Login("192.0.2.10", "plenty of shavings")
	require.NoError(t, err, "another address is not shut out")
	assert.Equal(t, SetUp, role)
	w.t = w.t.Add(2 * time.Second)
	_, _, err = s.Login("192.0.2.9", "plenty of shavings")
	assert.NoError(t, err)
}

func TestOneCheckAtATime(t *testing.T) {
	s, _, _ := opened(t)
	setUp(t, s, "plenty of shavings")
	s.checking <- struct{}{}
	_, _, err := s.Login("a", "plenty of shavings")
	assert.ErrorIs(t, err, ErrBusy, "refused at once, not queued")
	<-s.checking
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() { s.Login("b", "plenty of shavings"); s.Session("x") })
	}
	wg.Wait()
}

func TestSessionsEnd(t *testing.T) {
	s, w, _ := opened(t)
	cookie := setUp(t, s, "plenty of shavings")
	w.t = w.t.Add(IdleLife - time.Minute)
	assert.Equal(t, SetUp, s.Session(cookie))
	w.t = w.t.Add(IdleLife + time.Minute)
	assert.Equal(t, Nobody, s.Session(cookie), "idle for too long")

	cookie, _, err := s.Login("a", "plenty of shavings")
	require.NoError(t, err)
	next, err := s.SetPassword("a", "plenty of shavings", "fewer shavings now")
	require.NoError(t, err)
	assert.Equal(t, Nobody, s.Session(cookie), "a new password ends the other sessions")
	require.NoError(t, s.Logout(next))
	assert.Equal(t, Nobody, s.Session(next))
}

func TestPINAndTokensStayBelowSetUp(t *testing.T) {
	s, _, _ := opened(t)
	setUp(t, s, "plenty of shavings")
	assert.ErrorIs(t, s.SetPIN("12a4"), ErrPIN)
	require.NoError(t, s.SetPIN("4711"))
	_, role, err := s.Login("tablet", "4711")
	require.NoError(t, err)
	assert.Equal(t, Duty, role)
	tok, err := s.NewToken("meter reader", SetUp)
	require.NoError(t, err)
	assert.Equal(t, Duty, s.Token(tok), "no token may change the shop file")
	there, err := s.RemoveToken("meter reader")
	require.NoError(t, err)
	assert.True(t, there)
	assert.Equal(t, Nobody, s.Token(tok))
	require.NoError(t, s.Reset())
	assert.False(t, s.HasPassword())
}

func TestDamagedFileIsNotAnOpenDoor(t *testing.T) {
	path := filepath.Join(t.TempDir(), "access.json")
	require.NoError(t, os.WriteFile(path, []byte(`{"password":`), 0o600))
	_, err := Open(path, time.Now)
	assert.ErrorContains(t, err, "delete it")
}

func TestGuardRefusesOtherPages(t *testing.T) {
	s, _, _ := opened(t)
	cookie := setUp(t, s, "plenty of shavings")
	refused := map[string]int{}
	g := &Guard{Hosts: []string{"shop.local"}, Store: s, Refused: func(why string) { refused[why]++ }}
	h := g.Wrap(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, err := r.Body.Read(make([]byte, MostBody+1))
		_ = err
		w.WriteHeader(http.StatusNoContent)
	}))
	for _, row := range []struct {
		name, host, origin, site string
		want                     int
	}{
		{"own address", "192.0.2.7:8480", "", "", 204},
		{"IPv6", "[2001:db8::1]:8480", "", "", 204},
		{"own name", "shop.local", "", "", 204},
		{"own name with a dot", "SHOP.local.", "", "", 204},
		{"rebound name", "attacker.example", "http://attacker.example", "", 421},
		{"rebound name with port", "attacker.example:8480", "http://attacker.example:8480", "", 421},
		{"post from elsewhere", "shop.local", "http://attacker.example", "", 403},
		{"browser says cross-site", "shop.local", "", "cross-site", 403},
		{"no host", "", "", "", 421},
	} {
		r := httptest.NewRequest("POST", "/", strings.NewReader("x"))
		r.Host = row.host
		if row.origin != "" {
			r.Header.Set("Origin", row.origin)
		}
		if row.site != "" {
			r.Header.Set("Sec-Fetch-Site", row.site)
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		assert.Equal(t, row.want, w.Code, row.name)
		assert.NotContains(t, w.Header().Get("Content-Security-Policy"), "unsafe-inline")
	}
	assert.Equal(t, 3, refused["host"])
	assert.Equal(t, 2, refused["cross_origin"])

	r := httptest.NewRequest("GET", "/", nil)
	assert.Equal(t, Nobody, g.Role(r))
	r.AddCookie(&http.Cookie{Name: CookieName, Value: cookie})
	assert.Equal(t, SetUp, g.Role(r))
	g.Public = true
	assert.Equal(t, Look, g.Role(httptest.NewRequest("GET", "/", nil)))

	w := httptest.NewRecorder()
	g.SetCookie(w, cookie)
	set := w.Header().Get("Set-Cookie")
	assert.Contains(t, set, "HttpOnly")
	assert.Contains(t, set, "SameSite=Strict")
	w = httptest.NewRecorder()
	g.DropCookie(w)
	assert.Contains(t, w.Header().Get("Set-Cookie"), "Max-Age=0")
}
