package panel

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
)

//go:embed text/en.json
var english []byte

// said.json is every sentence that the program itself can say to somebody at the page, as a pattern: {1}, {2} stand for
// what is put in. A test gathers them from the sources and keeps the file complete.
//
//go:embed text/said.json
var said []byte

// Text is one language: every string of the page by its key, and every sentence of the program by its English pattern.
// Another language is one file more, of the same form.
type Text map[string]string

// English is the catalogue that every other language is made from: the page's own strings by key, then the program's
// sentences by themselves.
func English() Text {
	t, err := parseText(english)
	if err != nil {
		panic(err) // a test reads both
	}
	var sentences []string
	if err := json.Unmarshal(said, &sentences); err != nil {
		panic(err)
	}
	for _, s := range sentences {
		t[s] = s
	}
	return t
}

func parseText(b []byte) (Text, error) {
	var t Text
	if err := json.Unmarshal(b, &t); err != nil {
		return nil, err
	}
	return t, nil
}

var holes = regexp.MustCompile(`\{\d+\}`)

// LoadText reads a language and fills what it lacks with English. missing counts what that was. Keys that this version
// does not know are passed over: they are another version's.
func LoadText(b []byte) (t Text, missing int, err error) {
	own, err := parseText(bytes.TrimPrefix(b, []byte("\xef\xbb\xbf")))
	if err != nil {
		return nil, 0, fmt.Errorf("this is no catalogue of texts (%w): write one JSON object of strings, as `ductwarden texts` prints it", err)
	}
	t = English()
	for _, key := range slices.Sorted(maps.Keys(t)) {
		words, ok := own[key]
		if !ok || strings.TrimSpace(words) == "" && t[key] != "" {
			missing++
			continue
		}
		for _, h := range holes.FindAllString(words, -1) {
			if !strings.Contains(key, h) {
				return nil, 0, fmt.Errorf("catalogue of texts: what stands for %q has %s, which the English has not: write only the numbers in braces that stand there", key, h)
			}
		}
		t[key] = words
	}
	return t, missing, nil
}

// Say returns the string of a key; a missing one shows itself.
func (t Text) Say(key string) string {
	if s, ok := t[key]; ok {
		return s
	}
	return "[" + key + "]"
}

// strings are the page's own strings, by key.
func (t Text) strings() map[string]string {
	own, _ := parseText(english)
	for key := range own {
		own[key] = t[key]
	}
	return own
}

// sentences maps English to this language: what the program says, and the page's own strings too, for the same words may
// come from there. Empty for English.
func (t Text) sentences() map[string]string {
	out := map[string]string{}
	own, _ := parseText(english)
	for key, words := range t {
		en, ok := own[key]
		if !ok {
			en = key
		}
		if en != words && en != "" {
			out[en] = words
		}
	}
	return out
}
