package remote

import "fmt"

// State reads messages that say yes or no: whether a sender is there, what a socket has done.
type State struct {
	at      path
	yes, no string
}

// NewState makes a reader; pointer is a JSON pointer (RFC 6901), empty where the whole message is the word.
func NewState(pointer, yes, no string) (State, error) {
	p, err := parsePath(pointer)
	return State{p, yes, no}, err
}

// Read tells what a message says. A message that says neither is an error.
func (s State) Read(payload []byte) (yes bool, err error) {
	word, err := s.at.text(payload)
	if err == nil && (word == s.yes || word == s.no) {
		return word == s.yes, nil
	}
	return false, fmt.Errorf("%q is neither %q nor %q", short(payload), s.yes, s.no)
}
