package api

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"
)

func (s *Server) snapshot(w http.ResponseWriter, _ *http.Request) {
	snap := s.Live.Snapshot()
	if snap == nil {
		refuse(w, http.StatusServiceUnavailable, "the first scan is not done yet; ask again in a moment")
		return
	}
	reply(w, http.StatusOK, snap)
}

// Events is the body of GET /api/v1/events: the latest, newest first.
type Events struct {
	Events []Event `json:"events"`
}

// events gives the latest events, or with Accept: text/event-stream the state after each change.
func (s *Server) events(w http.ResponseWriter, r *http.Request) {
	if strings.Contains(r.Header.Get("Accept"), "text/event-stream") {
		s.stream(w, r)
		return
	}
	n := fewEvents
	if q := r.URL.Query().Get("n"); q != "" {
		var err error
		if n, err = strconv.Atoi(q); err != nil || n < 1 || n > mostEvents {
			refuse(w, http.StatusBadRequest, fmt.Sprintf("n is a number from 1 to %d", mostEvents))
			return
		}
	}
	out := Events{Events: []Event{}}
	if s.Recent != nil {
		out.Events = append(out.Events, s.Recent.Recent(n)...)
	}
	for i := range out.Events {
		if out.Events[i].Then == nil {
			out.Events[i].Then = []string{}
		}
	}
	reply(w, http.StatusOK, out)
}

// stream sends the state first and after each change. A reader that is slow misses states in between.
func (s *Server) stream(w http.ResponseWriter, r *http.Request) {
	control := http.NewResponseController(w)
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("Cache-Control", "no-store")
	_ = control.SetReadDeadline(time.Time{})
	send := func(event string, v any) bool {
		b, err := json.Marshal(v)
		if err != nil {
			return false
		}
		_ = control.SetWriteDeadline(time.Now().Add(writeLimit))
		_, err = fmt.Fprintf(w, "event: %s\ndata: %s\n\n", event, b)
		return err == nil && control.Flush() == nil
	}
	changes := s.Live.Watch(r.Context())
	tick := time.NewTicker(beat)
	defer tick.Stop()
	for {
		ok := true
		select {
		case <-r.Context().Done():
			return
		case snap, open := <-changes:
			ok = open && send("state", snap)
		case <-tick.C:
			ok = send("beat", struct{}{})
		}
		if !ok {
			return
		}
	}
}
