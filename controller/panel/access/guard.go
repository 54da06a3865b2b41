package access

import (
	"net"
	"net/http"
	"net/netip"
	"strings"
	"time"
)

// CookieName is the session cookie.
const CookieName = "ductwarden_session"

// Guard wraps a handler with the checks that come before any login.
type Guard struct {
	Hosts  []string // further names under which the page may be asked for
	Public bool     // looking is allowed without a login
	Store  *Store
	TLS    bool
	// Refused is told of each refusal, for the counter on the security page; may be nil.
	Refused func(why string)
	cross   *http.CrossOriginProtection
}

// MostBody is the largest request body in bytes.
const MostBody = 256 << 10

// Wrap returns next behind the checks, in this order: Host allow-list (a page of another origin that points
// its own name at this address sends its own name), cross-origin requests, headers that bind the browser, body
// size.
func (g *Guard) Wrap(next http.Handler) http.Handler {
	g.cross = http.NewCrossOriginProtection()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=()")
		h.Set("Cache-Control", "no-store")
		if !g.hostAllowed(r.Host) {
			g.refuse(w, "host", "this page does not answer to that name; use the board's address, or add the name under page.names in the shop file", http.StatusMisdirectedRequest)
			return
		}
		if err := g.cross.Check(r); err != nil {
			g.refuse(w, "cross_origin", "a request from another page was refused; open this page itself and try again", http.StatusForbidden)
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, MostBody)
		next.ServeHTTP(w, r)
	})
}

func (g *Guard) refuse(w http.ResponseWriter, why, text string, code int) {
	if g.Refused != nil {
		g.Refused(why)
	}
	http.Error(w, text, code)
}

// hostAllowed accepts IP literals (a name that was rebound is never one), localhost, and the names given.
func (g *Guard) hostAllowed(host string) bool {
	name := host
	if h, _, err := net.SplitHostPort(host); err == nil {
		name = h
	}
	name = strings.ToLower(strings.TrimSuffix(strings.Trim(name, "[]"), "."))
	if _, err := netip.ParseAddr(name); err == nil || name == "localhost" {
		return true
	}
	for _, ok := range g.Hosts {
		if strings.EqualFold(name, strings.TrimSuffix(ok, ".")) {
			return true
		}
	}
	return false
}

// Role returns what the sender of r may do.
func (g *Guard) Role(r *http.Request) Role {
	if t, ok := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer "); ok {
		return g.Store.Token(t)
	}
	if c, err := r.Cookie(CookieName); err == nil {
		if role := g.Store.Session(c.Value); role > Nobody {
			return role
		}
	}
	if g.Public {
		return Look
	}
	return Nobody
}

// SetCookie hands the session to the browser.
func (g *Guard) SetCookie(w http.ResponseWriter, value string) {
	http.SetCookie(w, &http.Cookie{Name: CookieName, Value: value, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode,
		Secure: g.TLS, MaxAge: int(FullLife / time.Second)})
}

// DropCookie takes it back.
func (g *Guard) DropCookie(w http.ResponseWriter) {
	http.SetCookie(w, &http.Cookie{Name: CookieName, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: g.TLS, MaxAge: -1})
}

// From is the address that tries are counted by.
func From(r *http.Request) string {
	if h, _, err := net.SplitHostPort(r.RemoteAddr); err == nil {
		return h
	}
	return r.RemoteAddr
}
