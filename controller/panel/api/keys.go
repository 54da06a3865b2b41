package api

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"ductwarden/controller/cautions"
	"ductwarden/controller/panel/access"
)

// keyRoutes are who may do what, and what has been read.
func (s *Server) keyRoutes() []route {
	return []route{
		{pattern: "GET /api/v1/checklist", need: access.Look, handle: s.checklist},
		{pattern: "POST /api/v1/checklist", need: access.SetUp, handle: s.tick},
		{pattern: "GET /api/v1/access", need: access.SetUp, handle: s.access},
		{pattern: "PUT /api/v1/access/pin", need: access.SetUp, handle: s.pin},
		{pattern: "POST /api/v1/access/tokens", need: access.SetUp, handle: s.newToken},
		{pattern: "DELETE /api/v1/access/tokens/{name}", need: access.SetUp, handle: s.dropToken},
		{pattern: "POST /api/v1/access/code", need: access.SetUp, console: true, handle: s.code},
		{pattern: "POST /api/v1/access/reset", need: access.SetUp, console: true, handle: s.reset},
	}
}

// Checklist is the body of GET /api/v1/checklist.
type Checklist struct {
	Items  []CheckItem `json:"items"`
	Unread int         `json:"unread"` // Ready is taken from the page once it is 0
}

// CheckItem is one caution of the checklist.
type CheckItem struct {
	Key     string `json:"key"`
	Title   string `json:"title"`
	Text    string `json:"text"`
	Decides string `json:"decides"`
	Source  string `json:"source"`
	Read    bool   `json:"read"`
}

func (s *Server) checklist(w http.ResponseWriter, _ *http.Request) {
	out := Checklist{Items: []CheckItem{}}
	unread := s.Store.Unread(s.MustRead)
	for _, k := range s.MustRead {
		if c, ok := cautions.Of(k); ok {
			out.Items = append(out.Items, CheckItem{c.Key, c.Title, c.Text, c.Decides, c.Source, !slices.Contains(unread, k)})
		}
	}
	out.Unread = len(unread)
	reply(w, http.StatusOK, out)
}

// Ticks are the cautions that somebody has read.
type Ticks struct {
	Keys []string `json:"keys"`
}

func (s *Server) tick(w http.ResponseWriter, r *http.Request) {
	var t Ticks
	if !read(w, r, mostBody, &t) {
		return
	}
	for _, k := range t.Keys {
		if !slices.Contains(s.MustRead, k) {
			refuse(w, http.StatusBadRequest, fmt.Sprintf("there is no caution %.40q on the checklist", k))
			return
		}
	}
	if err := s.Store.Confirm(t.Keys...); err != nil {
		refuse(w, http.StatusServiceUnavailable, err.Error())
		return
	}
	s.witness(r, "cautions read: "+strings.Join(t.Keys, ", "))
	s.checklist(w, r)
}

// Access is the body of GET /api/v1/access.
type Access struct {
	Password bool    `json:"password"` // somebody has set one
	PIN      bool    `json:"pin"`
	Tokens   []Token `json:"tokens"`
}

// Token is a program's way in. The token itself is told once, when it is made.
type Token struct {
	Name  string `json:"name"`
	Role  string `json:"role"`
	Token string `json:"token,omitempty"`
}

func (s *Server) access(w http.ResponseWriter, _ *http.Request) {
	out := Access{Password: s.Store.HasPassword(), PIN: s.Store.HasPIN(), Tokens: []Token{}}
	for _, t := range s.Store.Tokens() {
		out.Tokens = append(out.Tokens, Token{Name: t.Name, Role: t.Role.String()})
	}
	reply(w, http.StatusOK, out)
}

// NewPIN sets the wall tablet's PIN; "" takes it away.
type NewPIN struct {
	PIN string `json:"pin"`
}

func (s *Server) pin(w http.ResponseWriter, r *http.Request) {
	var p NewPIN
	if !read(w, r, mostBody, &p) {
		return
	}
	if err := s.Store.SetPIN(p.PIN); err != nil {
		refuse(w, http.StatusConflict, err.Error())
		return
	}
	s.witness(r, map[bool]string{true: "the PIN was taken away", false: "the PIN was set"}[p.PIN == ""])
	s.access(w, r)
}

// NewToken asks for a token.
type NewToken struct {
	Name string `json:"name"`
	Role string `json:"role"` // look, call or duty
}

func (s *Server) newToken(w http.ResponseWriter, r *http.Request) {
	var n NewToken
	if !read(w, r, mostBody, &n) {
		return
	}
	role := access.Nobody
	for _, may := range []access.Role{access.Look, access.Call, access.Duty} {
		if n.Role == may.String() {
			role = may
		}
	}
	name := strings.TrimSpace(n.Name)
	switch {
	case role == access.Nobody:
		refuse(w, http.StatusBadRequest, "a token's role is look, call or duty")
		return
	case name == "" || len(name) > 60:
		refuse(w, http.StatusBadRequest, "a token has a name of up to 60 bytes, so that you know later who uses it")
		return
	}
	for _, t := range s.Store.Tokens() {
		if t.Name == name {
			refuse(w, http.StatusConflict, "there is a token of that name already: take it away first, or choose another name")
			return
		}
	}
	token, err := s.Store.NewToken(name, role)
	if err != nil {
		refuse(w, http.StatusConflict, err.Error())
		return
	}
	s.witness(r, "a token was made for "+name+" as "+role.String())
	reply(w, http.StatusOK, Token{name, role.String(), token})
}

func (s *Server) dropToken(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	found, err := s.Store.RemoveToken(name)
	switch {
	case err != nil:
		refuse(w, http.StatusServiceUnavailable, err.Error())
	case !found:
		refuse(w, http.StatusNotFound, "there is no token of that name")
	default:
		s.witness(r, "the token of "+name+" was taken away")
		s.access(w, r)
	}
}

// Code is a one-time set-up code.
type Code struct {
	Code    string `json:"code"`
	Minutes int    `json:"minutes"` // how long it can be used
}

// code makes a set-up code: the way to a first password, and to a new one when the old is forgotten.
func (s *Server) code(w http.ResponseWriter, r *http.Request) {
	c, err := s.Store.NewCode()
	if err != nil {
		refuse(w, http.StatusServiceUnavailable, err.Error())
		return
	}
	s.witness(r, "a set-up code was made")
	reply(w, http.StatusOK, Code{c, int(access.CodeLife / time.Minute)})
}

// reset forgets password, PIN, tokens and sessions, and makes a set-up code.
func (s *Server) reset(w http.ResponseWriter, r *http.Request) {
	if err := s.Store.Reset(); err != nil {
		refuse(w, http.StatusServiceUnavailable, err.Error())
		return
	}
	s.witness(r, "password, PIN, tokens and logins were forgotten")
	s.code(w, r)
}
