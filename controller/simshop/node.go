package simshop

import (
	"encoding/json"
	"fmt"
	"time"
)

// node is a small board on the network that moves one gate, as the package gates/remote says that a node behaves:
// it obeys a target for the length of its lease, drops old ones, and reports what its switches show.
type node struct {
	shop   *Shop
	net    *Network
	base   string
	gate   *gate
	handle func(topic string, payload []byte, retained bool)
	silent bool

	boot  int
	epoch string
	seq   uint64
	acked bool
	push  int
	lease time.Duration
	fault string
	said  string
}

// beatEvery is a node's sign of life; lookEvery is how often it looks at its switches.
const (
	beatEvery = 2 * time.Second
	lookEvery = 20 * time.Millisecond
)

// beat says that the node lives, and again.
func (d *node) beat() {
	d.say("heartbeat", fmt.Sprintf(`{"boot":"b%d"}`, d.boot))
	d.report(true)
	d.shop.At(d.shop.now+beatEvery, d.beat)
}

func (d *node) say(leaf, payload string) {
	if d.silent || d.net.Down {
		return
	}
	d.shop.At(d.shop.now+onTheWay, func() { d.handle(d.base+"/"+leaf, []byte(payload), false) })
}

// obey takes a target.
func (d *node) obey(payload string) {
	var t struct {
		Epoch    string `json:"epoch"`
		Seq      uint64 `json:"seq"`
		Position string `json:"position"`
		LeaseMS  int64  `json:"lease_ms"`
	}
	if json.Unmarshal([]byte(payload), &t) != nil || d.epoch == t.Epoch && t.Seq <= d.seq {
		return
	}
	d.epoch, d.seq, d.acked, d.fault = t.Epoch, t.Seq, true, ""
	d.lease = d.shop.now + time.Duration(t.LeaseMS)*time.Millisecond
	d.push = map[string]int{"open": 1, "closed": -1}[t.Position]
	d.gate.remote = d.push
	d.report(true)
	if d.push != 0 {
		d.shop.At(d.shop.now+lookEvery, d.look)
	}
}

// look follows a stroke to its end, or to the end of the lease.
func (d *node) look() {
	if d.push == 0 {
		return
	}
	switch {
	case d.shop.now > d.lease:
		d.push, d.fault = 0, "lease_expired"
	case d.push > 0 && d.gate.isOpen() || d.push < 0 && d.gate.isClosed():
		d.push = 0
	}
	d.gate.remote = d.push
	d.report(false)
	if d.push != 0 {
		d.shop.At(d.shop.now+lookEvery, d.look)
	}
}

// report says where the gate is; unless asked for, only when it is news.
func (d *node) report(always bool) {
	position := "between"
	switch {
	case d.gate.isOpen():
		position = "open"
	case d.gate.isClosed():
		position = "closed"
	}
	ack := "null"
	if d.acked {
		ack = fmt.Sprintf(`{"epoch":%q,"seq":%d}`, d.epoch, d.seq)
	}
	body := fmt.Sprintf(`"position":%q,"source":"measured","moving":%v,"fault":%q`, position, d.push != 0, d.fault)
	if !always && body == d.said {
		return
	}
	d.said = body
	d.say("report", fmt.Sprintf(`{"v":1,"boot":"b%d","ack":%s,%s}`, d.boot, ack, body))
}

// restart is what a cut of its power does.
func (d *node) restart() {
	d.boot++
	d.epoch, d.seq, d.acked, d.push, d.fault, d.said = "", 0, false, 0, "", ""
	d.gate.remote = 0
}
