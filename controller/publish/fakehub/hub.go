package fakehub

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Entity is one thing that the hub shows.
type Entity struct {
	Key, Platform string
	Options       object
	State         string // as the hub would store it; "" before the first message
	Valid         bool   // the last message made a state that the platform takes
	Problem       string // why not
	Updates       int
	doc           string
}

// Hub keeps entities as a hub would. Feed it every message of the broker with Receive.
type Hub struct {
	Prefix string

	mu           sync.Mutex
	entities     map[string]*Entity // by unique id
	findings     []Finding
	availability map[string]string
	last         map[string][]byte // what the broker holds, so that a new entity sees its state at once
	documents    int
}

// New is a hub that has just started.
func New(prefix string) *Hub {
	return &Hub{Prefix: prefix, entities: map[string]*Entity{}, availability: map[string]string{}, last: map[string][]byte{}}
}

// Receive takes one message. retained is the flag as the subscriber sees it.
func (h *Hub) Receive(topic string, payload []byte, retained bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if strings.HasPrefix(topic, h.Prefix+"/") {
		if strings.HasSuffix(topic, "/config") {
			h.discover(topic, payload)
		}
		return
	}
	if strings.HasSuffix(topic, "/availability") {
		h.availability[topic] = string(payload)
	}
	if len(payload) == 0 {
		delete(h.last, topic)
	} else {
		h.last[topic] = payload
	}
	for _, e := range h.entities {
		if e.Options["state_topic"] == topic && len(payload) > 0 {
			if e.Platform == "event" && retained {
				continue // a hub does not repeat what happened once
			}
			e.update(payload)
		}
	}
}

func (h *Hub) discover(topic string, payload []byte) {
	h.documents++
	components, gone, findings := Document(h.Prefix, topic, payload)
	h.findings = append(h.findings, findings...)
	for _, f := range findings {
		if f.Grade == DropsDocument {
			return
		}
	}
	if strings.Contains(string(payload), "migrate_discovery") {
		return
	}
	for id, e := range h.entities { // what a document leaves out stays: it must be told as gone, or the whole document cleared
		if e.doc == topic && (len(payload) == 0 || slices.Contains(gone, e.Key)) {
			delete(h.entities, id)
		}
	}
	for key, o := range components {
		id := fmt.Sprint(o["platform"], " ", o["unique_id"])
		e := h.entities[id]
		if e == nil {
			e = &Entity{}
			h.entities[id] = e
		}
		e.Key, e.Platform, e.Options, e.doc = key, o["platform"].(string), o, topic
		if t, _ := o["state_topic"].(string); e.Platform != "event" && h.last[t] != nil {
			e.update(h.last[t])
		}
	}
}

func (e *Entity) update(payload []byte) {
	e.Updates++
	text := string(payload)
	if t, _ := e.Options["value_template"].(string); t != "" {
		rendered, err := render(t, payload)
		if err != nil {
			e.Valid, e.Problem = false, err.Error()
			return
		}
		text = rendered
	}
	e.State = text
	e.Valid, e.Problem = true, ""
	if why := e.refuses(text, payload); why != "" {
		e.Valid, e.Problem = false, why
	}
}

// render knows the one form of template, and writes values as Python does.
func render(t string, payload []byte) (string, error) {
	m := template.FindStringSubmatch(t)
	if m == nil {
		return "", fmt.Errorf("template %q is not known", t)
	}
	var doc map[string]json.RawMessage
	if err := json.Unmarshal(payload, &doc); err != nil {
		return "", fmt.Errorf("payload is no JSON object: %w", err)
	}
	raw, ok := doc[m[1]]
	if !ok {
		return "", fmt.Errorf("key %q is missing", m[1])
	}
	switch s := string(raw); {
	case s == "null":
		return "None", nil
	case s == "true":
		return "True", nil
	case s == "false":
		return "False", nil
	case strings.HasPrefix(s, `"`):
		var text string
		err := json.Unmarshal(raw, &text)
		return text, err
	default:
		return s, nil
	}
}

func (e *Entity) refuses(state string, payload []byte) string {
	word := func(k, usual string) string {
		if s, ok := e.Options[k].(string); ok {
			return s
		}
		return usual
	}
	if state == "None" {
		return ""
	}
	switch e.Platform {
	case "sensor":
		if len(state) > 255 {
			return "a state has 255 characters at most"
		}
		if e.Options["unit_of_measurement"] != nil || e.Options["state_class"] != nil {
			if _, err := strconv.ParseFloat(state, 64); err != nil {
				return fmt.Sprintf("%q is no number", state)
			}
		}
		if options, ok := e.Options["options"].([]any); ok && !slices.Contains(options, any(state)) {
			return fmt.Sprintf("%q is none of the options", state)
		}
		if e.Options["device_class"] == "timestamp" {
			if _, err := time.Parse(time.RFC3339, state); err != nil {
				return fmt.Sprintf("%q is no time", state)
			}
		}
	case "binary_sensor":
		if state != word("payload_on", "ON") && state != word("payload_off", "OFF") {
			return fmt.Sprintf("%q is neither on nor off", state)
		}
	case "cover":
		if !slices.Contains([]string{word("state_open", "open"), word("state_closed", "closed"), word("state_opening", "opening"),
			word("state_closing", "closing"), word("state_stopped", "stopped")}, state) {
			return fmt.Sprintf("%q is no state of a cover", state)
		}
	case "event":
		var doc object
		types, _ := e.Options["event_types"].([]any)
		if json.Unmarshal(payload, &doc) != nil || !slices.Contains(types, doc["event_type"]) {
			return fmt.Sprintf("%v is none of the event types", doc["event_type"])
		}
	}
	return ""
}

// Entities are copies, by unique id.
func (h *Hub) Entities() map[string]Entity {
	h.mu.Lock()
	defer h.mu.Unlock()
	out := map[string]Entity{}
	for id, e := range h.entities {
		out[id] = *e
	}
	return out
}

// Findings are all that it objected to.
func (h *Hub) Findings() []Finding {
	h.mu.Lock()
	defer h.mu.Unlock()
	return slices.Clone(h.findings)
}

// Documents counts discovery messages.
func (h *Hub) Documents() int {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.documents
}

// Available reports the word on a device's availability topic.
func (h *Hub) Available(topic string) string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.availability[topic]
}

// Invalid names the entities that have no valid state, with the reason. Buttons and events need none.
func (h *Hub) Invalid() []string {
	h.mu.Lock()
	defer h.mu.Unlock()
	var out []string
	for _, id := range slices.Sorted(maps.Keys(h.entities)) {
		e := h.entities[id]
		if e.Platform == "button" || e.Platform == "event" {
			continue
		}
		if !e.Valid {
			out = append(out, id+": "+e.Problem)
		}
	}
	return out
}
