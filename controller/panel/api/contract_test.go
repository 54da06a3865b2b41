package api

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"maps"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/getkin/kin-openapi/routers/gorillamux"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/bench"
	"ductwarden/controller/panel/access"
	"ductwarden/controller/report"
)

// house stands in for everything that a daemon brings.
type house struct {
	shop
	text    string
	written []string
}

func (h *house) View(context.Context, string) (bench.View, error) {
	a := 1.2
	return bench.View{Channels: []bench.Channel{{Name: "ads1115@0x48/0", Watches: []string{"saw"}, CurrentA: &a, Health: "good", State: "idle"}},
		Jog: &bench.JogSession{Step: "caution", Kind: "servo", Cautions: []string{"hands"}, Marked: []string{}, Findings: []bench.Finding{}, Changes: []bench.Change{}}}, nil
}

func (h *house) Do(ctx context.Context, o bench.Order) (bench.View, error) {
	if o.Target == "none" {
		return bench.View{}, &bench.Refusal{Reason: "there is no gate"}
	}
	return h.View(ctx, "")
}

func (h *house) Survey(units string) (*report.Survey, error) {
	if units == "us" {
		return nil, ErrWorking
	}
	return &report.Survey{Shop: "bench", Demands: []report.Demand{demand}, Matrix: report.Matrix{Machines: []string{"saw"}, Cells: [][]report.Cell{{{Grade: "carries"}}}},
		Collectors: []report.Collector{{Name: "collector"}}}, nil
}

var demand = report.Demand{Machines: []string{"saw"}, Open: []string{"saw"}, Grade: "creeps", Remedies: []report.Remedy{{Kind: "hose", Text: "shorter"}}}

func (h *house) Plan(machines []string, _ string) ([]report.Demand, error) {
	if slices.Contains(machines, "none") {
		return nil, errors.New("there is no machine none")
	}
	return []report.Demand{demand}[:min(1, len(machines))], nil
}

func (h *house) Fit(f Sheet, _ string) ([]Fitted, error) {
	if f.Text == "" {
		return nil, errors.New("there are no readings")
	}
	return []Fitted{{Collector: "collector", Readings: []FittedReading{{Off: 0.1}}, Factors: []FittedFactor{{Of: "fan"}}, Notes: []string{}}}, nil
}

func (h *house) Days(from, _ time.Time) ([]DaySum, error) {
	return []DaySum{{from.Format("2006-01-02"), "gate_moves", "saw", "=saw", 3}}, nil
}
func (h *house) Changes(what string, from, _ time.Time, _ int) ([]Happened, error) {
	return []Happened{{At: from, What: what}}, nil
}
func (h *house) Marks(from, _ time.Time) ([]Marked, error) { return []Marked{{At: from}}, nil }
func (h *house) Readings(what, subject string, from, _ time.Time) ([]Reading, error) {
	return []Reading{{from, what, subject, 1, 0.5, 2}}, nil
}
func (h *house) Text() ([]byte, error) { return []byte(h.text), nil }
func (h *house) Check(text []byte) []Problem {
	if strings.Contains(string(text), "wrong") {
		return []Problem{{Line: 2, Column: 1, Path: "gates", Problem: "it is wrong"}}
	}
	return nil
}
func (h *house) Replace(text []byte) error { h.text = string(text); return nil }
func (h *house) Done(what, role string)    { h.written = append(h.written, role+": "+what) }

// furnished is a server with every room, and the document.
func furnished(t *testing.T, who func(*http.Request) access.Role) (*Server, *house, *contract) {
	t.Helper()
	h := &house{shop: shop{snap: &controller.Snapshot{Shop: "bench", Mode: "on_duty"}}, text: "version: 1\n"}
	store, err := access.Open("", time.Now)
	require.NoError(t, err)
	s := &Server{Live: h, Desk: h, Recent: h, Bench: h, Air: h, History: h, File: h, Store: store, Witness: h, Who: who, Role: "console"}
	if who != nil {
		s.MustRead = []string{"function", "starts"}
	}
	doc, err := openapi3.NewLoader().LoadFromData(document)
	require.NoError(t, err)
	require.NoError(t, doc.Validate(t.Context()))
	router, err := gorillamux.NewRouter(doc)
	require.NoError(t, err)
	return s, h, &contract{t: t, doc: doc, router: router, handler: s.Handler(), met: map[string]bool{}}
}

