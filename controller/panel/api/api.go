// Package api is what programs, the page and the console ask of a running daemon, under /api/v1. It is the same on
// the page's address and on the console socket; only who asks is found out differently: by session or token there, by
// the socket file's mode here. openapi.yaml describes every route; the tests hold both to it.
//
// Reading order: desk.go, rooms.go (what the house brings), api.go (routes, roles), once.go (keys), state.go,
// request.go, bench.go, air.go, history.go, file.go, keys.go (the routes), socket.go (the console).
package api

import (
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"ductwarden/controller/bench"
	"ductwarden/controller/panel/access"
)

//go:embed openapi.yaml
var document []byte

// Bounds of what is asked.
const (
	mostBody   = 4 << 10
	mostEvents = 200
	fewEvents  = 20
	beat       = 3 * time.Second // a word on a stream where nothing changes
	writeLimit = 5 * time.Second // a reader that takes longer is let go
)

// Server answers the requests. Live and Desk must be set; a room that is nil has no routes.
type Server struct {
	Live    Live
	Desk    Desk
	Recent  Recent
	Bench   bench.Desk
	Air     Air
	History History
	File    File
	Store   *access.Store // passwords and tokens; what has been read of the cautions
	Witness Witness       // nil: nobody writes down who did what

	// Who finds out what the sender of a request may do. nil is the console: whoever may open its socket may do
	// everything, as Role.
	Who  func(*http.Request) access.Role
	Role string
	// MustRead are the keys of the cautions that somebody must have read before Ready is taken from the page.
	MustRead []string

	once once
}

// route is one thing that can be asked. need is the least role; console routes exist on the socket alone.
type route struct {
	pattern string
	need    access.Role
	console bool
	handle  http.HandlerFunc
}

// routes are those that this server has.
func (s *Server) routes() []route {
	all := []route{
		{pattern: "GET /api/v1/openapi.yaml", need: access.Look, handle: s.describe},
		{pattern: "GET /api/v1/snapshot", need: access.Look, handle: s.snapshot},
		{pattern: "GET /api/v1/events", need: access.Look, handle: s.events},
		{pattern: "POST /api/v1/requests", need: access.Look, handle: s.request}, // each action needs its own
	}
	if s.Bench != nil {
		all = append(all, route{pattern: "GET /api/v1/bench", need: access.SetUp, handle: s.look},
			route{pattern: "POST /api/v1/bench", need: access.SetUp, handle: s.order})
	}
	if s.Air != nil {
		all = append(all, route{pattern: "GET /api/v1/survey", need: access.Look, handle: s.survey},
			route{pattern: "GET /api/v1/plan", need: access.Look, handle: s.plan},
			route{pattern: "POST /api/v1/fit", need: access.SetUp, handle: s.fit})
	}
	if s.History != nil {
		all = append(all, route{pattern: "GET /api/v1/history", need: access.Look, handle: s.history},
			route{pattern: "GET /api/v1/readings", need: access.Look, handle: s.readings})
	}
	if s.File != nil {
		all = append(all, route{pattern: "GET /api/v1/shop", need: access.SetUp, handle: s.shop},
			route{pattern: "POST /api/v1/shop/check", need: access.SetUp, handle: s.checkShop},
			route{pattern: "PUT /api/v1/shop", need: access.SetUp, handle: s.saveShop})
	}
	if s.Store != nil {
		all = append(all, s.keyRoutes()...)
	}
	return all
}

// Handler is the API.
func (s *Server) Handler() http.Handler {
	mux, seen := http.NewServeMux(), map[string]bool{}
	for _, r := range s.routes() {
		if r.console && s.Who != nil {
			continue
		}
		mux.HandleFunc(r.pattern, s.guarded(r))
		if _, path, _ := strings.Cut(r.pattern, " "); !seen[path] { // any other method
			seen[path] = true
			mux.HandleFunc(path, func(w http.ResponseWriter, _ *http.Request) {
				refuse(w, http.StatusMethodNotAllowed, "that cannot be done here; /api/v1/openapi.yaml describes what can")
			})
		}
	}
	mux.HandleFunc("/api/v1/", func(w http.ResponseWriter, r *http.Request) {
		refuse(w, http.StatusNotFound, "there is nothing to ask here; /api/v1/openapi.yaml describes what there is")
	})
	return mux
}

// guarded lets in whoever may ask, and does what carries a key only once.
func (s *Server) guarded(r route) http.HandlerFunc {
	done := s.once.wrap(r.handle)
	return func(w http.ResponseWriter, q *http.Request) {
		switch role := s.role(q); {
		case role == access.Nobody:
			refuse(w, http.StatusUnauthorized, "log in first, or send a token")
		case role < r.need:
			refuse(w, http.StatusForbidden, needs(r.need))
		default:
			done(w, q)
		}
	}
}

// role is what the sender may do.
func (s *Server) role(r *http.Request) access.Role {
	if s.Who == nil {
		return access.SetUp
	}
	return s.Who(r)
}

// word is the sender's role as the journal has it.
func (s *Server) word(r *http.Request) string {
	if s.Who == nil {
		return s.Role
	}
	return s.Who(r).String()
}

// witness writes down what has been done.
func (s *Server) witness(r *http.Request, what string) {
	if s.Witness != nil {
		s.Witness.Done(what, s.word(r))
	}
}

// needs says what a role takes.
func needs(role access.Role) string {
	switch role {
	case access.SetUp:
		return "this needs the password: log in with it"
	case access.Duty:
		return "this needs the PIN or the password: log in"
	}
	return "this needs a login"
}

// Refusal is the body of every answer that is no success.
type Refusal struct {
	Accepted bool   `json:"accepted"` // always false
	Reason   string `json:"reason"`   // one sentence
}

func refuse(w http.ResponseWriter, code int, reason string) {
	reply(w, code, Refusal{Reason: reason})
}

func reply(w http.ResponseWriter, code int, v any) {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(code)
	_ = json.NewEncoder(w).Encode(v)
}

// read takes one JSON body of at most most bytes, or refuses it and reports false.
func read(w http.ResponseWriter, r *http.Request, most int64, v any) bool {
	if !strings.HasPrefix(r.Header.Get("Content-Type"), "application/json") {
		refuse(w, http.StatusUnsupportedMediaType, "send the request as application/json")
		return false
	}
	d := json.NewDecoder(http.MaxBytesReader(w, r.Body, most))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		var big *http.MaxBytesError
		if errors.As(err, &big) {
			refuse(w, http.StatusRequestEntityTooLarge, fmt.Sprintf("a request has at most %d bytes here", most))
			return false
		}
		refuse(w, http.StatusBadRequest, "the request could not be read: "+err.Error())
		return false
	}
	if d.More() {
		refuse(w, http.StatusBadRequest, "one request at a time: something follows it")
		return false
	}
	return true
}

// describe gives the document of this API.
func (s *Server) describe(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "application/yaml")
	_, _ = w.Write(document)
}
