package config

import (
	"fmt"
	"strings"
	"unicode"

	"go.yaml.in/yaml/v3"
)

// Bounds of the walk. The depth is that of the keys and every list has its limit, so that aliases cannot make a small
// file large; the problems of a hopeless file are bounded here.
const (
	maxProblems = 200
	enough      = 1000 // problems after which the walk stops looking for more
)

// reader walks the nodes, collects problems and positions, and holds what must wait until all is read.
type reader struct {
	file      string
	problems  Problems
	positions map[string]Position
	names     map[noun]*register
	later     []func(*Shop) // once all is read: names become places
	last      []func(*Shop) // once all names are places
	uses      uses
	listing   func(path, accepted string) // set while the accepted keys are listed: nodes are nil then
	wanting   *string                     // set while it is asked what a key takes
}

// done tells that going on would help nobody.
func (r *reader) done() bool { return len(r.problems) > enough }

func newReader(file string) *reader {
	return &reader{file: file, positions: map[string]Position{}, names: map[noun]*register{}}
}

// value is one node with its path. Its position is where it is written; an alias counts where it stands.
type value struct {
	r    *reader
	node *yaml.Node
	at   Position
	path string
}

// child makes the value of a node below v and notes its position.
func (v value) child(node *yaml.Node, path string) value {
	c := value{r: v.r, node: node, path: path}
	if node == nil {
		return c
	}
	c.at = Position{node.Line, node.Column}
	v.r.positions[path] = c.at
	for i := 0; node.Kind == yaml.AliasNode && i < 32; i++ {
		node = node.Alias
	}
	c.node = node
	return c
}

// problem notes what is wrong with this value.
func (v value) problem(problem, found, accepted string) {
	v.r.problems = append(v.r.problems, Problem{
		File: v.r.file, Line: v.at.Line, Column: v.at.Column, Path: v.path,
		Problem: problem, Found: found, Accepted: accepted,
	})
}

// report hands the problems over, sorted, and no more of them than a person can use.
func (r *reader) report() Problems {
	r.problems.sort()
	if n := len(r.problems) - maxProblems; n > 0 {
		r.problems = append(r.problems[:maxProblems:maxProblems], Problem{
			File: r.file, Problem: fmt.Sprintf("%d more problems are not shown; mend these first", n),
		})
	}
	return r.problems
}

// printable tells whether a text can stand in a message as it is.
func printable(s string) bool {
	return !strings.ContainsFunc(s, func(r rune) bool { return !unicode.IsPrint(r) })
}

// isMapping and isList tell the shape of a value that may have several.
func (v value) isMapping() bool { return v.node != nil && v.node.Kind == yaml.MappingNode }
func (v value) isList() bool    { return v.node != nil && v.node.Kind == yaml.SequenceNode }

// found describes the node for a message.
func (v value) found() string {
	switch {
	case v.node == nil:
		return ""
	case v.node.Kind == yaml.MappingNode:
		return "keys and values"
	case v.node.Kind == yaml.SequenceNode:
		return "a list"
	}
	return quote(v.node.Value)
}

// quote shortens a found text for a message and keeps it on one line.
func quote(s string) string {
	if r := []rune(s); len(r) > 60 {
		s = string(r[:57]) + "..."
	}
	return fmt.Sprintf("%q", s)
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}
