package publish

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"ductwarden/controller"
	"ductwarden/gates"
)

// Verb is what is asked.
type Verb string

// The verbs of a request.
const (
	Finish      Verb = "finish"      // clear and stop now, stay on duty
	Halt        Verb = "halt"        // stop at once and latch
	Acknowledge Verb = "acknowledge" // subject: an alarm's key, or nothing for all
	Hold        Verb = "hold"        // subject: a gate; hold it open for a while
	Automatic   Verb = "automatic"   // subject: a gate, or "collector/ID"; give it back to the automatic
	Ready       Verb = "ready"       // on duty
	CallAir     Verb = "air"         // subject: a machine; open its gates and start the collector for a while
)

// Bounds of what a request may say.
const (
	LongestRequest = 1024 // bytes of payload
	longestID      = 64

	holdDefault = 10 * time.Minute // a gate held from the network is given back by itself
	holdLongest = 4 * time.Hour
	airDefault  = 3 * time.Minute // like a floor sweep's button
	airLongest  = time.Hour
	shortest    = time.Second
)

// Request is one thing asked over the network, read and named but not yet decided on.
type Request struct {
	ID      string // the asker's own, comes back in the answer; "" on a plain topic
	Verb    Verb
	Subject string
	For     time.Duration // of hold and air
	At      time.Time     // when it was asked, by the asker's clock; zero when it does not say
}

// stops reports whether the request only ever takes power away.
func (v Verb) stops() bool { return v == Finish || v == Halt }

// level is the least that the shop file must allow.
func (v Verb) level() Commands {
	switch v {
	case Finish, Halt:
		return CommandsStop
	case Acknowledge, Hold, Automatic:
		return CommandsRequests
	}
	return CommandsStart
}

// Code says in one word, for programs, why a request was refused; accepted ones have none.
type Code string

// The codes of refusals that are made before the shop is asked.
const (
	CodeRetained   Code = "retained"
	CodeLate       Code = "late"
	CodeReplayed   Code = "replayed"
	CodeTooLong    Code = "too_long"
	CodeMalformed  Code = "malformed"
	CodeUnknown    Code = "unknown"
	CodeTooMany    Code = "too_many"
	CodeNotOffered Code = "not_offered"
	CodeTooEarly   Code = "too_early"
	CodeOff        Code = "off"
	CodeByHand     Code = "by_hand"
	CodeRefused    Code = "refused" // by the shop itself, for the reason in the text
	CodeBusy       Code = "busy"    // the shop did not answer in time
)

// Refusal is why a request goes no further.
type Refusal struct {
	Code Code
	Text string // one sentence
}

func (r *Refusal) Error() string { return r.Text }

func refuse(c Code, format string, a ...any) *Refusal { return &Refusal{c, fmt.Sprintf(format, a...)} }

// wire is a request as JSON; unknown keys are skipped, known ones must have their type.
type wire struct {
	V       int             `json:"v"`
	ID      string          `json:"id"`
	Request string          `json:"request"`
	Subject string          `json:"subject"`
	For     string          `json:"for"` // 10m, 90s
	TS      json.RawMessage `json:"ts"`  // RFC 3339, or seconds since 1970
}

// Parse reads one message of the request tree. It never panics and takes time bounded by the payload, which
// must not be longer than LongestRequest.
func (t Topics) Parse(topic string, payload []byte) (Request, *Refusal) {
	if len(payload) > LongestRequest {
		return Request{}, refuse(CodeTooLong, "the request has %d bytes; %d are read at most", len(payload), LongestRequest)
	}
	text := string(payload)
	if strings.ToValidUTF8(text, "") != text || strings.ContainsRune(text, 0) {
		return Request{}, refuse(CodeMalformed, "the request is not UTF-8 text")
	}
	if topic == t.Request() {
		return parseJSON(payload)
	}
	rest, ok := strings.CutPrefix(topic, t.Request()+"/")
	if !ok {
		return Request{}, refuse(CodeUnknown, "no request is taken on this topic")
	}
	return parsePlain(strings.Split(rest, "/"), strings.TrimSpace(text))
}

func parseJSON(payload []byte) (Request, *Refusal) {
	var w wire
	if err := json.Unmarshal(payload, &w); err != nil {
		return Request{}, refuse(CodeMalformed, "the request is not a JSON object with text in request, subject, for and id")
	}
	r := Request{ID: w.ID, Verb: Verb(w.Request), Subject: w.Subject}
	if len(w.ID) > longestID {
		return Request{}, refuse(CodeMalformed, "the id is longer than %d bytes", longestID)
	}
	if w.V > 1 {
		return r, refuse(CodeMalformed, "the request is of version %d; this program reads 1", w.V)
	}
	if len(w.TS) > 0 && string(w.TS) != "null" {
		at, ok := parseTime(w.TS)
		if !ok {
			return r, refuse(CodeMalformed, "ts is neither RFC 3339 nor seconds since 1970")
		}
		r.At = at
	}
	return finishParse(r, w.For)
}

func parseTime(raw json.RawMessage) (time.Time, bool) {
	var text string
	if json.Unmarshal(raw, &text) == nil {
		at, err := time.Parse(time.RFC3339, text)
		return at, err == nil
	}
	var seconds float64
	if json.Unmarshal(raw, &seconds) != nil || seconds < 0 || seconds > 1e11 {
		return time.Time{}, false
	}
	return time.UnixMilli(int64(seconds * 1000)), true
}

