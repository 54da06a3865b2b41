package config

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestAppendAddsOneItem(t *testing.T) {
	const flow = "gates: [{name: a, actuator: hand}]   # one line\n# the end\n"
	const wide = "gates: [{name: \"a]\", actuator: hand},   # of } two\n  {name: b, actuator: hand}\n]\n"
	for _, c := range []struct{ text, list, item, old, new string }{
		{toSplice, "gates", "{name: c, actuator: hand}", "closed: 1100 us}}}   # µ: ä\n", "closed: 1100 us}}}   # µ: ä\n  - {name: c, actuator: hand}\n"},
		{toSplice, "machines", "{name: c, gates: [c]}", "running: 2 A}\n", "running: 2 A}\n  - {name: c, gates: [c]}\n"},
		{toSplice, "machines[0].sensors", "{button: {line: GPIO26}}", "running: 2 A}\n", "running: 2 A}\n      - {button: {line: GPIO26}}\n"},
		{toSplice, "machines[0].gates", "lathe", "gates: [saw-one]", "gates: [saw-one, lathe]"},
		{toSplice, "machines[0].ports", "saw", "  - name: saw\n    gates: [saw-one]\n", "  - name: saw\n    gates: [saw-one]\n"},
		{toSplice, "collectors", "{name: c}", "running: 2 A}\n", "running: 2 A}\ncollectors:\n  - {name: c}\n"},
		{flow, "gates", "{name: b, actuator: hand}", "hand}]   #", "hand}, {name: b, actuator: hand}]   #"},
		{flow, "machines", "{name: b, gates: [a]}", "# the end\n", "# the end\nmachines:\n  - {name: b, gates: [a]}\n"},
		{wide, "gates", "{name: c, actuator: hand}", "\n]\n", "\n, {name: c, actuator: hand}]\n"},
		{"gates: []\n", "gates", "{name: b, actuator: hand}", "[]", "[{name: b, actuator: hand}]"},
	} {
		out, err := Append([]byte(c.text), c.list, c.item)
		require.NoError(t, err, c.list)
		if c.old != c.new {
			assert.Equal(t, strings.Replace(c.text, c.old, c.new, 1), string(out), c.list)
		}
		for _, line := range strings.Split(c.text, "\n") {
			if i := strings.IndexByte(line, '#'); i >= 0 {
				assert.Contains(t, string(out), line[i:], "comments stay")
			}
		}
	}
}

func TestAppendKeepsWindowsLineEnds(t *testing.T) {
	text := strings.ReplaceAll(toSplice, "\n", "\r\n")
	for list, item := range map[string]string{"gates": "{name: c, actuator: hand}", "collectors": "{name: c}"} {
		out, err := Append([]byte(text), list, item)
		require.NoError(t, err)
		assert.NotRegexp(t, `[^\r]\n`, string(out))
	}
}

func TestAppendRefuses(t *testing.T) {
	for list, want := range map[string]string{
		"gates[0]":           "it is no list",
		"gates[7].proof":     "the file has no such item",
		"machines[3]":        "the file has no such item",
		"signals.lamp.shows": "the file lacks the keys above it",
	} {
		_, err := Append([]byte(toSplice), list, "{name: x}")
		assert.ErrorContains(t, err, want, list)
	}
	_, err := Append([]byte(toSplice), "gates", "{name: x}\n")
	assert.ErrorContains(t, err, "one line")
	_, err = Append([]byte("gates: ["), "gates", "{name: x}")
	assert.ErrorContains(t, err, "cannot be changed")
	_, err = Append([]byte(toSplice), "gates", "{name: x}, {name: y")
	assert.Error(t, err)
}
