package fakehub

import (
	"encoding/json"
	"fmt"
	"maps"
	"net/url"
	"regexp"
	"slices"
	"strings"
)

// Grade is what the hub does about a finding.
type Grade string

// The grades.
const (
	DropsDocument  Grade = "document"  // the whole document is ignored
	DropsComponent Grade = "component" // this entity is ignored
	Warns          Grade = "warning"   // it is taken, with a warning
)

// Finding is one thing that the hub would object to.
type Finding struct {
	Grade Grade
	Where string // topic, or the component's key
	Text  string
}

func (f Finding) String() string { return fmt.Sprintf("%s: %s: %s", f.Grade, f.Where, f.Text) }

type object = map[string]any

var goodID = regexp.MustCompile(`^[a-zA-Z0-9_-]+$`)

// platforms that this program may announce; the hub knows more.
var platforms = []string{"binary_sensor", "button", "cover", "event", "sensor"}

// Document reads one discovery message: the components by key, the keys that it tells as gone, and everything
// the hub would object to.
func Document(prefix, topic string, payload []byte) (components map[string]object, gone []string, findings []Finding) {
	c := checker{topic: topic, components: map[string]object{}, unique: map[string]string{}}
	parts := strings.Split(strings.TrimPrefix(topic, prefix+"/"), "/")
	if !strings.HasPrefix(topic, prefix+"/") || len(parts) < 3 || len(parts) > 4 || parts[len(parts)-1] != "config" {
		c.drop("the topic is none of PREFIX/device/ID/config and PREFIX/PLATFORM/[NODE/]ID/config")
		return nil, nil, c.findings
	}
	for _, id := range parts[1 : len(parts)-1] {
		if !goodID.MatchString(id) {
			c.drop("id %q has characters outside a-z A-Z 0-9 _ -", id)
		}
	}
	if len(payload) == 0 {
		return nil, nil, c.findings
	}
	var doc object
	if err := json.Unmarshal(payload, &doc); err != nil {
		c.drop("not a JSON object: %v", err)
		return nil, nil, c.findings
	}
	if doc["migrate_discovery"] == true {
		return nil, nil, c.findings
	}
	c.roots(doc)
	if parts[0] == "device" {
		c.device(doc)
	} else {
		c.single(parts[0], strings.Join(parts[1:len(parts)-1], " "), doc)
	}
	return c.components, c.gone, c.findings
}

type checker struct {
	topic      string
	name       string // of the device
	components map[string]object
	gone       []string
	findings   []Finding
	unique     map[string]string
}

func (c *checker) add(g Grade, where, format string, a ...any) {
	c.findings = append(c.findings, Finding{g, where, fmt.Sprintf(format, a...)})
}
func (c *checker) drop(format string, a ...any) { c.add(DropsDocument, c.topic, format, a...) }

// roots checks what every document has: device, origin, availability.
func (c *checker) roots(doc object) {
	dev, ok := doc["device"].(object)
	if !ok {
		c.drop("device is missing")
		return
	}
	c.name, _ = dev["name"].(string)
	ids, _ := dev["identifiers"].([]any)
	connections, _ := dev["connections"].([]any)
	if len(ids) == 0 && len(connections) == 0 {
		c.drop("device has neither identifiers nor connections")
	}
	for _, id := range ids {
		if s, ok := id.(string); !ok {
			c.drop("device identifier %v is no text", id)
		} else if strings.ContainsFunc(s, func(r rune) bool { return r > 127 }) {
			c.add(Warns, c.topic, "device identifier %q is not plain ASCII", s)
		}
	}
	for _, pair := range connections {
		if p, ok := pair.([]any); !ok || len(p) != 2 {
			c.drop("device connection %v is no pair", pair)
		}
	}
	c.web(dev, "configuration_url")
	origin, _ := doc["origin"].(object)
	if s, ok := origin["name"].(string); !ok || s == "" {
		c.drop("origin.name is missing")
	}
	c.web(origin, "support_url")
	c.availability(doc, DropsDocument, c.topic)
}

func (c *checker) web(o object, key string) {
	s, ok := o[key].(string)
	if !ok {
		return
	}
	if u, err := url.Parse(s); err != nil || (u.Scheme != "http" && u.Scheme != "https") || u.Host == "" {
		c.drop("%s %q is no web address", key, s)
	}
}

func (c *checker) availability(o object, g Grade, where string) {
	list, many := o["availability"]
	one, single := o["availability_topic"]
	if many && single {
		c.add(g, where, "availability and availability_topic exclude each other")
	}
	if single {
		c.filter(g, where, "availability_topic", one)
	}
	if many {
		entries, _ := list.([]any)
		for _, e := range entries {
			m, _ := e.(object)
			if m["topic"] == nil {
				c.add(g, where, "an availability entry has no topic")
			} else {
				c.filter(g, where, "availability.topic", m["topic"])
			}
		}
	}
}

// filter checks a topic that the hub subscribes to, target one that it publishes on.
func (c *checker) filter(g Grade, where, key string, v any) {
	if s, ok := v.(string); !ok || s == "" || strings.ContainsRune(s, 0) || badWildcards(s) {
		c.add(g, where, "%s %v is no topic to subscribe to", key, v)
	}
}

func (c *checker) target(g Grade, where, key string, v any) {
	if s, ok := v.(string); !ok || s == "" || strings.ContainsAny(s, "+#\x00") {
		c.add(g, where, "%s %v is no topic to publish on", key, v)
	}
}

func badWildcards(s string) bool {
	levels := strings.Split(s, "/")
	for i, l := range levels {
		if strings.Contains(l, "+") && l != "+" || strings.Contains(l, "#") && (l != "#" || i != len(levels)-1) {
			return true
		}
	}
	return false
}

func (c *checker) device(doc object) {
	for _, shared := range []string{"state_topic", "command_topic"} {
		if v, ok := doc[shared]; ok {
			c.target(DropsDocument, c.topic, shared, v)
		}
	}
	for _, k := range slices.Sorted(maps.Keys(doc)) {
		if !slices.Contains([]string{"device", "origin", "components", "availability", "availability_topic", "availability_mode", "availability_template",
			"payload_available", "payload_not_available", "state_topic", "command_topic", "qos", "encoding"}, k) {
			c.add(Warns, c.topic, "key %q is not known and is left out", k)
		}
	}
	components, ok := doc["components"].(object)
	if !ok {
		c.drop("components is missing")
		return
	}
	for _, key := range slices.Sorted(maps.Keys(components)) {
		o, ok := components[key].(object)
		if !ok {
			c.drop("component %q is no object", key)
			continue
		}
		platform, ok := o["platform"].(string)
		if !ok {
			c.drop("component %q has no platform", key)
			continue
		}
		if !slices.Contains(platforms, platform) {
			c.drop("component %q has the unknown platform %q", key, platform)
			continue
		}
		if len(o) == 1 {
			c.gone = append(c.gone, key)
			continue
		}
		for _, shared := range []string{"availability_topic", "state_topic", "command_topic", "availability"} {
			if v, ok := doc[shared]; ok && o[shared] == nil {
				o[shared] = v
			}
		}
		if o["unique_id"] == nil {
			c.drop("component %q has no unique_id", key)
			continue
		}
		c.component(platform, key, o)
	}
}

func (c *checker) single(platform, key string, doc object) {
	if !slices.Contains(platforms, platform) {
		c.drop("platform %q is not known", platform)
		return
	}
	o := maps.Clone(doc)
	delete(o, "device")
	delete(o, "origin")
	o["platform"] = platform
	c.component(platform, key, o)
}
