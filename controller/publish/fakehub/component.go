package fakehub

import (
	"maps"
	"regexp"
	"slices"
	"strings"
)

// classes of sensors that this program may use, with their units (none: must have none) and the state classes
// that fit. The hub knows more; a class not listed here is a finding.
var sensorClasses = map[string]struct{ units, states []string }{
	"current":          {[]string{"A", "mA"}, []string{"measurement"}},
	"power":            {[]string{"mW", "W", "kW", "MW", "GW", "TW"}, []string{"measurement"}},
	"energy":           {[]string{"Wh", "kWh", "MWh"}, []string{"total", "total_increasing"}},
	"duration":         {[]string{"d", "h", "min", "s", "ms", "µs"}, []string{"measurement", "total", "total_increasing"}},
	"speed":            {[]string{"m/s", "km/h", "mph", "ft/s", "kn", "in/h", "in/d", "mm/d", "mm/h"}, []string{"measurement"}},
	"volume_flow_rate": {[]string{"m³/h", "m³/s", "L/min", "ft³/min", "gal/min"}, []string{"measurement"}},
	"pressure":         {[]string{"Pa", "hPa", "kPa", "mbar", "cbar", "bar", "psi", "inHg", "mmHg"}, []string{"measurement"}},
	"enum":             {nil, nil},
	"timestamp":        {nil, nil},
}

var binaryClasses = []string{"running", "problem", "connectivity"}
var coverClasses = []string{"awning", "blind", "curtain", "damper", "door", "garage", "gate", "shade", "shutter", "window"}

// keys that the hub reads, by platform; others are left out with a warning.
var commonKeys = []string{"platform", "name", "unique_id", "default_entity_id", "entity_category", "device_class", "qos", "icon", "enabled_by_default",
	"availability", "availability_topic", "availability_mode", "payload_available", "payload_not_available", "json_attributes_topic", "encoding"}
var platformKeys = map[string][]string{
	"sensor":        {"state_topic", "value_template", "unit_of_measurement", "state_class", "options", "expire_after", "suggested_display_precision", "last_reset_value_template"},
	"binary_sensor": {"state_topic", "value_template", "payload_on", "payload_off", "expire_after", "off_delay"},
	"cover": {"state_topic", "value_template", "command_topic", "payload_open", "payload_close", "payload_stop", "state_open", "state_opening", "state_closed",
		"state_closing", "state_stopped", "position_topic", "set_position_topic", "optimistic", "retain"},
	"button": {"command_topic", "payload_press", "retain"},
	"event":  {"state_topic", "value_template", "event_types"},
}

// template is the one form that this program emits.
var template = regexp.MustCompile(`^\{\{ value_json\.([a-z0-9_]+) \}\}$`)

func (c *checker) component(platform, key string, o object) {
	before := len(c.findings)
	bad := func(format string, a ...any) { c.add(DropsComponent, key, format, a...) }
	text := func(k string) string { s, _ := o[k].(string); return s }

	for _, k := range slices.Sorted(maps.Keys(o)) {
		if k == "object_id" {
			c.add(Warns, key, "object_id has been replaced by default_entity_id")
		} else if !slices.Contains(commonKeys, k) && !slices.Contains(platformKeys[platform], k) {
			c.add(Warns, key, "key %q is not known and is left out", k)
		}
	}
	if u := text("unique_id"); u != "" {
		if other, twice := c.unique[platform+" "+u]; twice {
			bad("unique_id %q is that of %q too", u, other)
		}
		c.unique[platform+" "+u] = key
	}
	if id := text("default_entity_id"); id != "" && (!strings.HasPrefix(id, platform+".") || !regexp.MustCompile(`^[a-z_]+\.[a-z0-9_]+$`).MatchString(id)) {
		bad("default_entity_id %q is not %s.a_name", id, platform)
	}
	if name, ok := o["name"].(string); ok && c.name != "" && strings.HasPrefix(strings.ToLower(name), strings.ToLower(c.name)) {
		c.add(Warns, key, "the name %q begins with the device's", name)
	}
	switch cat := text("entity_category"); cat {
	case "", "diagnostic":
	case "config":
		if platform == "sensor" || platform == "binary_sensor" {
			bad("a %s cannot be of the category config", platform)
		}
	default:
		bad("entity_category %q is not known", cat)
	}
	c.availability(o, DropsComponent, key)
	if platform != "button" && platform != "cover" || o["state_topic"] != nil {
		if o["state_topic"] == nil {
			bad("state_topic is missing")
		} else {
			c.filter(DropsComponent, key, "state_topic", o["state_topic"])
		}
	}
	if o["command_topic"] != nil {
		c.target(DropsComponent, key, "command_topic", o["command_topic"])
	}
	if o["retain"] == true {
		c.add(Warns, key, "a retained command comes back after every connection")
	}
	if t := text("value_template"); t != "" && !template.MatchString(t) {
		bad("the template %q is not of the form that this program emits", t)
	}
	switch platform {
	case "sensor":
		c.sensor(key, o, text)
	case "binary_sensor":
		if d := text("device_class"); d != "" && !slices.Contains(binaryClasses, d) {
			bad("device_class %q is not known", d)
		}
	case "cover":
		c.cover(key, o, text)
	case "button":
		if o["command_topic"] == nil {
			bad("command_topic is missing")
		}
	case "event":
		if types, _ := o["event_types"].([]any); len(types) == 0 {
			bad("event_types is missing")
		}
	}
	for _, f := range c.findings[before:] {
		if f.Grade == DropsComponent {
			return
		}
	}
	c.components[key] = o
}

func (c *checker) sensor(key string, o object, text func(string) string) {
	bad := func(format string, a ...any) { c.add(DropsComponent, key, format, a...) }
	class, unit, state := text("device_class"), strings.ReplaceAll(text("unit_of_measurement"), "\u00b5", "\u03bc"), text("state_class")
	if options, ok := o["options"]; ok {
		list, _ := options.([]any)
		if len(list) == 0 || class != "enum" || state != "" || unit != "" {
			bad("options need the class enum, at least one word, and neither a unit nor a state class")
		}
	}
	if state == "measurement_angle" && unit != "°" {
		bad("measurement_angle needs the unit °")
	}
	if o["last_reset_value_template"] != nil && state != "total" {
		bad("last_reset_value_template needs the state class total")
	}
	if class == "" {
		return
	}
	known, ok := sensorClasses[class]
	if !ok {
		bad("device_class %q is not known", class)
		return
	}
	if known.units == nil && (unit != "" || state != "") {
		bad("the class %q takes neither a unit nor a state class", class)
	}
	if known.units != nil {
		units := make([]string, len(known.units))
		for i, u := range known.units {
			units[i] = strings.ReplaceAll(u, "\u00b5", "\u03bc")
		}
		if !slices.Contains(units, unit) {
			bad("the unit %q is none of the class %q", unit, class)
		}
		if state != "" && !slices.Contains(known.states, state) {
			c.add(Warns, key, "the state class %q does not fit the class %q", state, class)
		}
	}
}

func (c *checker) cover(key string, o object, text func(string) string) {
	bad := func(format string, a ...any) { c.add(DropsComponent, key, format, a...) }
	if d := text("device_class"); d != "" && !slices.Contains(coverClasses, d) {
		bad("device_class %q is not known", d)
	}
	if o["set_position_topic"] != nil && o["position_topic"] == nil {
		bad("set_position_topic needs position_topic")
	}
	if o["state_topic"] == nil && o["position_topic"] == nil {
		c.add(Warns, key, "without a state topic the hub believes its own commands")
	}
}
