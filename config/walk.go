package config

import (
	"fmt"
	"strings"

	"go.yaml.in/yaml/v3"
)

// field is a key that a mapping accepts.
type field struct {
	key  string
	need bool
	read func(value)
}

// need marks fields as required.
func need(key string, read func(value)) field { return field{key, true, read} }

// may marks fields as optional.
func may(key string, read func(value)) field { return field{key, false, read} }

// given holds the values of the keys that a mapping has.
type given map[string]value

func (g given) has(key string) bool { _, ok := g[key]; return ok }

// mapping reads v as a mapping of the fields: every unknown, doubled and missing key is a problem.
func (v value) mapping(fields ...field) given {
	if v.r.listing != nil {
		v.wants(keys(fields))
		for _, f := range fields {
			v.r.listing(join(v.path, f.key), "")
			f.read(value{r: v.r, path: join(v.path, f.key)})
		}
		return nil
	}
	if v.r.done() {
		return nil
	}
	if v.node.Kind != yaml.MappingNode {
		v.problem("keys and values are wanted here", v.found(), keys(fields))
		return nil
	}
	g, meant := given{}, map[string]bool{}
	for i := 0; i+1 < len(v.node.Content) && !v.r.done(); i += 2 {
		kn, vn := v.node.Content[i], v.node.Content[i+1]
		key, ok := v.key(kn)
		if !ok {
			continue
		}
		at := value{r: v.r, node: kn, at: Position{kn.Line, kn.Column}, path: join(v.path, key)}
		f := find(fields, key)
		if f == nil {
			meant[at.unknown(key, fields)] = true
			continue
		}
		if first, twice := g[key]; twice {
			at.problem(fmt.Sprintf("the key %s is written twice, first in line %d; keep one", key, first.at.Line), key, "")
			continue
		}
		c := v.child(vn, join(v.path, key))
		g[key] = c
		if c.node.Kind == yaml.ScalarNode && c.node.Tag == "!!null" && c.node.Style == 0 {
			c.problem("nothing stands after this key; give it a value or remove the key", "nothing", "")
			continue
		}
		f.read(c)
	}
	for _, f := range fields {
		// A key that is only misspelt has been told already.
		if f.need && !g.has(f.key) && !meant[f.key] {
			v.problem(fmt.Sprintf("the key %s is missing", f.key), "", f.key+": "+f.wants())
		}
	}
	return g
}

// wants asks a field what it takes, by reading nothing with it.
func (f field) wants() string {
	var what string
	r := newReader("")
	r.wanting, r.listing = &what, func(string, string) {}
	f.read(value{r: r, path: f.key})
	return what
}

// wants notes what a value takes while a field is asked for it; the first to be told counts.
func (v value) wants(what string) {
	if v.r.wanting != nil && *v.r.wanting == "" {
		*v.r.wanting = what
	}
}

// key reads the text of a key.
func (v value) key(n *yaml.Node) (string, bool) {
	for i := 0; n.Kind == yaml.AliasNode && i < 32; i++ {
		n = n.Alias
	}
	at := value{r: v.r, at: Position{n.Line, n.Column}, path: v.path}
	switch {
	case n.Kind != yaml.ScalarNode:
		at.problem("a key must be a word", "a list or a mapping as a key", "")
		return "", false
	case n.Tag == "!!merge":
		at.problem("<< is not used in a shop file; write the keys out", "<<", "")
		return "", false
	}
	if !printable(n.Value) || len(n.Value) > 200 {
		at.problem("a key is a word in one line", quote(n.Value), "")
		return "", false
	}
	return n.Value, true
}

// unknown tells that a key is not known, and returns the one that may have been meant.
func (v value) unknown(key string, fields []field) string {
	known := make([]string, len(fields))
	for i, f := range fields {
		known[i] = f.key
	}
	if near := nearest(key, known); near != "" {
		v.problem(fmt.Sprintf("the key %s is not known here; did you mean %s?", key, near), key, near)
		return near
	}
	v.problem(fmt.Sprintf("the key %s is not known here", key), key, keys(fields))
	return ""
}

// list reads v as a list of at most limit items.
func (v value) list(limit int, item func(i int, v value)) {
	if v.r.listing != nil {
		v.wants("a list")
		item(0, value{r: v.r, path: v.path + "[]"})
		return
	}
	if v.node.Kind != yaml.SequenceNode {
		v.problem("a list is wanted here", v.found(), "[...] or lines that begin with -")
		return
	}
	if n := len(v.node.Content); n > limit {
		v.problem(fmt.Sprintf("the list is too long: %d items, and at most %d are handled", n, limit), fmt.Sprint(n), fmt.Sprintf("1 to %d", limit))
		return
	}
	for i, n := range v.node.Content {
		if v.r.done() {
			return
		}
		c := v.child(n, fmt.Sprintf("%s[%d]", v.path, i))
		if c.node.Kind == yaml.ScalarNode && c.node.Tag == "!!null" && c.node.Style == 0 {
			c.problem("this item of the list is empty; fill it or remove its -", "nothing", "")
			continue
		}
		item(i, c)
	}
}

func find(fields []field, key string) *field {
	for i := range fields {
		if fields[i].key == key {
			return &fields[i]
		}
	}
	return nil
}

func keys(fields []field) string {
	known := make([]string, len(fields))
	for i, f := range fields {
		known[i] = f.key
	}
	return "the keys " + strings.Join(known, ", ")
}

// items counts the items of a list, at most limit, so that their places can be made beforehand.
func (v value) items(limit int) int {
	if v.r.listing != nil {
		return 1
	}
	if !v.isList() {
		return 0
	}
	return min(len(v.node.Content), limit)
}

// free reads a mapping whose keys are names that the person chooses.
func (v value) free(limit int, what string, item func(name string, at, v value)) {
	if v.r.listing != nil {
		item("name", v, value{r: v.r, path: v.path + ".*"})
		return
	}
	if !v.isMapping() {
		v.problem("names and values are wanted here", v.found(), "name: "+what)
		return
	}
	if n := len(v.node.Content) / 2; n > limit {
		v.problem(fmt.Sprintf("%d entries are too many", n), fmt.Sprint(n), fmt.Sprintf("1 to %d", limit))
		return
	}
	seen := map[string]bool{}
	for i := 0; i+1 < len(v.node.Content) && !v.r.done(); i += 2 {
		kn := v.node.Content[i]
		key, ok := v.key(kn)
		if !ok {
			continue
		}
		at := value{r: v.r, node: kn, at: Position{kn.Line, kn.Column}, path: join(v.path, key)}
		if seen[key] {
			at.problem("the name "+quote(key)+" is written twice; keep one", quote(key), "")
			continue
		}
		seen[key] = true
		var name string
		if !at.text(&name, longestName) {
			continue
		}
		c := v.child(v.node.Content[i+1], join(v.path, key))
		if c.node.Kind == yaml.ScalarNode && c.node.Tag == "!!null" && c.node.Style == 0 {
			c.problem("nothing stands after this name; give it a value or remove it", "nothing", "")
			continue
		}
		item(name, at, c)
	}
}