// contract asks a handler and holds request and answer against the document.
type contract struct {
	t       *testing.T
	doc     *openapi3.T
	router  routers.Router
	handler http.Handler
	met     map[string]bool
}

type call struct {
	method, path, body string
	accept, key        string
	wrong              bool // the document refuses the request
	code               int
}

func (c *contract) ask(q call) *httptest.ResponseRecorder {
	c.t.Helper()
	r := httptest.NewRequest(q.method, "http://127.0.0.1"+q.path, strings.NewReader(q.body))
	if q.body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	if q.accept != "" {
		r.Header.Set("Accept", q.accept)
	}
	if q.key != "" {
		r.Header.Set(KeyHeader, q.key)
	}
	route, params, err := c.router.FindRoute(r)
	require.NoError(c.t, err, "%s %s is not in the document", q.method, q.path)
	c.met[route.Method+" "+route.Path] = true
	in := &openapi3filter.RequestValidationInput{Request: r, PathParams: params, Route: route,
		Options: &openapi3filter.Options{AuthenticationFunc: openapi3filter.NoopAuthenticationFunc}}
	err = openapi3filter.ValidateRequest(c.t.Context(), in)
	assert.Equal(c.t, q.wrong, err != nil, "%s %s %s: %v", q.method, q.path, q.body, err)
	r.Body = io.NopCloser(strings.NewReader(q.body))
	w := httptest.NewRecorder()
	c.handler.ServeHTTP(w, r)
	assert.Equal(c.t, q.code, w.Code, "%s %s %s: %s", q.method, q.path, q.body, w.Body)
	out := &openapi3filter.ResponseValidationInput{RequestValidationInput: in, Status: w.Code, Header: w.Header(), Body: io.NopCloser(bytes.NewReader(w.Body.Bytes()))}
	assert.NoError(c.t, openapi3filter.ValidateResponse(c.t.Context(), out), "%s %s %s", q.method, q.path, w.Body)
	return w
}

