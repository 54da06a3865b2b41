package api

import (
	"context"

	"ductwarden/controller"
)

// Live is where the shop is seen.
type Live interface {
	// Snapshot is the latest state; nil before the first scan.
	Snapshot() *controller.Snapshot
	// Watch delivers the latest state after each change until ctx ends. A slow reader misses states in
	// between; it is never waited for.
	Watch(ctx context.Context) <-chan *controller.Snapshot
}

// Request is what a person asks for.
type Request struct {
	Action string `json:"action"`           // one of Actions
	Target string `json:"target,omitempty"` // id of a gate, machine or collector; key of an alarm
	Value  string `json:"value,omitempty"`  // automatic, held_open, off; a time such as 10m; a time and a reason; a note
	Key    string `json:"key,omitempty"`    // the same key within a minute is answered, not done again
	Role   string `json:"role,omitempty"`   // of the person, for the journal; set by the server
}

// Answer is what became of it.
type Answer struct {
	Accepted bool   `json:"accepted"`
	Reason   string `json:"reason,omitempty"` // why not, one sentence
}

// Desk takes requests under the same conditions as a button on the wall.
type Desk interface {
	Ask(ctx context.Context, r Request) Answer
}

// Event is one line of what happened lately and what it caused.
type Event struct {
	AtMS int64    `json:"at_ms"` // monotonic, since the program started
	What string   `json:"what"`
	Then []string `json:"then"`
}

// Recent gives the latest events, newest first.
type Recent interface {
	Recent(n int) []Event
}

// Witness writes down what a person did beside requests, which their desk writes down itself.
type Witness interface {
	// Done tells what was done, in a few words, by somebody in a role.
	Done(what, role string)
}
