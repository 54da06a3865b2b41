package config

import (
	"errors"
	"fmt"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Append adds an item to the end of a list in the text of a shop file, and leaves every other character as it was. list
// is the list's path, "gates" or "machines[0].sensors"; where the file has no such list yet, one is begun: a section at
// the end of the file, or a key beside the others. item is YAML of one line, "{name: saw, actuator: hand}". What comes
// out is for the caller to parse again before it is kept. The error is one sentence.
func Append(text []byte, list, item string) ([]byte, error) {
	root, problem := parse("", text)
	if problem != nil {
		return nil, fmt.Errorf("the file cannot be changed: %s", problem.Problem)
	}
	fail := func(err error) ([]byte, error) {
		return nil, fmt.Errorf("%s cannot take another item: %w; change it in the file by hand", list, err)
	}
	if item == "" || strings.ContainsAny(item, "\r\n") {
		return fail(errors.New("the item is not of one line"))
	}
	node, rest, err := descend(root, list)
	if err != nil {
		return fail(err)
	}
	at, insert := 0, ""
	switch {
	case rest != "" && node == root && node.Style&yaml.FlowStyle == 0:
		at, insert = len(text), section(text, rest, item)
	case rest != "":
		at, insert, err = room(text, node, rest+": ["+item+"]")
	default:
		at, insert, err = behindLast(text, node, item)
	}
	if err != nil {
		return fail(err)
	}
	out := append(append(append([]byte{}, text[:at]...), insert...), text[at:]...)
	if err := grown(out, list, node, rest != ""); err != nil {
		return fail(err)
	}
	return out, nil
}

// section is a new section at the end of the file.
func section(text []byte, key, item string) string {
	ending := "\n"
	if strings.Contains(string(text), "\r\n") {
		ending = "\r\n"
	}
	before := ""
	if n := len(text); n > 0 && text[n-1] != '\n' {
		before = ending
	}
	return before + key + ":" + ending + "  - " + item + ending
}

// behindLast finds the place behind the last item of a list.
func behindLast(text []byte, node *yaml.Node, item string) (at int, insert string, err error) {
	if node.Kind != yaml.SequenceNode {
		return 0, "", errors.New("it is no list")
	}
	if node.Style&yaml.FlowStyle != 0 {
		end, err := bracket(text, offset(text, node))
		if err != nil {
			return 0, "", err
		}
		if len(node.Content) > 0 {
			item = ", " + item
		}
		return end, item, nil
	}
	last := node.Content[len(node.Content)-1]
	end, err := finish(text, last)
	if err != nil {
		return 0, "", err
	}
	for end < len(text) && text[end] != '\n' {
		end++
	}
	ending := "\n"
	if text[end-1] == '\r' {
		end, ending = end-1, "\r\n"
	}
	return end, ending + strings.Repeat(" ", node.Column-1) + "- " + item, nil
}

// finish is a byte of the last line of a value.
func finish(text []byte, node *yaml.Node) (int, error) {
	switch {
	case node.Kind == yaml.AliasNode:
		return offset(text, node), nil
	case node.Kind == yaml.ScalarNode:
		_, end, err := extent(text, node)
		return end, err
	case node.Style&yaml.FlowStyle != 0:
		return bracket(text, offset(text, node))
	case len(node.Content) == 0:
		return 0, errors.New("its last item is empty")
	}
	return finish(text, node.Content[len(node.Content)-1])
}

// bracket finds the closing bracket of the flow value that begins at a byte, past quotes and comments.
func bracket(text []byte, at int) (int, error) {
	for at < len(text) && text[at] != '{' && text[at] != '[' { // an anchor or a tag stands before it
		at++
	}
	depth := 0
	for i := at; i < len(text); i++ {
		switch c := text[i]; {
		case c == '{' || c == '[':
			depth++
		case c == '}' || c == ']':
			if depth--; depth == 0 {
				return i, nil
			}
		case (c == '"' || c == '\'') && strings.IndexByte(" ,:[{\n", text[i-1]) >= 0:
			escape := `\`
			if c == '\'' {
				escape = `'`
			}
			n := closing(string(text[i:]), string(c), escape)
			if n == 0 {
				return 0, errors.New("a quoted text in it goes over several lines")
			}
			i += n - 1
		case c == '#' && (text[i-1] == ' ' || text[i-1] == '\n' || text[i-1] == '\t'):
			for i+1 < len(text) && text[i+1] != '\n' {
				i++
			}
		}
	}
	return 0, errors.New("its closing bracket was not found")
}

// grown makes sure that the list has exactly one more item.
func grown(text []byte, list string, before *yaml.Node, begun bool) error {
	root, problem := parse("", text)
	if problem != nil {
		return errors.New(problem.Problem)
	}
	node, rest, err := descend(root, list)
	if err != nil {
		return err
	}
	want := 1
	if !begun {
		want += len(before.Content)
	}
	if rest != "" || node.Kind != yaml.SequenceNode || len(node.Content) != want {
		return errors.New("the place behind its last item was not found")
	}
	return nil
}
