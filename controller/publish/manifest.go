package publish

import (
	"encoding/json"
	"fmt"
	"slices"
)

// manifestSchema is raised when what is stored means something else.
const manifestSchema = 1

// Manifest lists what this program has left on the broker as retained. It is stored, because a broker cannot
// be asked what is ours, and read at the next start to clear what the shop file no longer has.
type Manifest struct {
	Schema     int               `json:"schema"`
	Topics     []string          `json:"topics"`     // state, plain and alarm topics
	Documents  []string          `json:"documents"`  // discovery topics
	Components map[string]string `json:"components"` // key -> platform in the device document
	Gone       map[string]string `json:"gone"`       // told as gone by the last document
}

// ReadManifest reads a stored manifest. Nothing stored is an empty one.
func ReadManifest(b []byte) (Manifest, error) {
	var m Manifest
	if len(b) == 0 {
		return m, nil
	}
	if err := json.Unmarshal(b, &m); err != nil {
		return Manifest{}, fmt.Errorf("list of published topics is damaged: %w; delete it and clear stale topics by hand", err)
	}
	if m.Schema != manifestSchema {
		return Manifest{}, fmt.Errorf("list of published topics has schema %d, this program knows %d; delete it and clear stale topics by hand", m.Schema, manifestSchema)
	}
	return m, nil
}

// Encode is the manifest as it is stored.
func (m Manifest) Encode() []byte {
	b, err := json.MarshalIndent(m, "", " ")
	if err != nil { // strings cannot fail
		return nil
	}
	return b
}

// With adds topics, those of standing alarms.
func (m Manifest) With(topics []string) Manifest {
	m.Topics = union(m.Topics, topics)
	return m
}

// with is everything that may be on the broker while one manifest gives way to the next.
func (m Manifest) with(n Manifest) Manifest {
	n.Topics = union(m.Topics, n.Topics)
	n.Documents = union(m.Documents, n.Documents)
	all := map[string]string{}
	for _, c := range []map[string]string{m.Components, n.Components} {
		for k, v := range c {
			all[k] = v
		}
	}
	n.Components = all
	return n
}

func union(a, b []string) []string {
	out := append(slices.Clone(a), b...)
	slices.Sort(out)
	return slices.Compact(out)
}

// topics are the retained topics of a shop that do not come and go: everything but alarms.
func topics(s Settings, shop Shop) []string {
	t := s.Topics()
	out := []string{t.Availability(), t.Info()}
	add := func(kind, id string, fields []field) {
		topic := t.State(kind, id)
		out = append(out, topic)
		if s.Plain {
			for _, f := range fields {
				out = append(out, topic+"/"+f.key)
			}
		}
	}
	for _, th := range things(s, shop, shop.blank(), &Totals{}) {
		add(th.kind, th.id, th.fields)
	}
	slices.Sort(out)
	return out
}
