package api

import (
	"bytes"
	"net/http"
	"sync"
	"time"
)

// KeyHeader carries a key of the caller's choice: the same key on the same route within a minute gets the first
// answer again and does nothing.
const KeyHeader = "Idempotency-Key"

// Bounds of what is remembered.
const (
	keyLife = time.Minute
	mostKey = 128 // bytes of a key
	mostMet = 256 // answers kept
)

// once remembers answers by route and key.
type once struct {
	mu    sync.Mutex
	by    map[string]*met
	order []string
}

// met is an answer that was given, or is being made.
type met struct {
	mu   sync.Mutex
	at   time.Time
	code int // 0: not done yet
	kind string
	body bytes.Buffer
}

// wrap gives the first answer again where a key has been seen. Reading needs no key.
func (o *once) wrap(next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		key := r.Header.Get(KeyHeader)
		if key == "" || r.Method == http.MethodGet {
			next(w, r)
			return
		}
		if len(key) > mostKey {
			refuse(w, http.StatusBadRequest, "a key has at most 128 bytes")
			return
		}
		m := o.of(r.Method + " " + r.URL.Path + " " + key)
		m.mu.Lock() // the same key again waits for the first to be done
		defer m.mu.Unlock()
		if m.code == 0 {
			next(recorder{w, m}, r)
			return
		}
		w.Header().Set("Content-Type", m.kind)
		w.Header().Set("Cache-Control", "no-store")
		w.WriteHeader(m.code)
		_, _ = w.Write(m.body.Bytes())
	}
}

func (o *once) of(key string) *met {
	o.mu.Lock()
	defer o.mu.Unlock()
	now := time.Now()
	if m, ok := o.by[key]; ok && now.Sub(m.at) < keyLife {
		return m
	}
	if o.by == nil {
		o.by = map[string]*met{}
	}
	if len(o.order) >= mostMet {
		delete(o.by, o.order[0])
		o.order = o.order[1:]
	}
	m := &met{at: now}
	o.by[key] = m
	o.order = append(o.order, key)
	return m
}

// recorder passes an answer on and keeps it.
type recorder struct {
	http.ResponseWriter
	met *met
}

// WriteHeader implements http.ResponseWriter.
func (r recorder) WriteHeader(code int) {
	r.met.code, r.met.kind = code, r.Header().Get("Content-Type")
	r.ResponseWriter.WriteHeader(code)
}

// Write implements http.ResponseWriter.
func (r recorder) Write(b []byte) (int, error) {
	r.met.body.Write(b)
	return r.ResponseWriter.Write(b)
}
