package publish

import "encoding/json"

// Answer is what became of a request.
type Answer struct {
	V        int    `json:"v"`
	ID       string `json:"id"` // the asker's
	Request  string `json:"request"`
	Subject  string `json:"subject"`
	Accepted bool   `json:"accepted"`
	Code     Code   `json:"code"` // "" when accepted
	Text     string `json:"text"` // one sentence when refused
	TS       string `json:"ts"`
	MonoMS   int64  `json:"mono_ms"`
}

// Answer is the message for a request: accepted when no is nil.
func (s Settings) Answer(r Request, no *Refusal, m Moment) Message {
	a := Answer{V: 1, ID: r.ID, Request: clip(string(r.Verb)), Subject: clip(r.Subject), Accepted: no == nil, TS: m.stamp(), MonoMS: m.MonoMS}
	if no != nil {
		a.Code, a.Text = no.Code, no.Text
	}
	b, err := json.Marshal(a)
	if err != nil { // strings and numbers cannot fail
		return Message{}
	}
	return Message{Topic: s.Topics().Answer(), Payload: b, QoS: 1}
}
