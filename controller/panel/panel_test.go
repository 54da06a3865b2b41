package panel

import (
	"bufio"
	"context"
	"encoding/json"
	"html"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/cautions"
	"ductwarden/controller/panel/access"
	"ductwarden/controller/panel/api"
)

// A small invented shop, with a name that would hurt if anybody forgot to escape it.
func sample() *Shop {
	return &Shop{Name: `Reed <& "quiet"> works`, Collectors: []Named{{"collector", "collector"}}, Rehearsal: true,
		Ducts:    []Duct{{"trunk", "trunk", -1, 0, 0.16}, {"bench", "bench run", 0, 0, 0.125}, {"saw-drop", "saw drop", 0, 0, 0.125}, {"lathe-hose", "lathe hose", 1, 0, 0.1}, {"sander-drop", "sander drop", 1, 0, 0.1}},
		Ports:    []Port{{"saw", 2}, {"lathe", 3}, {"sander", 4}},
		Gates:    []Gate{{"saw", "saw", 2, false}, {"lathe", "lathe", 3, false}, {"sander", "sander", 4, true}},
		Machines: []Machine{{"saw", "bench saw", []string{"saw"}, false}, {"lathe", "<script>alert(1)</script>", []string{"lathe"}, true}, {"sander", "sander", []string{"sander"}, false}}}
}

func f(v float64) *float64 { return &v }

func state() *controller.Snapshot {
	return &controller.Snapshot{AtMS: 65000, Shop: "Reed", Mode: "on_duty", Why: "the bench saw runs, so its gate is open and the others are shut",
		Machines:   []controller.MachineSnapshot{{ID: "saw", Name: "bench saw", State: "running", CurrentA: f(6.2), AirReady: true, Share: f(1.12), Health: "good", Channel: &controller.Channel{Name: "adc/0", BiasV: f(1.65), NoiseA: f(0.02), Gaps: 3}}, {ID: "lathe", State: "idle", Health: "good"}, {ID: "sander", State: "unknown", Health: "lost"}},
		Gates:      []controller.GateSnapshot{{ID: "saw", Name: "saw", State: "open", Proved: true, Selector: "automatic", Role: "needed"}, {ID: "lathe", State: "closed", Selector: "automatic"}, {ID: "sander", State: "unknown", Hand: true, Selector: "automatic"}},
		Collectors: []controller.CollectorSnapshot{{ID: "collector", Phase: "running", Why: "for the bench saw", Selector: "automatic", StartsLeft: 6, StartsHour: 8, Feedback: "turning", Transport: "creeps", Margin: f(-0.08), FlowM3S: f(0.25)}},
		Ducts:      []controller.DuctSnapshot{{ID: "trunk", Name: "trunk", VelocityMS: 18.4, TransportMS: 20, Carrying: true, Verdict: "creeps"}, {ID: "saw-drop", Name: "saw drop", VelocityMS: 23.1, TransportMS: 20, Carrying: true, Verdict: "carries"}, {ID: "bench", Name: "bench run", VelocityMS: 0.4, TransportMS: 20}},
		Taps:       []controller.TapSnapshot{{ID: "inlet", Name: "inlet", Health: "good", Pa: f(612), LowPa: f(540), HighPa: f(700)}, {ID: "filter", Name: "filter", Health: "lost"}},
		Alarms:     []controller.AlarmSnapshot{{Key: "air_creeps/trunk", Text: "the trunk creeps at 18.4 m/s of 20 m/s", ToDo: "stop the sander", Priority: "high", Active: true, State: "unacknowledged", First: true, Cause: "a hose too rough", Consequence: "chips settle", SinceMS: 60000}}}
}

type fakeShop struct {
	mu       sync.Mutex
	snap     *controller.Snapshot
	watchers []chan *controller.Snapshot
	asked    []api.Request
	refuse   string
}

func (s *fakeShop) Snapshot() *controller.Snapshot { s.mu.Lock(); defer s.mu.Unlock(); return s.snap }
func (s *fakeShop) Watch(ctx context.Context) <-chan *controller.Snapshot {
	c := make(chan *controller.Snapshot, 1)
	s.mu.Lock()
	s.watchers = append(s.watchers, c)
	s.mu.Unlock()
	return c
}
func (s *fakeShop) set(n *controller.Snapshot) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.snap = n
	for _, w := range s.watchers {
		select {
		case w <- n:
		default:
		}
	}
}
func (s *fakeShop) Ask(_ context.Context, r api.Request) api.Answer {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.asked = append(s.asked, r)
	return api.Answer{Accepted: s.refuse == "", Reason: s.refuse}
}
func (s *fakeShop) requests() []api.Request {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]api.Request(nil), s.asked...)
}
func (s *fakeShop) Recent(int) []api.Event {
	return []api.Event{{AtMS: 64000, What: "bench saw runs", Then: []string{"open saw", "start collector"}}}
}

type served struct {
	*fakeShop
	store *access.Store
	panel *Server
	url   string
	stop  func()
}

