package publish

import "strings"

// entity is one thing that the hub shows, in the words of its discovery protocol. The key is made from ids
// that never change, so that renaming a machine renames its entities and does not double them.
type entity struct {
	key      string
	platform string
	options  map[string]any
}

// entities are all that the hub is told of, in the order of the shop file.
func entities(s Settings, shop Shop) []entity {
	b := builder{s: s, t: s.Topics()}
	b.shop()
	for _, m := range shop.Machines {
		b.machine(m)
	}
	for _, g := range shop.Gates {
		b.gate(g)
	}
	for _, c := range shop.Collectors {
		b.collector(c)
	}
	for _, d := range shop.Ducts {
		b.duct(d)
	}
	return b.out
}

type builder struct {
	s   Settings
	t   Topics
	out []entity
}

type options = map[string]any

// add names an entity and gives it its ids. kind and id say whose it is, what says which of its figures.
func (b *builder) add(platform, kind, id, what, name string, o options) {
	key := strings.Trim(strings.ReplaceAll(kind+"_"+id+"_"+what, "__", "_"), "_")
	o["name"] = name
	o["unique_id"] = b.s.device() + "-" + strings.ReplaceAll(key, "_", "-")
	o["default_entity_id"] = platform + "." + strings.ReplaceAll(b.s.Site+"_"+key, "-", "_")
	b.out = append(b.out, entity{key: key, platform: platform, options: o})
}

// value lets an entity show one key of a document. Every template has this one form.
func value(topic, key string, o options) options {
	o["state_topic"], o["value_template"] = topic, "{{ value_json."+key+" }}"
	return o
}

func (b *builder) sensor(kind, id, what, key, name string, o options) {
	b.add("sensor", kind, id, what, name, value(b.t.State(kind, id), key, o))
}

// binary shows true and false as on and off; null is unknown. The hub writes them as Python does.
func (b *builder) binary(kind, id, what, key, name string, o options) {
	o["payload_on"], o["payload_off"] = "True", "False"
	b.add("binary_sensor", kind, id, what, name, value(b.t.State(kind, id), key, o))
}

func (b *builder) button(kind, id, what, name string, o options, request ...string) {
	o["command_topic"], o["payload_press"], o["qos"] = b.t.Request(request...), "press", 1
	b.add("button", kind, id, what, name, o)
}

func enum(words ...string) options { return options{"device_class": "enum", "options": words} }

// diagnostic puts an entity where the hub keeps what is not looked at every day.
func diagnostic(o options) options {
	o["entity_category"] = "diagnostic"
	return o
}

func counter() options { return options{"state_class": "total_increasing"} }

func duration() options {
	return options{"device_class": "duration", "unit_of_measurement": "h", "state_class": "total_increasing"}
}

func measured(class, unit string) options {
	o := options{"unit_of_measurement": unit, "state_class": "measurement"}
	if class != "" {
		o["device_class"] = class
	}
	return o
}

func problem() options { return options{"device_class": "problem"} }

func (b *builder) shop() {
	b.sensor("shop", "", "mode", "mode", "mode", enum("standing_by", "on_duty", "halted"))
	b.sensor("shop", "", "why", "why", "why", options{})
	b.binary("shop", "", "alarm", "alarm", "alarm", problem())
	b.sensor("shop", "", "alarms", "alarms", "alarms", options{"state_class": "measurement"})
	b.sensor("shop", "", "alarm_text", "alarm_text", "alarm text", options{})
	b.add("event", "shop", "", "event", "event", options{"state_topic": b.t.Event(), "event_types": eventTypes()})
	if b.s.Commands >= CommandsStop {
		b.button("shop", "", "finish", "finish", options{}, "finish")
		b.button("shop", "", "halt", "halt", options{}, "halt")
	}
	if b.s.Commands >= CommandsRequests {
		b.button("shop", "", "acknowledge", "acknowledge all", options{}, "acknowledge")
	}
	if b.s.Commands >= CommandsStart {
		b.button("shop", "", "ready", "ready", options{}, "ready")
	}
}

