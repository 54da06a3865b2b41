package publish

import (
	"encoding/json"
	"maps"
	"slices"
)

// Announcement is what discovery has to send. The stages go one after another, each when the one before has
// arrived; within a stage the order is free. Before must be stored ahead of the first stage and After behind
// the last, so that a program that dies in between still knows everything it may have left on the broker.
type Announcement struct {
	Stages        [][]Message
	Before, After Manifest
}

// migrate tells the hub that an entity moves from one form of document to the other and must keep its
// history.
var migrate = []byte(`{"migrate_discovery": true}`)

// Announce compares what the shop file says now with what the last start of the program left on the broker:
// it announces what is there, and clears what is gone. Nothing is ever cleared because the program ends.
func Announce(s Settings, shop Shop, before Manifest) Announcement {
	var docs []Message
	after := Manifest{Schema: manifestSchema, Topics: topics(s, shop)}
	switch s.Discovery {
	case DiscoveryDevice:
		after.Components = map[string]string{}
		for _, e := range entities(s, shop) {
			after.Components[e.key] = e.platform
		}
		after.Gone = map[string]string{}
		for key, platform := range before.Components {
			if after.Components[key] == "" {
				after.Gone[key] = platform
			}
		}
		docs = []Message{deviceDocument(s, shop, after.Gone)}
	case DiscoverySingle:
		docs = singleDocuments(s, shop)
	}
	for _, d := range docs {
		after.Documents = append(after.Documents, d.Topic)
	}

	var first, last []Message
	for _, old := range before.Documents {
		if slices.Contains(after.Documents, old) {
			continue
		}
		if len(docs) > 0 && moves(s, old) {
			first = append(first, retained(old, migrate))
		}
		last = append(last, retained(old, nil))
	}
	for _, old := range before.Topics {
		if !slices.Contains(after.Topics, old) {
			last = append(last, retained(old, nil))
		}
	}
	a := Announcement{Before: before.with(after), After: after}
	for _, stage := range [][]Message{first, docs, last} {
		if len(stage) > 0 {
			a.Stages = append(a.Stages, stage)
		}
	}
	return a
}

// moves says whether an old document is of the other form and of this site, so that its entities live on.
func moves(s Settings, old string) bool {
	device := deviceTopic(s)
	return (s.Discovery == DiscoverySingle && old == device) || (s.Discovery == DiscoveryDevice && isSingle(s, old))
}

func retained(topic string, payload []byte) Message {
	return Message{Topic: topic, Payload: payload, Retained: true, QoS: 1}
}

func deviceTopic(s Settings) string {
	return s.prefix() + "/device/" + s.device() + "/config"
}

func singleTopic(s Settings, platform, key string) string {
	return s.prefix() + "/" + platform + "/" + s.device() + "/" + key + "/config"
}

func isSingle(s Settings, topic string) bool {
	for _, p := range []string{"sensor", "binary_sensor", "cover", "button", "event"} {
		head := s.prefix() + "/" + p + "/" + s.device() + "/"
		if len(topic) > len(head) && topic[:len(head)] == head {
			return true
		}
	}
	return false
}

func device(s Settings, shop Shop) options {
	d := options{"identifiers": []string{s.device()}, "name": shop.Name, "model": "dust collection", "sw_version": s.Release}
	if shop.Name == "" {
		d["name"] = s.Site
	}
	if s.PageURL != "" {
		d["configuration_url"] = s.PageURL
	}
	return d
}

func common(s Settings, shop Shop) options {
	return options{
		"device":             device(s, shop),
		"origin":             options{"name": Program, "sw_version": s.Release},
		"availability_topic": s.Topics().Availability(),
	}
}

// deviceDocument announces the whole shop at once. What is gone stays in it as a bare platform for one start of
// the program, which is how the hub is told to forget it.
func deviceDocument(s Settings, shop Shop, gone map[string]string) Message {
	doc := common(s, shop)
	components := options{}
	for _, e := range entities(s, shop) {
		c := maps.Clone(e.options)
		c["platform"] = e.platform
		components[e.key] = c
	}
	for key, platform := range gone {
		components[key] = options{"platform": platform}
	}
	doc["components"] = components
	return retained(deviceTopic(s), encode(doc))
}

func singleDocuments(s Settings, shop Shop) []Message {
	var out []Message
	for _, e := range entities(s, shop) {
		doc := common(s, shop)
		maps.Copy(doc, e.options)
		out = append(out, retained(singleTopic(s, e.platform, e.key), encode(doc)))
	}
	return out
}

func encode(doc options) []byte {
	b, err := json.Marshal(doc) // keys come out sorted
	if err != nil {             // strings, numbers and lists of strings cannot fail
		return nil
	}
	return b
}

// DocumentTopics are where the shop is announced; nothing when discovery is off.
func DocumentTopics(s Settings, shop Shop) []string {
	switch s.Discovery {
	case DiscoveryDevice:
		return []string{deviceTopic(s)}
	case DiscoverySingle: // one stands for all
		e := entities(s, shop)[0]
		return []string{singleTopic(s, e.platform, e.key)}
	}
	return nil
}

// IsDocument reports whether a topic is one of discovery documents of this site.
func IsDocument(s Settings, topic string) bool { return topic == deviceTopic(s) || isSingle(s, topic) }
