package remote

import (
	"encoding/json"
)

// report is what a node says.
type report struct {
	V    int    `json:"v"`
	Boot string `json:"boot"`
	Ack  *struct {
		Epoch string `json:"epoch"`
		Seq   uint64 `json:"seq"`
	} `json:"ack"`
	Position string `json:"position"`
	Source   string `json:"source"`
	Moving   bool   `json:"moving"`
	Fault    string `json:"fault"`
}

type target struct {
	V        int    `json:"v"`
	Epoch    string `json:"epoch"`
	Seq      uint64 `json:"seq"`
	Position string `json:"position"`
	LeaseMS  int64  `json:"lease_ms"`
}

// mailbox is what the broker's goroutine lays down for the lane's: the newest of each kind, however many come.
type mailbox struct {
	heard   bool // something that was not retained
	offline bool
	report  []byte
	beat    []byte
}

// receive runs on the broker's goroutine and only lays the message down.
func (g *Gate) receive(topic string, payload []byte, retained bool) {
	if len(topic) <= len(g.set.Base) || len(payload) > maxPayload {
		return
	}
	g.mu.Lock()
	switch topic[len(g.set.Base)+1:] {
	case "availability":
		if string(payload) == "offline" {
			g.box.offline, g.box.heard = true, false
		} else if !retained {
			g.box.offline = false
			g.box.heard = true
		}
	case "report":
		if !retained { // a retained report is from nobody knows when
			g.box.report, g.box.heard, g.box.offline = payload, true, false
		}
	case "heartbeat":
		if !retained {
			g.box.beat, g.box.heard, g.box.offline = payload, true, false
		}
	default:
		g.mu.Unlock()
		return
	}
	g.mu.Unlock()
	if g.wake != nil {
		g.wake()
	}
}

const maxPayload = 4 << 10

// watch judges the silence.
func (g *Gate) watch() {
	switch {
	case g.link == Linked && g.silence > suspectAfter:
		g.link = Suspect
	case (g.link == Suspect || g.link == Shaking) && g.silence > lostAfter:
		g.leave()
	}
}

// leave forgets what the node said: the position is not known any more.
func (g *Gate) leave() {
	g.link, g.last, g.awaits, g.missed = Gone, report{}, false, 0
}

// takeIn reads what the broker's goroutine has laid down.
func (g *Gate) takeIn() {
	box := g.box
	g.box = mailbox{}
	if box.offline {
		if g.link != Absent {
			g.leave()
		}
		return
	}
	if !box.heard {
		return
	}
	g.silence = 0
	if g.link == Suspect {
		g.link = Linked
	}
	var r report
	for _, payload := range [][]byte{box.beat, box.report} {
		if payload == nil {
			continue
		}
		r = report{}
		if err := json.Unmarshal(payload, &r); err != nil || r.Boot == "" {
			g.ignored++
			continue
		}
		if r.Boot != g.boot {
			if g.boot != "" {
				g.resets++
			}
			g.boot, g.link, g.last = r.Boot, Shaking, report{}
			g.due = true
		}
	}
	if g.link == Absent || g.link == Gone {
		g.link, g.due = Shaking, true
	}
	if box.report == nil || r.Boot != g.boot || r.V != 1 {
		return
	}
	g.answered(r)
}

// answered takes a report that was made in this boot of the node.
func (g *Gate) answered(r report) {
	mine := r.Ack != nil && r.Ack.Epoch == g.set.Epoch && g.seq > 0 && r.Ack.Seq == g.seq
	if mine && g.awaits {
		g.awaits, g.missed, g.unheard = false, 0, 0
		if g.link == Shaking {
			g.link = Linked
			g.due = g.wanted != "rest" // the hand was shaken with rest; a push that waits goes out now
		}
	}
	if g.ready() && r.Ack != nil && r.Ack.Epoch == g.set.Epoch {
		g.last = r
	}
}

// exchange sends what must be sent.
func (g *Gate) exchange() {
	if g.link == Absent || g.link == Gone {
		return
	}
	if g.awaits && g.waited > g.set.Answer {
		g.missed++
		switch pushing := g.wanted != "rest"; {
		case g.missed >= tries && (pushing || g.link == Shaking), g.unheard > lostAfter:
			g.leave() // it may beat, and does not answer: until it is heard again it counts as lost
			return
		case g.missed >= tries:
			g.link = Suspect // nothing is asked of it but to stay: a slow network may have its time
		}
		g.due = true
	}
	if g.due || g.sendFail != nil || g.waited >= g.set.Lease*3/10 {
		g.send()
	}
}

// send sends a target: rest while hands are shaken, what is wanted afterwards.
func (g *Gate) send() {
	position := g.wanted
	if !g.ready() {
		position = "rest"
	}
	g.seq++
	b, err := json.Marshal(target{1, g.set.Epoch, g.seq, position, g.set.Lease.Milliseconds()})
	if err == nil {
		err = g.b.Send(g.set.Base+"/target", b)
	}
	g.sendFail = err
	g.waited, g.awaits = 0, err == nil
	g.due = err != nil
}