// calls ask every route the right way and the wrong way.
var calls = []call{
	{method: "GET", path: "/api/v1/openapi.yaml", code: 200},
	{method: "GET", path: "/api/v1/snapshot", code: 200},
	{method: "GET", path: "/api/v1/events", code: 200},
	{method: "GET", path: "/api/v1/events?n=2", code: 200},
	{method: "GET", path: "/api/v1/events?n=0", code: 400, wrong: true},
	{method: "GET", path: "/api/v1/events?n=some", code: 400, wrong: true},
	{method: "POST", path: "/api/v1/requests", body: `{"action":"ready","key":"k"}`, code: 200},
	{method: "POST", path: "/api/v1/requests", body: `{"action":"halt"}`, code: 409},
	{method: "POST", path: "/api/v1/requests", body: `{"action":"explode"}`, code: 400, wrong: true},
	{method: "POST", path: "/api/v1/requests", body: `{"action":"ready","sudo":true}`, code: 400, wrong: true},
	{method: "POST", path: "/api/v1/requests", code: 415, wrong: true},
	{method: "GET", path: "/api/v1/bench", code: 200},
	{method: "GET", path: "/api/v1/bench?session=x", code: 200},
	{method: "POST", path: "/api/v1/bench", body: `{"action":"jog","target":"saw"}`, code: 200},
	{method: "POST", path: "/api/v1/bench", body: `{"action":"jog","target":"none"}`, code: 409},
	{method: "POST", path: "/api/v1/bench", body: `{"action":"end","sudo":true}`, code: 400, wrong: true},
	{method: "GET", path: "/api/v1/survey", code: 200},
	{method: "GET", path: "/api/v1/survey?units=us", code: 503},
	{method: "GET", path: "/api/v1/plan?machines=saw", code: 200},
	{method: "GET", path: "/api/v1/plan?machines=none", code: 409},
	{method: "POST", path: "/api/v1/fit", body: `{"sheet":"open,place,quantity,value","loaded":true,"write":true}`, code: 200},
	{method: "POST", path: "/api/v1/fit", body: `{"sheet":""}`, code: 409},
	{method: "GET", path: "/api/v1/history", code: 200},
	{method: "GET", path: "/api/v1/history?from=2026-03-01&to=2026-03-05", code: 200},
	{method: "GET", path: "/api/v1/history?from=2026-03-09&to=2026-03-05", code: 400},
	{method: "GET", path: "/api/v1/history?from=march", code: 400, wrong: true},
	{method: "GET", path: "/api/v1/history?format=csv", code: 200},
	{method: "GET", path: "/api/v1/readings?what=current_a&subject=saw", code: 200},
	{method: "GET", path: "/api/v1/readings?what=current_a&format=csv", code: 200},
	{method: "GET", path: "/api/v1/shop", code: 200},
	{method: "POST", path: "/api/v1/shop/check", body: `{"text":"version: 1\nwrong"}`, code: 200},
	{method: "PUT", path: "/api/v1/shop", body: `{"text":"version: 1\nwrong"}`, code: 409},
	{method: "PUT", path: "/api/v1/shop", body: `{"text":"version: 1\n# mine\n","from":"another"}`, code: 409},
	{method: "PUT", path: "/api/v1/shop", body: `{"text":"version: 1\n# mine\n","from":"` + sumOf([]byte("version: 1\n")) + `"}`, code: 200},
	{method: "PUT", path: "/api/v1/shop", body: `{"file":"x"}`, code: 400, wrong: true},
	{method: "GET", path: "/api/v1/checklist", code: 200},
	{method: "POST", path: "/api/v1/checklist", body: `{"keys":[]}`, code: 200},
	{method: "POST", path: "/api/v1/checklist", body: `{"keys":["nothing"]}`, code: 400},
	{method: "GET", path: "/api/v1/access", code: 200},
	{method: "PUT", path: "/api/v1/access/pin", body: `{"pin":"2718"}`, code: 200},
	{method: "PUT", path: "/api/v1/access/pin", body: `{"pin":"12"}`, code: 409},
	{method: "PUT", path: "/api/v1/access/pin", body: `{"pin":"abcd"}`, code: 409, wrong: true},
	{method: "POST", path: "/api/v1/access/tokens", body: `{"name":"kettle","role":"call"}`, code: 200},
	{method: "POST", path: "/api/v1/access/tokens", body: `{"name":"kettle","role":"call"}`, code: 409},
	{method: "POST", path: "/api/v1/access/tokens", body: `{"name":"kettle","role":"set_up"}`, code: 400, wrong: true},
	{method: "DELETE", path: "/api/v1/access/tokens/kettle", code: 200},
	{method: "DELETE", path: "/api/v1/access/tokens/kettle", code: 404},
	{method: "POST", path: "/api/v1/access/code", code: 200},
	{method: "POST", path: "/api/v1/access/reset", code: 200},
}

// Every route of the server stands in the document and the other way round, and every one is asked.
func TestContract(t *testing.T) {
	s, _, c := furnished(t, nil)
	for _, q := range calls {
		c.ask(q)
	}
	var served, written []string
	for _, r := range s.routes() {
		served = append(served, r.pattern)
	}
	for path, item := range c.doc.Paths.Map() {
		for method := range item.Operations() {
			written = append(written, method+" "+path)
		}
	}
	assert.ElementsMatch(t, served, written, "routes and document")
	assert.ElementsMatch(t, served, slices.Collect(maps.Keys(c.met)), "every route is asked")
	var actions []string
	for _, a := range c.doc.Components.Schemas["Request"].Value.Properties["action"].Value.Enum {
		actions = append(actions, a.(string))
	}
	assert.ElementsMatch(t, actions, slices.Collect(maps.Keys(Actions)))
}

