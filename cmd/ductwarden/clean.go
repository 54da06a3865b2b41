package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"ductwarden/config"
)

const removed = "[removed]"

// What looks like a secret wherever it stands: a word for one with a value behind it, a name and password in an
// address, a key in the usual armour, a set-up code, a long token.
var secretive = []struct {
	looks   *regexp.Regexp
	becomes string
}{
	{regexp.MustCompile(`(?i)((?:pass(?:word|wort|phrase|wd)?|secret|token|api[-_ ]?key|pin|set-?up[-_ ]code)["']?\s*(?:[:=]|is)\s*)("[^"\n]*"|'[^'\n]*'|[^\s,}#]+)`), `${1}` + removed},
	{regexp.MustCompile(`(?i)(set-?up[-_ ]code["']?\s+)[a-z0-9]{3,}(?:-[a-z0-9]{3,})+`), `${1}` + removed},
	{regexp.MustCompile(`([a-z][a-z0-9+.-]*://)[^/\s:@"]*:[^/\s@"]*@`), `${1}` + removed + `@`},
	{regexp.MustCompile(`(?s)-----BEGIN [A-Z ]*PRIVATE KEY-----.*?-----END [A-Z ]*PRIVATE KEY-----`), removed},
	{regexp.MustCompile(`(?i)(bearer\s+)[a-z0-9._~+/=-]{8,}`), `${1}` + removed},
}

// cleaner takes secrets out of a text: those that this shop really has, wherever they stand, and whatever looks like
// one.
func cleaner(s *config.Shop) func([]byte) []byte {
	known := knownSecrets(s)
	return func(b []byte) []byte {
		for _, word := range known {
			b = bytes.ReplaceAll(b, []byte(word), []byte(removed))
		}
		for _, one := range secretive {
			b = one.looks.ReplaceAll(b, []byte(one.becomes))
		}
		return b
	}
}

// knownSecrets reads every secret that the shop file leads to, longest first. Very short ones are left to the patterns:
// taking them out would take words apart.
func knownSecrets(s *config.Shop) []string {
	if s == nil {
		return nil
	}
	paths := []string{s.Page.Access, s.Page.Key, credentialStore}
	if dir := os.Getenv("CREDENTIALS_DIRECTORY"); dir != "" {
		paths = append(paths, filepath.Join(dir, "mqtt-password"))
	}
	if s.MQTT != nil {
		paths = append(paths, s.MQTT.PasswordFile, s.MQTT.Key)
	}
	var out []string
	add := func(word string) {
		if word = strings.TrimSpace(word); len(word) >= 4 && !slices.Contains(out, word) {
			out = append(out, word)
		}
	}
	for _, p := range paths {
		b, err := os.ReadFile(p)
		if p == "" || err != nil {
			continue
		}
		var tree any
		if json.Unmarshal(b, &tree) == nil {
			leaves(tree, func(word string) {
				if len(word) >= 16 { // hashes, salts, tokens; not the names beside them
					add(word)
				}
			})
			continue
		}
		for _, line := range strings.Split(string(b), "\n") {
			add(line)
		}
	}
	slices.SortFunc(out, func(a, b string) int { return len(b) - len(a) })
	return out
}

// leaves walks the texts of a JSON tree.
func leaves(tree any, each func(string)) {
	switch v := tree.(type) {
	case string:
		each(v)
	case []any:
		for _, one := range v {
			leaves(one, each)
		}
	case map[string]any:
		for key, one := range v {
			each(key)
			leaves(one, each)
		}
	}
}