// parsePlain reads request/finish, request/halt, request/ready, request/acknowledge, request/gate/ID with
// hold, hold 10m or automatic, request/collector/ID with automatic, request/air/ID with nothing or 90s.
func parsePlain(parts []string, text string) (Request, *Refusal) {
	head, subject := parts[0], strings.Join(parts[1:], "/")
	words := strings.Fields(text)
	if len(words) > 2 {
		return Request{}, refuse(CodeMalformed, "the request has %d words; write one, or hold and a time", len(words))
	}
	word := func(i int) string {
		if i < len(words) {
			return words[i]
		}
		return ""
	}
	switch {
	case (head == "finish" || head == "halt" || head == "ready") && subject == "":
		if len(words) > 1 || (word(0) != "" && word(0) != "press" && word(0) != head) {
			return Request{}, refuse(CodeMalformed, "%s takes no word but press", head)
		}
		return finishParse(Request{Verb: Verb(head)}, "")
	case head == "acknowledge" && subject == "":
		if word(0) == "press" || word(0) == "everything" {
			return finishParse(Request{Verb: Acknowledge}, word(1))
		}
		return finishParse(Request{Verb: Acknowledge, Subject: word(0)}, word(1))
	case head == "gate" && (word(0) == "hold" || word(0) == "automatic"):
		return finishParse(Request{Verb: Verb(word(0)), Subject: subject}, word(1))
	case head == "collector" && word(0) == "automatic":
		return finishParse(Request{Verb: Automatic, Subject: "collector/" + subject}, word(1))
	case head == "air" && len(words) < 2:
		if word(0) == "press" {
			return finishParse(Request{Verb: CallAir, Subject: subject}, "")
		}
		return finishParse(Request{Verb: CallAir, Subject: subject}, word(0))
	}
	return Request{}, refuse(CodeUnknown, "no such request; there are finish, halt, acknowledge, ready, gate/ID, collector/ID and air/ID")
}

// finishParse reads the time and holds the request against the verbs.
func finishParse(r Request, span string) (Request, *Refusal) {
	switch r.Verb {
	case Finish, Halt, Ready:
		if r.Subject != "" || span != "" {
			return r, refuse(CodeMalformed, "%s takes no subject and no time", r.Verb)
		}
	case Acknowledge, Automatic:
		if span != "" {
			return r, refuse(CodeMalformed, "%s takes no time", r.Verb)
		}
	case Hold:
		return withSpan(r, span, holdDefault, holdLongest)
	case CallAir:
		return withSpan(r, span, airDefault, airLongest)
	default:
		return r, refuse(CodeUnknown, "no such request; there are finish, halt, acknowledge, hold, automatic, ready and air")
	}
	return r, nil
}

func withSpan(r Request, span string, usual, longest time.Duration) (Request, *Refusal) {
	r.For = usual
	if span == "" {
		return r, nil
	}
	d, err := time.ParseDuration(span)
	if err != nil || d < shortest || d > longest {
		return r, refuse(CodeMalformed, "the time is not one from 1s to %s; write it like 10m or 90s", longest)
	}
	r.For = d
	return r, nil
}

// Event is the request as the core takes it, without time and number, which the loop gives. Everything it
// names exists in the shop.
func (s Shop) Event(r Request) (controller.Event, *Refusal) {
	e := controller.Event{By: controller.FromNetwork}
	switch r.Verb {
	case Finish:
		e.Kind = controller.FinishPressed
	case Halt:
		e.Kind = controller.HaltPressed
	case Ready:
		e.Kind = controller.ReadyPressed
	case Acknowledge:
		e.Kind, e.N = controller.Acknowledged, controller.Everything
		if r.Subject != "" {
			name, _, _ := strings.Cut(r.Subject, "/")
			i := slices.IndexFunc(controller.Conditions(), func(c controller.Condition) bool { return c.String() == name })
			if i < 0 {
				return e, refuse(CodeUnknown, "no alarm has the key %q", clip(r.Subject))
			}
			e.N = uint8(controller.Conditions()[i])
		}
	case Hold, Automatic:
		return s.selectEvent(e, r)
	case CallAir:
		n := s.machine(r.Subject)
		if n < 0 {
			return e, refuse(CodeUnknown, "no machine has the id %q", clip(r.Subject))
		}
		e.Kind, e.N, e.V = controller.CallAir, uint8(n), int32(r.For/time.Millisecond)
	}
	return e, nil
}

func (s Shop) selectEvent(e controller.Event, r Request) (controller.Event, *Refusal) {
	if id, ok := strings.CutPrefix(r.Subject, "collector/"); ok && r.Verb == Automatic {
		n := s.collector(id)
		if n < 0 {
			return e, refuse(CodeUnknown, "no collector has the id %q", clip(id))
		}
		e.Kind, e.N, e.V = controller.SelectCollector, uint8(n), int32(gates.Automatic)
		return e, nil
	}
	n := s.gate(r.Subject)
	if n < 0 {
		return e, refuse(CodeUnknown, "no gate has the id %q", clip(r.Subject))
	}
	if s.Gates[n].Hand {
		return e, refuse(CodeByHand, "the gate %q is moved by hand", r.Subject)
	}
	e.N = uint8(n)
	if r.Verb == Hold {
		e.Kind, e.V = controller.HoldGate, int32(r.For/time.Millisecond)
	} else {
		e.Kind, e.V = controller.SelectGate, int32(gates.Automatic)
	}
	return e, nil
}

// clip keeps what a stranger wrote short in our sentences.
func clip(s string) string {
	if len(s) > 40 {
		return strings.ToValidUTF8(s[:40], "") + "…"
	}
	return s
}
