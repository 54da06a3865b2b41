package publish

import (
	"maps"
	"slices"
	"strings"

	"ductwarden/controller"
)

// Outlet remembers what has been told and gives only what is new: a document when a fact of it differs, a
// wavering figure when it has moved by its step and a second has passed. It holds one set of values a topic,
// so it does not grow with time. It is not for concurrent use.
type Outlet struct {
	settings Settings
	shop     Shop
	totals   Totals
	told     map[string]told
	was      *controller.Snapshot
	seq      uint64
	synced   bool
}

// told is what a topic was last given.
type told struct {
	values []any
	atMS   int64
}

// NewOutlet starts with nothing told. seed is where the totals begin (nil: at zero); it is not kept.
func NewOutlet(s Settings, shop Shop, seed *Totals) *Outlet {
	o := &Outlet{settings: s, shop: shop, told: map[string]told{}}
	if seed != nil {
		o.totals = *seed.Clone()
	}
	o.totals.ready()
	return o
}

// Take counts what lies between the last snapshot and this one, and gives the retained documents that are new
// and the events that happened. Snapshots must come in the order of their time.
func (o *Outlet) Take(snap *controller.Snapshot, m Moment) (state, events []Message) {
	o.totals.Count(o.was, snap)
	for _, e := range happened(o.was, snap) {
		o.seq++
		e.V, e.Seq, e.TS, e.MonoMS = 1, o.seq, m.stamp(), snap.AtMS
		events = append(events, e.message(o.settings.Topics()))
	}
	o.was = snap
	return o.Again(m), events
}

// Again gives what is new about the last snapshot now that time has passed: figures that had to wait, hours.
func (o *Outlet) Again(m Moment) []Message {
	if o.was == nil {
		return nil
	}
	if m.Synced != o.synced { // every wall time told so far was wrong
		o.synced = m.Synced
		clear(o.told)
	}
	t := o.settings.Topics()
	var out []Message
	for _, th := range things(o.settings, o.shop, o.was, &o.totals) {
		out = append(out, o.thing(t.State(th.kind, th.id), th.fields, m, o.settings.Plain)...)
	}
	return append(out, o.alarms(t, m)...)
}

func (o *Outlet) alarms(t Topics, m Moment) []Message {
	var out []Message
	standing := map[string]bool{}
	for _, a := range o.was.Alarms {
		topic := t.Alarm(a.Key)
		standing[topic] = true
		out = append(out, o.thing(topic, []field{
			fact("key", a.Key), fact("text", a.Text), fact("to_do", a.ToDo), fact("priority", a.Priority),
			fact("acknowledged", a.Acknowledged), fact("active", a.Active), {key: "since", value: ending(a.SinceMS)},
		}, m, false)...)
	}
	for _, topic := range slices.Sorted(maps.Keys(o.told)) {
		if strings.HasPrefix(topic, t.Alarm("")) && !standing[topic] {
			delete(o.told, topic)
			out = append(out, Message{Topic: topic, Retained: true, QoS: 1})
		}
	}
	return out
}

// thing gives one document and its plain topics if there is something new in it.
func (o *Outlet) thing(topic string, fields []field, m Moment, plain bool) []Message {
	before, known := o.told[topic]
	what, pause := same, int64(0)
	differ := make([]news, len(fields))
	for i := range fields {
		if !known || i >= len(before.values) {
			differ[i] = changed
		} else if differ[i] = fields[i].differs(before.values[i]); differ[i] == same {
			if _, is := fields[i].value.(ending); is {
				fields[i].value = before.values[i] // an end that wavers by less than a second has not moved
			}
		}
		what = max(what, differ[i])
		if differ[i] == moved {
			pause = max(pause, fields[i].pause)
		}
	}
	if what == same || what == moved && m.MonoMS-before.atMS < pause {
		return nil
	}
	o.seq++
	out := []Message{{Topic: topic, Payload: document(fields, o.seq, m), Retained: true, QoS: 1}}
	next := told{values: make([]any, len(fields)), atMS: m.MonoMS}
	for i, f := range fields {
		next.values[i] = f.value
		if differ[i] == same && f.step > 0 {
			next.values[i] = before.values[i] // small steps add up: the measure is what was last told as moved
		}
		if plain && differ[i] != same {
			out = append(out, Message{Topic: topic + "/" + f.key, Payload: []byte(f.plain(m)), Retained: true, QoS: 1})
		}
	}
	o.told[topic] = next
	return out
}

// Totals is a copy of the running totals.
func (o *Outlet) Totals() *Totals { return o.totals.Clone() }

// Standing are the topics of the alarms that are told as standing.
func (o *Outlet) Standing() []string {
	var out []string
	for topic := range o.told {
		if strings.HasPrefix(topic, o.settings.Topics().Alarm("")) {
			out = append(out, topic)
		}
	}
	slices.Sort(out)
	return out
}
