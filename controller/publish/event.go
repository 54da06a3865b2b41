package publish

import (
	"encoding/json"

	"ductwarden/controller"
)

// Event is one thing that happened, as it goes to the event topic. Kinds and their To are those of the
// program's own reports: mode, machine, gate, collector, alarm.
type Event struct {
	V         int    `json:"v"`
	Seq       uint64 `json:"seq"`
	TS        string `json:"ts"`
	MonoMS    int64  `json:"mono_ms"`
	EventType string `json:"event_type"` // kind and to in one word, for the hub: machine_running
	Kind      string `json:"kind"`
	Name      string `json:"name"` // id of the machine, gate or collector; the alarm's key; nothing for the mode
	To        string `json:"to"`
	Proved    *bool  `json:"proved"` // of a gate; else null
	Text      string `json:"text"`   // of an alarm; else nothing
}

// eventTypes are all words that an event's type can be; a hub refuses others.
func eventTypes() []string {
	var all []string
	for _, k := range []struct {
		kind string
		to   []string
	}{
		{"mode", []string{"standing_by", "on_duty", "halted"}},
		{"machine", []string{"unknown", "idle", "running", "running_down"}},
		{"gate", []string{"opening", "open", "closing", "closed", "failed", "unknown"}},
		{"collector", []string{"off", "starting", "running", "clearing", "lingering", "coasting", "start_failed", "will_not_stop", "by_hand"}},
		{"alarm", []string{"raised", "gone"}},
	} {
		for _, to := range k.to {
			all = append(all, k.kind+"_"+to)
		}
	}
	return all
}

// happened lists what lies between two snapshots, in the order mode, machine, gate, collector, alarm.
func happened(was, now *controller.Snapshot) []Event {
	if was == nil {
		return nil
	}
	var out []Event
	add := func(kind, name, to string) *Event {
		out = append(out, Event{Kind: kind, Name: name, To: to, EventType: kind + "_" + to})
		return &out[len(out)-1]
	}
	if was.Mode != now.Mode {
		add("mode", "", now.Mode)
	}
	for i, m := range now.Machines {
		if i < len(was.Machines) && was.Machines[i].ID == m.ID && was.Machines[i].State != m.State {
			add("machine", m.ID, m.State)
		}
	}
	for i, g := range now.Gates {
		if i < len(was.Gates) && was.Gates[i].ID == g.ID && was.Gates[i].State != g.State {
			proved := g.Proved
			add("gate", g.ID, g.State).Proved = &proved
		}
	}
	for i, c := range now.Collectors {
		if i < len(was.Collectors) && was.Collectors[i].ID == c.ID && was.Collectors[i].Phase != c.Phase {
			add("collector", c.ID, c.Phase)
		}
	}
	for _, a := range now.Alarms {
		before := find(was.Alarms, func(b controller.AlarmSnapshot) bool { return b.Key == a.Key })
		if a.Active && (before < 0 || !was.Alarms[before].Active) {
			add("alarm", a.Key, "raised").Text = brief(a.Text)
		}
	}
	for _, b := range was.Alarms {
		after := find(now.Alarms, func(a controller.AlarmSnapshot) bool { return a.Key == b.Key })
		if b.Active && (after < 0 || !now.Alarms[after].Active) {
			add("alarm", b.Key, "gone").Text = brief(b.Text)
		}
	}
	return out
}

func (e Event) message(t Topics) Message {
	b, err := json.Marshal(e)
	if err != nil { // strings and numbers cannot fail
		return Message{}
	}
	return Message{Topic: t.Event(), Payload: b, QoS: 1}
}
