package publish

import (
	"cmp"
	"fmt"
	"strings"
)

// Version is the major version of the topics and of what lies on them; it is part of every topic, so that a
// consumer written for one version never reads another's. Minor additions are new keys, which consumers skip.
const Version = "1"

// Program is the first level of every topic of ours unless the shop file gives another.
const Program = "ductwarden"

// Topics names the topics of one site. A site is one shop's part of the broker: two shops on one broker have
// two sites. Ids are those of the shop file (a-z, 0-9, -); no text that a person may change is in a topic.
type Topics struct {
	Prefix string // first levels; "" is Program
	Site   string
}

// CheckID refuses what may not stand in a topic: anything but a-z, 0-9 and -, or nothing at all. The charset
// is valid in topics, in the hub's ids and in a shell.
func CheckID(id string) error {
	if id == "" {
		return fmt.Errorf("an id is empty; write a-z, 0-9 and -")
	}
	for _, r := range id {
		if (r < 'a' || r > 'z') && (r < '0' || r > '9') && r != '-' {
			return fmt.Errorf("id %q has %q in it; write a-z, 0-9 and -", id, r)
		}
	}
	return nil
}

// Base is the tree of the site, without a slash at the end.
func (t Topics) Base() string {
	return cmp.Or(t.Prefix, Program) + "/" + Version + "/" + t.Site
}

func (t Topics) under(parts ...string) string {
	return t.Base() + "/" + strings.Join(parts, "/")
}

// Availability holds online or offline, retained; offline is also the will.
func (t Topics) Availability() string { return t.under("availability") }

// Info holds the program's version, boot id and session, retained.
func (t Topics) Info() string { return t.under("info") }

// State is one thing's flat document, retained: State("machine", "planer").
func (t Topics) State(kind, id string) string {
	if id == "" {
		return t.under("state", kind)
	}
	return t.under("state", kind, id)
}

// Event carries what happened; not retained.
func (t Topics) Event() string { return t.under("event") }

// Alarm is one standing alarm, retained and cleared when it is gone. The key may have one slash in it.
func (t Topics) Alarm(key string) string { return t.under("alarm", key) }

// Request is where others ask: Request() with a JSON document, Request("gate", "planer") with a plain word.
func (t Topics) Request(parts ...string) string {
	return t.under(append([]string{"request"}, parts...)...)
}

// Answer carries what became of a request; not retained.
func (t Topics) Answer() string { return t.under("answer") }

// Echo is where the program talks to itself, to find access rules that drop messages without a word.
func (t Topics) Echo() string { return t.under("echo") }

// Node is one topic of a remote part: Node("annex", "target").
func (t Topics) Node(node, leaf string) string { return t.under("node", node, leaf) }

// The words on the availability topic.
const (
	Online  = "online"
	Offline = "offline"
)