func serve(t *testing.T) *served {
	t.Helper()
	store, err := access.Open("", time.Now)
	require.NoError(t, err)
	shop := &fakeShop{snap: state()}
	p := &Server{Shop: sample(), API: &api.Server{Live: shop, Desk: shop, Recent: shop, Store: store, Air: fakeAir{}, History: fakePast{}, File: &fakeFile{text: "version: 1\nshop: Reed\ngates:\n  - name: saw\n"}, Bench: &fakeBench{}}, Guard: &access.Guard{Store: store}, Version: "test"}
	sv := &served{fakeShop: shop, store: store, panel: p}
	sv.start(t, "127.0.0.1:0")
	t.Cleanup(func() { sv.stop() })
	return sv
}

// start serves the page at an address; a page that was served before is another one of the same shop.
func (s *served) start(t *testing.T, address string) {
	t.Helper()
	h, err := s.panel.Handler()
	require.NoError(t, err)
	l, err := net.Listen("tcp", address)
	require.NoError(t, err)
	srv := HTTP(h)
	go srv.Serve(Limit(l))
	s.url, s.stop = "http://"+l.Addr().String(), func() { srv.Close() }
}

// visitor is a browser without a screen.
func (s *served) visitor(t *testing.T) *http.Client {
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	return &http.Client{Jar: jar, Timeout: 10 * time.Second}
}

func (s *served) setUp(t *testing.T) *http.Client {
	t.Helper()
	code, err := s.store.NewCode()
	require.NoError(t, err)
	c := s.visitor(t)
	r, err := c.PostForm(s.url+"/login", url.Values{"code": {code}, "password": {"plenty of shavings"}, "to": {"/"}})
	require.NoError(t, err)
	r.Body.Close()
	require.Equal(t, http.StatusOK, r.StatusCode)
	require.Equal(t, "/", r.Request.URL.Path)
	return c
}

func text(t *testing.T, c *http.Client, url string) (int, string) {
	t.Helper()
	r, err := c.Get(url)
	require.NoError(t, err)
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	require.NoError(t, err)
	return r.StatusCode, string(b)
}

func TestNobodySeesAnythingBeforeSetUp(t *testing.T) {
	s := serve(t)
	c := s.visitor(t)
	for _, p := range everyPage[:len(everyPage)-1] {
		_, body := text(t, c, s.url+p)
		assert.Contains(t, body, "Set-up code", p)
		assert.NotContains(t, body, "bench saw", p)
	}
	r, err := c.Post(s.url+"/api/v1/requests", "application/json", strings.NewReader(`{"action":"ready"}`))
	require.NoError(t, err)
	r.Body.Close()
	assert.Equal(t, 401, r.StatusCode)
	assert.Empty(t, s.requests())
	_, body := text(t, c, s.url+"/live")
	assert.Contains(t, body, "event: login")
}

func TestEveryPageShowsCautionAndEscapesNames(t *testing.T) {
	s := serve(t)
	c := s.setUp(t)
	for _, p := range everyPage[:len(everyPage)-1] {
		code, body := text(t, c, s.url+p)
		assert.Equal(t, 200, code)
		assert.Contains(t, body, "may move at any time without warning", p)
		assert.Contains(t, body, "no emergency stop", p)
		assert.NotContains(t, body, "<script>alert", p)
		assert.NotContains(t, body, " style=", p)
		assert.NotRegexp(t, `<script(?: type="module")?>`, body, "no script of the page's own stands in it")
	}
}

func TestRequestsCarryTheRole(t *testing.T) {
	s := serve(t)
	c := s.setUp(t)
	post := func(body, kind string) (int, api.Answer) {
		r, err := c.Post(s.url+"/api/v1/requests", kind, strings.NewReader(body))
		require.NoError(t, err)
		defer r.Body.Close()
		var a api.Answer
		json.NewDecoder(r.Body).Decode(&a)
		return r.StatusCode, a
	}
	code, a := post(`{"action":"ready","key":"k"}`, "application/json")
	assert.Equal(t, 200, code)
	assert.True(t, a.Accepted)
	assert.Equal(t, []api.Request{{Action: "ready", Key: "k", Role: "set_up"}}, s.requests())
	s.refuse = "the last end was not orderly: acknowledge it first"
	code, a = post(`{"action":"ready"}`, "application/json")
	assert.Equal(t, 409, code)
	assert.Equal(t, s.refuse, a.Reason, "a refusal carries its reason")
	n := len(s.requests())
	for body, want := range map[string]int{`{"action":"explode"}`: 400, `{"action":"ready","extra":1}`: 400, `not json`: 400, `{"action":"` + strings.Repeat("x", 5000) + `"}`: 413} {
		code, a := post(body, "application/json")
		assert.Equal(t, want, code)
		assert.NotEmpty(t, a.Reason)
	}
	code, _ = post(`action=ready`, "application/x-www-form-urlencoded")
	assert.Equal(t, 415, code, "a form of another page cannot send JSON")
	assert.Len(t, s.requests(), n, "nothing moved")
}

