package config

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
)

// Splice changes one value in the text of a shop file, or adds it to the keys beside it, and leaves every other
// character as it was: comments, order, the way of writing. path is as in problems, "gates[0].actuator.servo.open";
// to says the new value without quotes. The text must be one that Parse reads; what comes out is for the caller to
// parse again before it is kept. The error is one sentence.
func Splice(text []byte, path, to string) ([]byte, error) {
	root, problem := parse("", text)
	if problem != nil {
		return nil, fmt.Errorf("the file cannot be changed: %s", problem.Problem)
	}
	if to == "" || strings.ContainsFunc(to, func(r rune) bool { return r < ' ' }) {
		return nil, fmt.Errorf("%s cannot become %q: give a value of one line", path, to)
	}
	node, rest, err := descend(root, path)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be changed: %w", path, err)
	}
	var at, end int
	insert := quoted(to)
	if rest == "" {
		at, end, err = extent(text, node)
	} else {
		at, insert, err = room(text, node, rest+": "+insert)
		end = at
	}
	if err != nil {
		return nil, fmt.Errorf("%s cannot be changed: %w; change it in the file by hand", path, err)
	}
	out := append([]byte{}, text[:at]...)
	out = append(out, insert...)
	return append(out, text[end:]...), nil
}

// descend follows the path as far as the file has it. When only the last key is missing, node is the mapping that
// would get it and rest is that key.
func descend(node *yaml.Node, path string) (at *yaml.Node, rest string, err error) {
	for path != "" {
		if node.Kind == yaml.AliasNode {
			return nil, "", errors.New("it comes from an alias, so that other values would change with it")
		}
		if number, after, ok := strings.Cut(strings.TrimPrefix(path, "["), "]"); ok && path[0] == '[' {
			i, e := strconv.Atoi(number)
			if e != nil || node.Kind != yaml.SequenceNode || i < 0 || i >= len(node.Content) {
				return nil, "", errors.New("the file has no such item")
			}
			node, path = node.Content[i], strings.TrimPrefix(after, ".")
			continue
		}
		if node.Kind != yaml.MappingNode {
			return nil, "", errors.New("the file has no such key")
		}
		next, after := longest(node, path)
		if next == nil {
			if strings.ContainsAny(path, ".[") {
				return nil, "", errors.New("the file lacks the keys above it")
			}
			return node, path, nil
		}
		node, path = next, after
	}
	return node, "", nil
}

// longest finds the key of a mapping that the path begins with; names that a person chose may have points.
func longest(node *yaml.Node, path string) (value *yaml.Node, rest string) {
	most := -1
	for i := 0; i+1 < len(node.Content); i += 2 {
		key := node.Content[i].Value
		after, ok := strings.CutPrefix(path, key)
		if !ok || len(key) <= most || after != "" && after[0] != '.' && after[0] != '[' {
			continue
		}
		value, rest, most = node.Content[i+1], strings.TrimPrefix(after, "."), len(key)
	}
	return value, rest
}

// extent gives the bytes of a value of one line.
func extent(text []byte, node *yaml.Node) (at, end int, err error) {
	if node.Kind == yaml.AliasNode {
		return 0, 0, errors.New("it comes from an alias, so that other values would change with it")
	}
	if node.Kind != yaml.ScalarNode {
		return 0, 0, errors.New("it is not one value")
	}
	at = offset(text, node)
	raw := string(text[at:])
	switch {
	case node.Style == yaml.DoubleQuotedStyle && strings.HasPrefix(raw, `"`):
		end = closing(raw, `"`, `\`)
	case node.Style == yaml.SingleQuotedStyle && strings.HasPrefix(raw, `'`):
		end = closing(raw, `'`, `'`)
	case node.Style == 0 && node.Value != "" && strings.HasPrefix(raw, node.Value):
		end = len(node.Value)
	}
	if end == 0 {
		return 0, 0, errors.New("it is written over several lines, or with an anchor or a tag")
	}
	return at, at + end, nil
}

// closing finds the end of a quoted text on its line; escape makes the next character count as text.
func closing(raw, quote, escape string) int {
	for i := 1; i < len(raw) && raw[i] != '\n'; i++ {
		switch {
		case raw[i] == escape[0] && i+1 < len(raw) && (escape != quote || raw[i+1] == quote[0]):
			i++
		case raw[i] == quote[0]:
			return i + 1
		}
	}
	return 0
}

// room finds where a mapping takes a further key: behind its last value of one line.
func room(text []byte, node *yaml.Node, entry string) (at int, insert string, err error) {
	flow := node.Style&yaml.FlowStyle != 0
	for i := len(node.Content) - 2; i >= 0; i -= 2 {
		_, end, e := extent(text, node.Content[i+1])
		if e != nil {
			continue
		}
		if flow {
			return end, ", " + entry, nil
		}
		for end < len(text) && text[end] != '\n' {
			end++
		}
		ending := "\n"
		if text[end-1] == '\r' {
			end, ending = end-1, "\r\n"
		}
		return end, ending + strings.Repeat(" ", node.Content[i].Column-1) + entry, nil
	}
	at = offset(text, node)
	if !flow {
		if len(node.Content) == 0 {
			return 0, "", errors.New("nothing stands beside it")
		}
		return offset(text, node.Content[0]), entry + "\n" + strings.Repeat(" ", node.Content[0].Column-1), nil
	}
	if text[at] != '{' {
		return 0, "", errors.New("its keys have an anchor or a tag")
	}
	if len(node.Content) > 0 {
		entry += ", "
	}
	return at + 1, entry, nil
}

// offset is the byte at which a node begins. The parser counts characters.
func offset(text []byte, node *yaml.Node) int {
	at := 0
	for line := 1; line < node.Line && at < len(text); at++ {
		if text[at] == '\n' {
			line++
		}
	}
	for column := 1; column < node.Column && at < len(text); column++ {
		_, n := utf8.DecodeRune(text[at:])
		at += n
	}
	return min(at, max(0, len(text)-1))
}

// plainValue is what needs no quotes in any place of a file.
var plainValue = regexp.MustCompile(`^[A-Za-z0-9./][A-Za-z0-9_./@%+° -]*$`)

// quoted writes a value as YAML.
func quoted(s string) string {
	if plainValue.MatchString(s) && strings.TrimSpace(s) == s && s != "null" && s != "Null" && s != "NULL" && !strings.HasSuffix(s, ":") {
		return s
	}
	b, err := yaml.Marshal(&yaml.Node{Kind: yaml.ScalarNode, Style: yaml.DoubleQuotedStyle, Value: s})
	if err != nil {
		return strconv.Quote(s)
	}
	return strings.TrimSpace(string(b))
}