func (b *builder) machine(m Machine) {
	b.binary("machine", m.ID, "running", "running", m.Name, options{"device_class": "running"})
	b.sensor("machine", m.ID, "state", "state", m.Name+" state", enum("unknown", "idle", "running", "running_down"))
	b.binary("machine", m.ID, "air_ready", "air_ready", m.Name+" has its air", options{})
	b.binary("machine", m.ID, "unserved", "unserved", m.Name+" without air", problem())
	if m.Current {
		b.sensor("machine", m.ID, "current", "current_a", m.Name+" current", measured("current", "A"))
	}
	if m.Share {
		b.sensor("machine", m.ID, "share", "share_percent", m.Name+" share of air", measured("", "%"))
	}
	b.sensor("machine", m.ID, "hours", "run_h", m.Name+" hours", duration())
	b.sensor("machine", m.ID, "starts", "starts", m.Name+" starts", counter())
	b.sensor("machine", m.ID, "health", "health", m.Name+" sensor", diagnostic(options{}))
	if b.s.Commands >= CommandsStart {
		b.button("machine", m.ID, "air", m.Name+" call the air", options{}, "air", m.ID)
	}
}

func (b *builder) gate(g Gate) {
	o := value(b.t.State("gate", g.ID), "damper", options{
		"device_class": "damper", "state_open": "open", "state_opening": "opening", "state_closed": "closed", "state_closing": "closing",
	})
	if b.s.Commands >= CommandsRequests && !g.Hand {
		// Opening by the hub is holding open for a while; its other direction gives the gate back to the automatic.
		o["command_topic"], o["payload_open"], o["payload_close"], o["payload_stop"] = b.t.Request("gate", g.ID), "hold", "automatic", nil
		o["qos"] = 1
	}
	b.add("cover", "gate", g.ID, "damper", g.Name+" gate", o)
	b.binary("gate", g.ID, "failed", "failed", g.Name+" gate failed", diagnostic(problem()))
	b.sensor("gate", g.ID, "selector", "selector", g.Name+" gate selector", diagnostic(enum("automatic", "held_open", "off")))
	b.sensor("gate", g.ID, "moves", "moves", g.Name+" gate moves", diagnostic(counter()))
}

func (b *builder) collector(c Collector) {
	b.sensor("collector", c.ID, "phase", "phase", c.Name+" phase",
		enum("off", "starting", "running", "clearing", "lingering", "coasting", "start_failed", "will_not_stop", "by_hand"))
	b.binary("collector", c.ID, "running", "running", c.Name, options{"device_class": "running"})
	b.sensor("collector", c.ID, "why", "why", c.Name+" why", options{})
	b.sensor("collector", c.ID, "starts_left", "starts_left", c.Name+" starts left", options{"state_class": "measurement"})
	b.sensor("collector", c.ID, "rest_until", "rest_until", c.Name+" rests until", options{"device_class": "timestamp"})
	b.sensor("collector", c.ID, "hours", "run_h", c.Name+" hours", duration())
	b.sensor("collector", c.ID, "starts", "starts", c.Name+" starts", counter())
	if c.Judged {
		b.sensor("air", c.ID, "transport", "transport", c.Name+" transport", enum("carries", "creeps", "settles", "not_judged"))
		b.sensor("air", c.ID, "margin", "margin_percent", c.Name+" margin", measured("", "%"))
		b.sensor("air", c.ID, "flow", "flow_m3_h", c.Name+" air flow", measured("volume_flow_rate", "m³/h"))
		b.sensor("air", c.ID, "weakest", "weakest_duct", c.Name+" weakest duct", options{})
	}
	if c.Suction {
		b.sensor("air", c.ID, "suction", "suction_pa", c.Name+" suction", measured("pressure", "Pa"))
	}
}

func (b *builder) duct(d Duct) {
	b.sensor("duct", d.ID, "speed", "velocity_m_s", d.Name+" air speed", measured("speed", "m/s"))
	b.sensor("duct", d.ID, "verdict", "verdict", d.Name+" verdict", diagnostic(enum("carries", "creeps", "settles", "not_judged")))
}