// Each role may do what it may and no more; whoever may not is told what it takes.
func TestRoles(t *testing.T) {
	var role access.Role
	s, h, c := furnished(t, func(*http.Request) access.Role { return role })
	require.NoError(t, s.Store.Confirm(s.MustRead...))
	for role = access.Nobody; role <= access.SetUp; role++ {
		for _, r := range s.routes() {
			method, path, _ := strings.Cut(r.pattern, " ")
			want := 0
			switch {
			case r.console:
				want = http.StatusNotFound
			case role == access.Nobody:
				want = http.StatusUnauthorized
			case role < r.need:
				want = http.StatusForbidden
			default:
				continue
			}
			q := httptest.NewRequest(method, "http://127.0.0.1"+strings.ReplaceAll(path, "{name}", "x"), nil)
			w := httptest.NewRecorder()
			c.handler.ServeHTTP(w, q)
			if r.console && w.Code == http.StatusForbidden {
				continue // of a longer pattern
			}
			assert.Equal(t, want, w.Code, "%s as %s", r.pattern, role)
			var no Refusal
			require.NoError(t, json.Unmarshal(w.Body.Bytes(), &no))
			assert.NotEmpty(t, no.Reason)
		}
		for action, need := range Actions {
			code := http.StatusConflict // of this desk, which takes only Ready
			switch {
			case role == access.Nobody:
				code = http.StatusUnauthorized
			case role < need:
				code = http.StatusForbidden
			case action == "ready":
				code = http.StatusOK
			}
			c.ask(call{method: "POST", path: "/api/v1/requests", body: `{"action":"` + action + `","role":"set_up"}`, code: code})
		}
	}
	for _, q := range h.asked {
		assert.NotEqual(t, "nobody", q.Role)
	}
	assert.Equal(t, "call", h.asked[0].Role, "the role is found out, not taken from the request")
}

// Ready is taken from the page once every caution has been ticked, and from the console at any time.
func TestReadyWaitsForTheChecklist(t *testing.T) {
	_, h, c := furnished(t, func(*http.Request) access.Role { return access.SetUp })
	ready := call{method: "POST", path: "/api/v1/requests", body: `{"action":"ready"}`, code: 409}
	assert.Contains(t, c.ask(ready).Body.String(), "2 cautions have not been read")
	c.ask(call{method: "POST", path: "/api/v1/checklist", body: `{"keys":["starts"]}`, code: 200})
	assert.Contains(t, c.ask(ready).Body.String(), "1 cautions")
	assert.Empty(t, h.asked)
	c.ask(call{method: "POST", path: "/api/v1/checklist", body: `{"keys":["function"]}`, code: 200})
	ready.code = 200
	c.ask(ready)
	assert.Equal(t, "set_up: cautions read: starts", h.written[0])

	_, _, console := furnished(t, nil)
	console.ask(ready)
}

// The same key gets the first answer again, and the thing is done once.
func TestKeys(t *testing.T) {
	s, h, c := furnished(t, nil)
	make := call{method: "POST", path: "/api/v1/access/tokens", body: `{"name":"kettle","role":"call"}`, key: "k1", code: 200}
	first := c.ask(make).Body.String()
	assert.Equal(t, first, c.ask(make).Body.String())
	assert.Len(t, s.Store.Tokens(), 1)
	make.key, make.code = "k2", 409
	c.ask(make)
	save := call{method: "PUT", path: "/api/v1/shop", body: `{"text":"version: 1\n# a\n","from":"` + sumOf([]byte(h.text)) + `"}`, key: "k1", code: 200}
	c.ask(save)
	save.body = `{"text":"version: 1\n# b\n"}`
	c.ask(save)
	assert.Equal(t, "version: 1\n# a\n", h.text, "a key belongs to its route, and is answered, not done again")
	c.ask(call{method: "POST", path: "/api/v1/fit", body: `{"sheet":"x"}`, key: strings.Repeat("k", 129), code: 400, wrong: true})
}

func TestCellsAreNoFormulas(t *testing.T) {
	_, _, c := furnished(t, nil)
	w := c.ask(call{method: "GET", path: "/api/v1/history?from=2026-03-01&to=2026-03-01&format=csv", code: 200})
	assert.Equal(t, "day,what,subject,name,value\n2026-03-01,gate_moves,saw,'=saw,3\n", w.Body.String())
	assert.Contains(t, w.Header().Get("Content-Disposition"), "history_2026-03-01_2026-03-01.csv")
}
