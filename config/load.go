package config

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
)

// MaxSize is the size in bytes beyond which a file is not taken for a shop file.
const MaxSize = 1 << 20

// Load reads and checks the shop file at path. When it is not fit for use the error is a Problems with
// everything that is wrong.
func Load(path string) (*Shop, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, oneProblem(path, unreadable(err))
	}
	if info.IsDir() {
		return nil, oneProblem(path, "this is a folder; name the shop file in it")
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, oneProblem(path, unreadable(err))
	}
	defer f.Close()
	s, err := Parse(path, f)
	if err != nil {
		return nil, err
	}
	s.Path = path
	if p := loadFitted(path, s); p != nil {
		return nil, Problems{*p}
	}
	return s, nil
}

// Parse reads and checks a shop file from r; name stands in the problems. It never panics.
func Parse(name string, r io.Reader) (*Shop, error) {
	text, err := io.ReadAll(io.LimitReader(r, MaxSize+1))
	if err != nil {
		return nil, oneProblem(name, unreadable(err))
	}
	if p := strange(name, text); p != nil {
		return nil, Problems{*p}
	}
	root, problem := parse(name, text)
	if problem != nil {
		return nil, Problems{*problem}
	}
	r2 := newReader(name)
	shop := r2.shop(root)
	r2.resolve(shop)
	if len(r2.problems) > 0 {
		return nil, r2.report()
	}
	shop.Text, shop.positions = text, r2.positions
	return shop, nil
}

// At tells where the value with this path stands, for example "gates[2].actuator.servo.open".
func (s *Shop) At(path string) (Position, bool) {
	p, ok := s.positions[path]
	return p, ok
}

func oneProblem(name, problem string) Problems { return Problems{{File: name, Problem: problem}} }

// unreadable puts the system's reason in a person's words.
func unreadable(err error) string {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "there is no such file; check the name and the folder"
	case errors.Is(err, fs.ErrPermission):
		return "the file may not be read by this user; change its owner or its mode"
	}
	var pe *fs.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	return fmt.Sprintf("the file cannot be read: %v", err)
}

// strange finds what cannot be a shop file before any parser sees it.
func strange(name string, text []byte) *Problem {
	p := Problem{File: name, Accepted: "YAML text in UTF-8"}
	switch {
	case len(text) > MaxSize:
		p.Problem = fmt.Sprintf("the file is larger than %d KiB; that is no shop file", MaxSize>>10)
	case len(bytes.TrimSpace(text)) == 0:
		p.Problem = "the file is empty; a shop file needs at least one gate"
	case bytes.HasPrefix(text, []byte{0xff, 0xfe}), bytes.HasPrefix(text, []byte{0xfe, 0xff}):
		p.Problem = "the file is UTF-16 text; save it as UTF-8"
	case bytes.IndexByte(text, 0) >= 0:
		p.Line = lineAt(text, bytes.IndexByte(text, 0))
		p.Problem = "the file holds binary data; it is no shop file"
	case !utf8.Valid(text):
		i := 0
		for i < len(text) {
			c, n := utf8.DecodeRune(text[i:])
			if c == utf8.RuneError && n == 1 {
				break
			}
			i += n
		}
		p.Line = lineAt(text, i)
		p.Problem = "the text is not UTF-8; save it as UTF-8"
	default:
		return nil
	}
	return &p
}

func lineAt(text []byte, at int) int { return 1 + bytes.Count(text[:at], []byte("\n")) }

// parse turns the text into YAML nodes, or one problem. Panics of the parser, should it have any left, become a
// problem too: a shop file must never stop the program.
func parse(name string, text []byte) (root *yaml.Node, problem *Problem) {
	defer func() {
		if caught := recover(); caught != nil {
			root, problem = nil, &Problem{File: name, Problem: "the text cannot be read as YAML", Accepted: "YAML text"}
		}
	}()
	d := yaml.NewDecoder(bytes.NewReader(text))
	var doc yaml.Node
	if err := d.Decode(&doc); err != nil {
		return nil, syntax(name, text, err)
	}
	var more yaml.Node
	switch err := d.Decode(&more); {
	case err == nil:
		return nil, &Problem{File: name, Line: max(more.Line, 1), Problem: "a second document starts here; remove this line and what follows, for a shop file is one document", Found: "---"}
	case !errors.Is(err, io.EOF):
		return nil, syntax(name, text, err)
	}
	if doc.Kind != yaml.DocumentNode || len(doc.Content) != 1 {
		return nil, &Problem{File: name, Problem: "the file has no content; a shop file needs at least one gate"}
	}
	return doc.Content[0], nil
}

// syntax puts the parser's complaint in a person's words, with its line.
func syntax(name string, text []byte, err error) *Problem {
	p := &Problem{File: name, Accepted: "YAML text"}
	if errors.Is(err, io.EOF) {
		p.Problem = "the file holds only comments; a shop file needs at least one gate"
		return p
	}
	s := strings.TrimPrefix(err.Error(), "yaml: ")
	var n int
	if _, e := fmt.Sscanf(s, "line %d:", &n); e == nil {
		p.Line = n
		_, s, _ = strings.Cut(s, ": ")
	}
	if anchor, ok := strings.CutPrefix(s, "unknown anchor '"); ok {
		anchor, _, _ = strings.Cut(anchor, "'")
		for i, l := range strings.Split(string(text), "\n") {
			if code, _, _ := strings.Cut(l, "#"); strings.Contains(code, "*"+anchor) {
				p.Line = i + 1
				break
			}
		}
		p.Problem, p.Found = "an alias names an anchor that is not in the file; a text that begins with * needs quotes", "*"+anchor
		return p
	}
	p.Problem = plain(s)
	return p
}

// plain translates what the YAML parser says.
func plain(s string) string {
	for _, t := range []struct{ says, means string }{
		{"did not find expected ',' or '}'", "a { is not closed, or a comma is missing, here or in the line above; is the file complete?"},
		{"did not find expected ',' or ']'", "a [ is not closed, or a comma is missing, here or in the line above; is the file complete?"},
		{"found unexpected end of stream", "the text ends inside a quoted value; close the quote. Is the file complete?"},
		{"found character that cannot start any token", "a tab or a special character stands where a value begins; indent with spaces, and quote values that start with @ or `"},
		{"mapping values are not allowed", "a second colon stands here; put the value in quotes, or check how the line above is indented"},
		{"could not find expected ':'", "a colon is missing after a key, here or in the line above; is the file complete?"},
		{"did not find expected key", "the indentation does not fit the lines above, or a key is missing"},
		{"did not find expected '-' indicator", "the indentation does not fit the list above, or a - is missing"},
		{"found a tab character", "a tab stands where the line is indented; indent with spaces"},
		{"block sequence entries are not allowed", "a list may not begin here; start it in a line of its own"},
		{"exceeded max depth", "brackets are nested far too deeply; this is no shop file"},
		{"control characters are not allowed", "a control character stands in the text; remove it"},
	} {
		if strings.Contains(s, t.says) {
			return t.means
		}
	}
	if !printable(s) {
		s = quote(s)
	}
	return "the text is not well-formed YAML: " + s
}
