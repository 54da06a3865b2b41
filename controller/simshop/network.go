package simshop

import (
	"encoding/json"
	"strconv"
	"strings"
	"time"

	"ductwarden/config"
)

const (
	onTheWay  = 20 * time.Millisecond // a message through the broker, one way
	meterSays = 2 * time.Second       // between two readings of a metering socket; real ones take 1 s to 60 s
)

// Network is the broker of the shop with everything that speaks through it: nodes that move gates, sockets that
// switch motors, meters that read them. It satisfies what remote parts ask of a broker.
type Network struct {
	shop    *Shop
	nodes   map[string]*node // by base topic
	Down    bool             // nothing gets through
	sent    int
	watched map[string]func(topic string, payload []byte, retained bool)
}

// Network gives the shop's broker; asking twice gives the same one.
func (s *Shop) Network() *Network {
	if s.network == nil {
		s.network = &Network{shop: s, nodes: map[string]*node{}, watched: map[string]func(string, []byte, bool){}}
	}
	return s.network
}

// Watch subscribes. A filter of a node's base topic wakes that node.
func (n *Network) Watch(filter string, handle func(topic string, payload []byte, retained bool)) {
	base, isNode := strings.CutSuffix(filter, "/+")
	if !isNode {
		n.watched[filter] = handle
		n.readMeters(filter)
		return
	}
	for i := range n.shop.gates {
		r := n.shop.gates[i].file.Actuator.Remote
		if r != nil && strings.HasSuffix(base, "/"+r.Node) {
			d := &node{shop: n.shop, net: n, base: base, gate: &n.shop.gates[i], handle: handle, boot: 1}
			n.nodes[base] = d
			n.shop.At(n.shop.now+onTheWay, d.beat)
		}
	}
}

// Send takes a message to whom it concerns.
func (n *Network) Send(topic string, payload []byte) error {
	n.sent++
	if n.Down {
		return errDown
	}
	text := string(payload)
	n.shop.At(n.shop.clock()+onTheWay, func() {
		if base, isTarget := strings.CutSuffix(topic, "/target"); isTarget {
			if d := n.nodes[base]; d != nil && !d.silent {
				d.obey(text)
			}
			return
		}
		for i := range n.shop.fans {
			st := n.shop.fans[i].file.Starter
			if st != nil && st.Remote != nil && st.Remote.Topic == topic {
				n.switchSocket(i, text)
			}
		}
	})
	return nil
}

// switchSocket lets a socket obey a request, say what it did, and switch itself off when its lease is over.
func (n *Network) switchSocket(fan int, text string) {
	f := &n.shop.fans[fan]
	r := f.file.Starter.Remote
	f.socket = text == r.On
	f.requests++
	n.answer(r, f.socket)
	if r.Lease == 0 || !f.socket {
		return
	}
	asked := f.requests
	n.shop.At(n.shop.now+r.Lease, func() {
		if f.requests == asked {
			f.socket = false
			n.answer(r, false)
		}
	})
}

func (n *Network) answer(r *config.RemoteSocket, on bool) {
	if r.State == nil || n.watched[r.State.Topic] == nil || n.Down {
		return
	}
	word := r.State.No
	if on {
		word = r.State.Yes
	}
	payload := []byte(word)
	if r.State.Pointer != "" {
		payload = pointed(r.State.Pointer, word)
	}
	n.watched[r.State.Topic](r.State.Topic, payload, false)
}

type networkError string

func (e networkError) Error() string { return string(e) }

const errDown = networkError("no connection to the broker")

// SilenceNode takes the node of a gate off the network; false brings it back, as after a cut of its power.
func (s *Shop) SilenceNode(gate int, silent bool) {
	for _, d := range s.Network().nodes {
		if d.gate == &s.gates[gate] {
			if d.silent && !silent {
				d.restart()
			}
			d.silent = silent
		}
	}
}

// readMeters publishes the readings that somebody has subscribed to, from now on.
func (n *Network) readMeters(topic string) {
	var again func(r *config.RemoteMeter, rms func(time.Duration) float64)
	again = func(r *config.RemoteMeter, rms func(time.Duration) float64) {
		n.shop.At(n.shop.now+meterSays, func() {
			if !n.Down {
				v := rms(n.shop.now)
				if r.Power {
					v *= 230 * 0.7 // single-phase, a power factor of 0.7
				}
				if r.Factor != 0 {
					v /= r.Factor
				}
				n.watched[topic](topic, pointed(r.Pointer, v), false)
			}
			again(r, rms)
		})
	}
	for i := range n.shop.file.Machines {
		for _, s := range n.shop.file.Machines[i].Sensors {
			if s.Remote != nil && s.Remote.Topic == topic {
				m := &n.shop.motors[i]
				level := s.Remote.Running
				if s.Remote.Power {
					level /= 230 * 0.7
				}
				m.full = level * overRunning / idleShare
				again(s.Remote, m.rms)
			}
		}
	}
	for i := range n.shop.fans {
		if p := n.shop.fans[i].file.Proof; p != nil && p.Remote != nil && p.Remote.Topic == topic {
			f := &n.shop.fans[i]
			again(p.Remote, func(time.Duration) float64 {
				if !f.powered {
					return 0
				}
				return f.motor.full
			})
		}
	}
}

// pointed is a JSON text with a value where a pointer (RFC 6901) looks for it.
func pointed(pointer string, doc any) []byte {
	parts := strings.Split(pointer, "/")
	for i := len(parts) - 1; i >= 1; i-- {
		key := strings.NewReplacer("~1", "/", "~0", "~").Replace(parts[i])
		if place, err := strconv.Atoi(key); err == nil && place >= 0 && place < 16 {
			list := make([]any, place+1)
			list[place] = doc
			doc = list
			continue
		}
		doc = map[string]any{key: doc}
	}
	b, _ := json.Marshal(doc) // numbers, lists and maps of strings cannot fail
	return b
}