func TestLoginSendsNobodyElsewhere(t *testing.T) {
	s := serve(t)
	s.setUp(t)
	for _, to := range []string{"//attacker.example", `/\attacker.example`, "https://attacker.example"} {
		c := s.visitor(t)
		r, err := c.PostForm(s.url+"/login", url.Values{"word": {"plenty of shavings"}, "to": {to}})
		require.NoError(t, err)
		r.Body.Close()
		assert.Equal(t, s.url+"/", r.Request.URL.String())
	}
}

func TestLiveStreamsWholeStateThenChanges(t *testing.T) {
	s := serve(t)
	c := s.setUp(t)
	c.Timeout = 0
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	req, _ := http.NewRequestWithContext(ctx, "GET", s.url+"/live", nil)
	r, err := c.Do(req)
	require.NoError(t, err)
	defer r.Body.Close()
	lines := bufio.NewScanner(r.Body)
	lines.Buffer(nil, 1<<20)
	next := func() stateMessage {
		for lines.Scan() {
			if d, ok := strings.CutPrefix(lines.Text(), "data: {\"version\""); ok {
				var m stateMessage
				require.NoError(t, json.Unmarshal([]byte("{\"version\""+d), &m))
				return m
			}
		}
		require.Fail(t, "the stream ended")
		return stateMessage{}
	}
	m := next()
	assert.Equal(t, "on_duty", m.State.Mode)
	assert.Equal(t, "bench saw runs", m.Events[0].What)
	n := state()
	n.Mode = "halted"
	s.set(n)
	assert.Equal(t, "halted", next().State.Mode)
}

// A viewer that never reads is let go; the others keep getting states.
func TestStalledViewersAreDropped(t *testing.T) {
	t.Parallel()
	s := serve(t)
	c := s.setUp(t)
	u, _ := url.Parse(s.url)
	cookie := c.Jar.Cookies(u)[0]
	for range 5 {
		conn, err := net.Dial("tcp", u.Host)
		require.NoError(t, err)
		defer conn.Close()
		conn.(*net.TCPConn).SetReadBuffer(1024)
		io.WriteString(conn, "GET /live HTTP/1.1\r\nHost: "+u.Host+"\r\nCookie: "+cookie.Name+"="+cookie.Value+"\r\n\r\n")
	}
	big := state()
	big.Why = strings.Repeat("shavings ", 200000)
	deadline := time.Now().Add(60 * time.Second)
	for s.panel.Dropped.Load() < 5 && time.Now().Before(deadline) {
		s.set(big) // returns at once, whoever is stalled
		time.Sleep(20 * time.Millisecond)
	}
	assert.EqualValues(t, 5, s.panel.Dropped.Load())
}

func TestBindNeedsAPasswordBeyondThisMachine(t *testing.T) {
	store, err := access.Open("", time.Now)
	require.NoError(t, err)
	_, err = Bind("0.0.0.0:0", store)
	assert.ErrorContains(t, err, "no password is set")
	_, err = Bind("here", store)
	assert.ErrorContains(t, err, "127.0.0.1:8480")
	l, err := Bind("127.0.0.1:0", store)
	require.NoError(t, err)
	l.Close()
	code, _ := store.NewCode()
	_, err = store.SetUp("x", code, "plenty of shavings")
	require.NoError(t, err)
	l, err = Bind("0.0.0.0:0", store)
	require.NoError(t, err)
	l.Close()
}

func TestDrawingIsTheSameEverywhereAndKeepsRowsApart(t *testing.T) {
	a, b := Draw(sample()), Draw(sample())
	assert.Equal(t, a, b)
	for n := 2; n <= 24; n++ {
		s := &Shop{Name: "rows", Collectors: []Named{{"c", "c"}}, Ducts: []Duct{{"trunk", "trunk", -1, 0, 0.2}}}
		for i := 1; i <= n; i++ {
			id := string(rune('a' + i))
			s.Ducts = append(s.Ducts, Duct{id, id, (i - 1) / 3 * 1, 0, 0.1})
			s.Ports = append(s.Ports, Port{id, i})
			s.Gates = append(s.Gates, Gate{id, id, i, false})
		}
		d := layOut(s)
		seen := map[[2]float64]bool{}
		for i := range s.Ducts {
			k := [2]float64{d.X(d.Depth[i]), d.Y(d.Row[i])}
			assert.False(t, seen[k], "%d gates: two ducts begin at one place", n)
			seen[k] = true
		}
	}
}

func TestCatalogueHasEveryStringThatPagesAskFor(t *testing.T) {
	s := serve(t)
	c := s.setUp(t)
	for _, p := range everyPage {
		_, body := text(t, c, s.url+p)
		assert.NotRegexp(t, `\[[a-z]+\.[a-z_]+\]`, body, p)
	}
}

func TestCautionsAreReadOnThePage(t *testing.T) {
	s := serve(t)
	code, body := text(t, s.setUp(t), s.url+"/cautions")
	require.Equal(t, 200, code)
	for _, c := range cautions.List {
		assert.Contains(t, body, `id="caution-`+c.Key+`"`)
		assert.Contains(t, html.UnescapeString(body), "<dd>"+c.Text)
	}
}
