package config

import (
	"maps"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const toSplice = `# Our shop, never to be rewritten.
buses: {main: /dev/i2c-1}   # the left connector
gates:
  - name: "saw \"one\""      # quoted
    actuator:
      servo:
        chip: pca9685@0x40
        channel: 0
        open: 1900 us         # by hand, 3 May
        closed: 1100 us
  - {name: 'lathe''s', actuator: {servo: {chip: pca9685@0x40, channel: 1, open: 1900 us, closed: 1100 us}}}   # µ: ä
machines:
  - name: saw
    gates: [saw-one]
    sensors:
      - clamp: {adc: ads1115@0x48, channel: 0, scale: 33.3 mV/A, running: 2 A}
`

func TestSpliceChangesOneValue(t *testing.T) {
	for _, c := range []struct{ path, to, old, new string }{
		{"gates[0].actuator.servo.open", "1875 us", "open: 1900 us         # by hand", "open: 1875 us         # by hand"},
		{"gates[1].actuator.servo.closed", "1090 us", "closed: 1100 us}}}   # µ", "closed: 1090 us}}}   # µ"},
		{"gates[0].name", "table saw", `name: "saw \"one\""      #`, `name: table saw      #`},
		{"gates[1].name", "lathe: two", `name: 'lathe''s',`, `name: "lathe: two",`},
		{"gates[1].name", "# x", `name: 'lathe''s',`, `name: "# x",`},
		{"machines[0].sensors[0].clamp.running", "2.4 A", "running: 2 A}", "running: 2.4 A}"},
		{"buses.main", "/dev/i2c-3", "{main: /dev/i2c-1}", "{main: /dev/i2c-3}"},
		// keys that were not there
		{"machines[0].sensors[0].clamp.idle", "1.1 A", "running: 2 A}", "running: 2 A, idle: 1.1 A}"},
		{"gates[0].actuator.servo.travel", "700 ms", "        closed: 1100 us\n", "        closed: 1100 us\n        travel: 700 ms\n"},
		{"machines[0].run_down", "12 s", "  - name: saw\n", "  - name: saw\n    run_down: 12 s\n"},
		{"shop", "Our shop", "buses:", "shop: Our shop\nbuses:"},
	} {
		out, err := Splice([]byte(toSplice), c.path, c.to)
		require.NoError(t, err, c.path)
		assert.Equal(t, strings.Replace(toSplice, c.old, c.new, 1), string(out), c.path)
		_, problem := parse("", out)
		assert.Nil(t, problem)
	}
}

func TestSpliceKeepsWindowsLineEnds(t *testing.T) {
	text := strings.ReplaceAll(toSplice, "\n", "\r\n")
	out, err := Splice([]byte(text), "gates[0].actuator.servo.travel", "700 ms")
	require.NoError(t, err)
	assert.Equal(t, strings.Replace(text, "        closed: 1100 us\r\n", "        closed: 1100 us\r\n        travel: 700 ms\r\n", 1), string(out))
}

func TestSpliceRefuses(t *testing.T) {
	text := toSplice + "together: &t [[saw, saw]]\nlimits: {longest_run: &l 2 h, longest_hold: *l}\nshop: >\n  folded\n"
	for path, sentence := range map[string]string{
		"gates[7].name":                  "no such item",
		"gates[0].actuator.relay.travel": "lacks the keys above it",
		"gates[0].actuator":              "not one value",
		"limits.longest_run":             "anchor",
		"limits.longest_hold":            "alias",
		"shop":                           "several lines",
		"gates[0].name.first":            "no such key",
	} {
		_, err := Splice([]byte(text), path, "1 h")
		assert.ErrorContains(t, err, sentence, path)
	}
	_, err := Splice([]byte(toSplice), "gates[0].name", "two\nlines")
	assert.ErrorContains(t, err, "one line")
	_, err = Splice([]byte("gates: ["), "gates", "x")
	assert.Error(t, err)
}

// Every value of the reference file can be replaced by itself without a change of meaning or of any other character.
func TestSpliceEveryValue(t *testing.T) {
	text, err := os.ReadFile("reference.yaml")
	require.NoError(t, err)
	s, err := Load("reference.yaml")
	require.NoError(t, err)
	root, problem := parse("", text)
	require.Nil(t, problem)
	tried := 0
	for i, path := range slices.Sorted(maps.Keys(s.positions)) {
		if i%4 != 0 { // a quarter of them, for time
			continue
		}
		node, rest, err := descend(root, path)
		require.NoError(t, err, path)
		require.Empty(t, rest, path)
		if node.Content != nil || node.Value == "" {
			continue
		}
		tried++
		out, err := Splice(text, path, node.Value)
		require.NoError(t, err, path)
		assert.Equal(t, strings.Count(string(text), "\n"), strings.Count(string(out), "\n"))
		assert.InDelta(t, len(text), len(out), 2, "%s: only quotes may come or go", path)
	}
	assert.Greater(t, tried, 70)
}
