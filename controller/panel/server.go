package panel

import (
	"bytes"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"net"
	"net/http"
	"strings"
	"sync/atomic"
	"time"

	"ductwarden/controller/cautions"
	"ductwarden/controller/panel/access"
	"ductwarden/controller/panel/api"
)

//go:embed page static
var files embed.FS

// Server is the page. Fill it, then take Handler.
type Server struct {
	Shop *Shop
	API  *api.Server // mounted at /api/v1/; its Who is set by Handler
	// Around says in sentences what works beside the control and does not: home automation, the journal. May be nil.
	Around  func() []string
	Metrics http.Handler // mounted at /metrics, for who may look; may be nil
	Guard   *access.Guard
	Version string // of the build: a page of another version loads itself anew
	Text    Text   // the page's language, whole; nil: English

	pages     *template.Template
	drawing   template.HTML
	texts     string // the page's own strings, as JSON
	sentences string // of the program, English to the page's language, as JSON; "" where that is English
	streams   atomic.Int32
	// Dropped counts viewers that were too slow and were let go.
	Dropped atomic.Int64
}

// Handler builds the page. It is an error if a template or the catalogue is damaged.
func (s *Server) Handler() (http.Handler, error) {
	if s.Text == nil {
		s.Text = English()
	}
	texts, err := json.Marshal(s.Text.strings())
	if err != nil {
		return nil, fmt.Errorf("texts of the page: %w", err)
	}
	s.texts = string(texts)
	if other := s.Text.sentences(); len(other) > 0 {
		sentences, err := json.Marshal(other)
		if err != nil {
			return nil, fmt.Errorf("texts of the page: %w", err)
		}
		s.sentences = string(sentences)
	}
	p, err := template.New("").Funcs(template.FuncMap{"say": s.Text.Say, "request": requestOf, "cautions": func() []cautions.Caution { return cautions.At(cautions.Page) }}).ParseFS(files, "page/*.html")
	if err != nil {
		return nil, fmt.Errorf("page templates: %w", err)
	}
	s.pages = p
	s.drawing = template.HTML(Draw(s.Shop)) // every name in it was escaped by Draw
	static, err := fs.Sub(files, "static")
	if err != nil {
		return nil, err
	}
	s.API.Who = s.Guard.Role
	mux := http.NewServeMux()
	mux.Handle("GET /static/", http.StripPrefix("/static/", http.FileServerFS(static)))
	mux.HandleFunc("GET /{$}", s.show("shop", access.Look))
	mux.HandleFunc("GET /wall", s.show("wall", access.Look))
	mux.HandleFunc("GET /table", s.show("table", access.Look))
	mux.HandleFunc("GET /alarms", s.show("alarms", access.Look))
	mux.HandleFunc("GET /cautions", s.show("cautions", access.Look))
	mux.HandleFunc("GET /login", s.show("login", access.Nobody))
	mux.HandleFunc("POST /login", s.login)
	mux.HandleFunc("POST /logout", s.logout)
	mux.HandleFunc("GET /live", s.live)
	mux.Handle("/api/v1/", s.API.Handler())
	if s.Metrics != nil {
		mux.Handle("GET /metrics", s.need(access.Look, s.Metrics))
	}
	if s.API.Air != nil {
		mux.HandleFunc("GET /air", s.air)
		mux.HandleFunc("GET /airsheet.css", airLooks)
	}
	if s.API.History != nil {
		mux.HandleFunc("GET /history", s.history)
	}
	if s.API.Store != nil {
		mux.HandleFunc("GET /setup", s.show("setup", access.SetUp))
	}
	if s.API.Bench != nil {
		mux.HandleFunc("GET /setup/bench", s.show("setup_bench", access.SetUp))
	}
	if s.API.Air != nil {
		mux.HandleFunc("GET /setup/air", s.show("setup_air", access.SetUp))
	}
	if s.API.File != nil {
		mux.HandleFunc("GET /setup/file", s.show("setup_file", access.SetUp))
	}
	return s.Guard.Wrap(mux), nil
}

// HTTP is a server with the limits of a page on a workshop network: slow headers, idle connections and large
// headers end early. The figures follow the usual advice for servers that face a network.
func HTTP(h http.Handler) *http.Server {
	return &http.Server{Handler: h, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Second, IdleTimeout: time.Minute, MaxHeaderBytes: 16 << 10}
}

// Bind refuses to listen beyond this machine before somebody has set a password.
func Bind(address string, store *access.Store) (net.Listener, error) {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return nil, fmt.Errorf("page.listen %q is not an address with a port; write it like 127.0.0.1:8480", address)
	}
	ip := net.ParseIP(host)
	if !store.HasPassword() && host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return nil, fmt.Errorf("page.listen %s is reachable from other devices and no password is set: open the page on this machine once (127.0.0.1), enter the set-up code from `ductwarden setup-code`, then start again", address)
	}
	return net.Listen("tcp", address)
}

