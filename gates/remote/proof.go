package remote

import (
	"ductwarden/gates"
)

// Proof is what the node has measured of its gate's position. A position that it assumes from the time it
// drove proves nothing, and without a link nothing is known.
func (g *Gate) Proof() gates.Proof {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.proof()
}

func (g *Gate) proof() gates.Proof {
	if !g.ready() || g.last.Source != "measured" {
		return gates.SeenNeither
	}
	switch g.last.Position {
	case "open":
		return gates.SeenOpen
	case "closed":
		return gates.SeenClosed
	}
	return gates.SeenNeither
}

// Read gives the proof as two input lines: bit 0 the open end, bit 1 the closed end. It fails while there is
// no link, as lines that cannot be read do.
func (g *Gate) Read() (levels uint64, err error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if !g.ready() {
		return 0, g.lost()
	}
	switch g.proof() {
	case gates.SeenOpen:
		return 1, nil
	case gates.SeenClosed:
		return 2, nil
	}
	return 0, nil
}

// State is what is known of the node.
type State struct {
	Link    Link
	Resets  int    // how often it was found to have started anew: it knows no position then
	Fault   string // what it says is wrong with it, "" for nothing; lease_expired when it was left alone
	Moving  bool
	Assumed bool // it has no feedback: its position is from the time it drove
	Ignored int  // messages that could not be read
}

// State may be asked on any goroutine.
func (g *Gate) State() State {
	g.mu.Lock()
	defer g.mu.Unlock()
	return State{g.link, g.resets, g.last.Fault, g.last.Moving, g.last.Source == "assumed", g.ignored}
}

// Silent reports whether the node cannot be driven.
func (s State) Silent() bool { return s.Link != Linked && s.Link != Suspect }
