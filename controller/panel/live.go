package panel

import (
	"encoding/json"
	"fmt"
	"net/http"
	"time"

	"ductwarden/controller"
	"ductwarden/controller/panel/access"
	"ductwarden/controller/panel/api"
)

// Bounds of the live stream.
const (
	mostStreams = 50
	writeLimit  = 5 * time.Second // a viewer that takes longer for one state is let go
	beat        = 3 * time.Second // a word even when nothing changes: the page shows NO DATA after 10 s of silence
	leastGap    = 200 * time.Millisecond
	newestFirst = 12
)

type stateMessage struct {
	Version string               `json:"version"`
	State   *controller.Snapshot `json:"state"`
	Events  []api.Event          `json:"events,omitempty"`
	Around  []string             `json:"around,omitempty"`
}

// live streams the state: the whole of it first and after each change, a beat in between. A viewer that does
// not read is dropped; nobody waits for it.
func (s *Server) live(w http.ResponseWriter, r *http.Request) {
	control := http.NewResponseController(w)
	head := w.Header()
	head.Set("Content-Type", "text/event-stream")
	if s.Guard.Role(r) < access.Look {
		fmt.Fprint(w, "event: login\ndata: {}\n\n")
		return
	}
	if s.streams.Add(1) > mostStreams {
		s.streams.Add(-1)
		http.Error(w, fmt.Sprintf("%d pages are open already: close one", mostStreams), http.StatusTooManyRequests)
		return
	}
	defer s.streams.Add(-1)
	_ = control.SetReadDeadline(time.Time{})
	send := func(event string, v any) bool {
		b, err := json.Marshal(v)
		if err != nil {
			return false
		}
		_ = control.SetWriteDeadline(time.Now().Add(writeLimit))
		if _, err := fmt.Fprintf(w, "event: %s\ndata: %s\n\n", event, b); err != nil || control.Flush() != nil {
			s.Dropped.Add(1)
			return false
		}
		return true
	}
	state := func(snap *controller.Snapshot) bool {
		m := stateMessage{Version: s.Version, State: snap}
		if s.API.Recent != nil {
			m.Events = s.API.Recent.Recent(newestFirst)
		}
		if s.Around != nil {
			m.Around = s.Around()
		}
		return send("state", m)
	}
	changes := s.API.Live.Watch(r.Context())
	if snap := s.API.Live.Snapshot(); snap != nil && !state(snap) {
		return
	}
	tick := time.NewTicker(beat)
	defer tick.Stop()
	for {
		select {
		case <-r.Context().Done():
			return
		case snap, ok := <-changes:
			if !ok {
				return
			}
			if !state(snap) {
				return
			}
			select { // readings change at every scan; eyes do not need more than a few states a second
			case <-r.Context().Done():
				return
			case <-time.After(leastGap):
			}
		case <-tick.C:
			if s.Guard.Role(r) < access.Look {
				send("login", struct{}{})
				return
			}
			if !send("beat", struct{}{}) {
				return
			}
		}
	}
}