// requestOf writes a request for a button's data attribute.
func requestOf(action, target, value string) (string, error) {
	b, err := json.Marshal(api.Request{Action: action, Target: target, Value: value})
	return string(b), err
}

// scripts are what single pages bring along.
var scripts = map[string]string{"air": "air", "setup": "setup", "setup_bench": "bench", "setup_air": "fit", "setup_file": "file"}

// view is what templates see.
type view struct {
	*Server
	Page      string
	Role      access.Role
	Units     string
	To        string
	Problem   string
	First     bool // no password yet: offer the set-up code
	Drawing   template.HTML
	Body      template.HTML
	Texts     string
	Sentences string
	Script    string // of this page beside the live one
	Waiting   bool   // for the survey
	Unread    int    // cautions to be ticked before Ready
	Past      past
}

// Read reports whether a caution of the checklist has been ticked.
func (v view) Read(key string) bool {
	return v.API.Store != nil && len(v.API.Store.Unread([]string{key})) == 0
}

func (v view) May(role string) bool {
	return v.Role >= map[string]access.Role{"look": access.Look, "call": access.Call, "duty": access.Duty, "set_up": access.SetUp}[role]
}

func (s *Server) view(r *http.Request, page string) view {
	v := view{Server: s, Page: page, Role: s.Guard.Role(r), Units: s.units(r), Drawing: s.drawing, Texts: s.texts, Sentences: s.sentences,
		First: !s.Guard.Store.HasPassword(), To: "/", Script: scripts[page]}
	if s.API.Store != nil {
		v.Unread = len(s.API.Store.Unread(s.API.MustRead))
	}
	if to := r.FormValue("to"); strings.HasPrefix(to, "/") && !strings.HasPrefix(to, "//") && !strings.Contains(to, `\`) {
		v.To = to // only a path of our own: a login that sends people elsewhere is a trap
	}
	return v
}

func (s *Server) units(r *http.Request) string {
	if c, err := r.Cookie("units"); err == nil && (c.Value == "us" || c.Value == "metric") {
		return c.Value
	}
	if s.Shop.Units == "us" {
		return "us"
	}
	return "metric"
}

func (s *Server) render(w http.ResponseWriter, code int, v view) {
	var b bytes.Buffer
	if err := s.pages.ExecuteTemplate(&b, v.Page+".html", v); err != nil {
		http.Error(w, "this page could not be made; the log says why", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(code)
	w.Write(b.Bytes())
}

func (s *Server) show(page string, role access.Role) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if v := s.view(r, page); s.allowed(w, r, v, role) {
			s.render(w, http.StatusOK, v)
		}
	}
}

// allowed sends whoever may not see a page to the login.
func (s *Server) allowed(w http.ResponseWriter, r *http.Request, v view, role access.Role) bool {
	if v.Role < role {
		http.Redirect(w, r, "/login?to="+r.URL.Path, http.StatusSeeOther)
		return false
	}
	return true
}

func (s *Server) need(role access.Role, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if s.Guard.Role(r) < role {
			http.Error(w, "log in first, or send a token", http.StatusUnauthorized)
			return
		}
		next.ServeHTTP(w, r)
	})
}

func (s *Server) login(w http.ResponseWriter, r *http.Request) {
	v := s.view(r, "login")
	var cookie string
	var err error
	if code := r.PostFormValue("code"); code != "" {
		cookie, err = s.Guard.Store.SetUp(access.From(r), code, r.PostFormValue("password"))
	} else {
		cookie, _, err = s.Guard.Store.Login(access.From(r), r.PostFormValue("word"))
	}
	if err != nil {
		v.Problem = err.Error()
		code := http.StatusUnauthorized
		if errors.Is(err, access.ErrBusy) || errors.Is(err, access.ErrWait) {
			code = http.StatusTooManyRequests
		}
		s.render(w, code, v)
		return
	}
	s.Guard.SetCookie(w, cookie)
	http.Redirect(w, r, v.To, http.StatusSeeOther)
}

func (s *Server) logout(w http.ResponseWriter, r *http.Request) {
	if c, err := r.Cookie(access.CookieName); err == nil {
		if err := s.Guard.Store.Logout(c.Value); err != nil {
			http.Error(w, err.Error(), http.StatusInternalServerError)
			return
		}
	}
	s.Guard.DropCookie(w)
	http.Redirect(w, r, "/login", http.StatusSeeOther)
}
