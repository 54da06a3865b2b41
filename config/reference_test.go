package config

import (
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var index = regexp.MustCompile(`\[\d+\]`)

// lineWords are explained once for all places where a line stands.
var lineWords = []string{"line", "offset", "chip", "active", "pull", "debounce", "held_off"}

func TestReferenceLoads(t *testing.T) {
	_, err := Load("reference.yaml")
	require.NoError(t, err)
}

// found lists the keys that a file uses, with a * for the names that the person chose.
func found(s *Shop, keys []string) map[string][]Position {
	used := map[string][]Position{}
	for path, at := range s.positions {
		p := index.ReplaceAllString(path, "[]")
		p = strings.Replace(p, "bin_emptied[]", "bin_emptied", 1) // one button, or a list of them
		if !slices.Contains(keys, p) {
			parts := strings.Split(p, ".")
			for i := range parts {
				named := slices.Clone(parts)
				named[i] = "*"
				if star := strings.Join(named, "."); slices.Contains(keys, star) {
					p = star
				}
			}
		}
		used[p] = append(used[p], at)
	}
	return used
}

func TestReferenceHasEveryKey(t *testing.T) {
	s, err := Load("reference.yaml")
	require.NoError(t, err)
	text, err := os.ReadFile("reference.yaml")
	require.NoError(t, err)
	keys, takes := accepted()
	require.Greater(t, len(keys), 200)
	used := found(s, keys)
	lines := strings.Split(string(text), "\n")
	for _, key := range keys {
		word := key[strings.LastIndex(key, ".")+1:]
		if slices.Contains(lineWords, word) && takesLine(keys, key) {
			assert.Regexp(t, `(?m)\b`+word+`: `, string(text), "the word %s of a line is explained nowhere", word)
			continue
		}
		if key == "air.density" || key == "air.viscosity" || key == "gates[].collector" { // exclude those beside them; in comments
			assert.Contains(t, string(text), word+":")
			continue
		}
		if strings.Contains(key, ".proof.clamp.") {
			continue // explained at the machines' clamps
		}
		assert.NotEmpty(t, used[key], "%s is accepted and stands nowhere in reference.yaml", key)
		if strings.HasSuffix(key, "*") {
			continue
		}
		if takes[key] != "" && !repeats(key) {
			said := false
			for _, at := range used[key] {
				said = said || strings.Contains(around(lines, at.Line), takes[key])
			}
			assert.True(t, said, "reference.yaml does not say that %s takes %s", key, takes[key])
		}
	}
}

// around is a line with the comment lines that go on below it.
func around(lines []string, n int) string {
	text := lines[n-1]
	for i := n; i < len(lines) && strings.HasPrefix(strings.TrimSpace(lines[i]), "#"); i++ {
		text += "\n" + lines[i]
	}
	return text
}

// takesLine tells whether a key is one of the words of a line: it has its siblings.
func takesLine(keys []string, key string) bool {
	base := key[:strings.LastIndex(key, ".")+1]
	return slices.Contains(keys, base+"offset") && slices.Contains(keys, base+"active")
}

// repeats tells whether a part of the file is explained elsewhere: the losses by filter.clean, the collector's clamp
// and remote reading by the machine's.
func repeats(key string) bool {
	for _, part := range []string{"filter.loaded.", "separator.", "exhaust.", "proof.clamp.", "proof.remote.", "coefficients.", "fan.includes[]"} {
		if strings.Contains(key, part) {
			return true
		}
	}
	return false
}
