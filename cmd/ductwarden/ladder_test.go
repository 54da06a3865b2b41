package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
	"ductwarden/controller"
)

// climb is one person's shop file on its way up the ladder.
type climb struct {
	t    *testing.T
	path string
	said []string // comments that the person has written
}

// verb runs the program as a person would, with what is typed.
func (c *climb) verb(typed string, args ...string) string {
	c.t.Helper()
	ctx, cancel := context.WithTimeout(c.t.Context(), time.Minute)
	defer cancel()
	var out, errs bytes.Buffer
	code := run(ctx, args, strings.NewReader(typed), &out, &errs)
	require.Equal(c.t, exitDone, code, "%v: %s%s", args, errs.String(), out.String())
	return out.String()
}

// bench runs a verb of the bench against the simulated shop of the file.
func (c *climb) bench(typed string, args ...string) string {
	c.t.Helper()
	return c.verb(typed, append(args, "--rehearse", "--speed", "60", "--config", c.path)...)
}

func (c *climb) text() string {
	b, err := os.ReadFile(c.path)
	require.NoError(c.t, err)
	return string(b)
}

// edit changes the text as a person does in an editor.
func (c *climb) edit(change func(string) string) {
	c.t.Helper()
	before := c.text()
	after := change(before)
	require.NotEqual(c.t, before, after)
	require.NoError(c.t, os.WriteFile(c.path, []byte(after), 0o600))
}

// note puts a comment behind a line of the file, as people do.
func (c *climb) note(line, comment string) {
	c.t.Helper()
	c.said = append(c.said, comment)
	c.edit(func(s string) string {
		require.Contains(c.t, s, line)
		return strings.Replace(s, line, line+"   # "+comment, 1)
	})
}

// stands checks the rung: every comment is still there, the file passes check, and it works a day in the simulated
// shop: each machine calls its air and gets its gates, and the collector where there is one.
func (c *climb) stands(rung string) *config.Shop {
	c.t.Helper()
	for _, said := range c.said {
		require.Contains(c.t, c.text(), said, rung)
	}
	c.verb("", "check", c.path)
	file, err := config.Load(c.path)
	require.NoError(c.t, err, rung)
	th, err := newTheatre(c.t.Context(), file, 1)
	require.NoError(c.t, err, rung)
	th.loop.Post(controller.Event{Kind: controller.ReadyPressed, By: controller.FromConsole})
	th.clock.Advance(c.t.Context(), th.clock.Now()+2*time.Second)
	for i := range file.Machines {
		th.loop.Post(controller.Event{Kind: controller.CallAir, By: controller.FromPage, N: uint8(i), V: 20_000})
		th.clock.Advance(c.t.Context(), th.clock.Now()+15*time.Second)
		s := th.loop.Snapshots().Latest()
		for _, g := range file.Machines[i].Gates {
			assert.Equal(c.t, "open", s.Gates[g].State, "%s: %s", rung, file.Gates[g].Name)
		}
		for _, k := range file.Machines[i].Collectors {
			if file.Collectors[k].Starter != nil {
				assert.Equal(c.t, "running", s.Collectors[k].Phase, rung)
			}
		}
	}
	return file
}

var ends = regexp.MustCompile(`open: (\d+) us, closed: (\d+) us`)

// One file is carried up the whole ladder, rung by rung, by the verbs and by the person's own hand; on every rung it
// passes check and works, and no comment is lost.
func TestOneFileClimbsTheWholeLadder(t *testing.T) {
	c := &climb{t: t, path: filepath.Join(t.TempDir(), "shop.yaml")}

	// a gate with no shop file at all
	toEnds := "\n+10\n+200\n+200\nmark open\n" + strings.Repeat("-200\n", 4) + "mark closed\nwrite\n"
	c.bench(toEnds+"n\n", "jog", "pca9685@0x40/0", "--name", "saw")
	require.NoFileExists(t, c.path, "nothing is written without a yes")
	out := c.bench(toEnds+"y\n", "jog", "pca9685@0x40/0", "--name", "saw")
	assert.Contains(t, out, "pinch")
	assert.Contains(t, out, "simulated blade 100 % open")
	assert.Equal(t, []string{"open: 1900 us, closed: 1100 us", "1900", "1100"}, ends.FindStringSubmatch(c.text()))
	c.stands("first gate")

	// the same gate once more, by its name: only its ends change
	c.note("gates:", "laid on a Sunday")
	c.bench("\n+10\n+200\nmark open\n-200\n-200\nmark closed\nwrite\ny\n", "jog", "saw")
	assert.Equal(t, "open: 1700 us, closed: 1300 us", ends.FindString(c.text()))
	c.stands("first gate again")

	// a button, typed in by hand
	c.edit(func(s string) string {
		return s + "\nmachines:\n  - name: table saw        # the old one\n    gates: [saw]\n    sensors:\n      - {button: {line: GPIO26, for: 2 min}}   # beside the fence\n"
	})
	c.said = append(c.said, "the old one", "beside the fence")
	c.stands("button")

	// its clamp, and what it looks like
	c.bench("y\n", "listen", "ads1115@0x48", "--add", "0=table saw", "--for", "1s")
	file := c.stands("clamp")
	require.NotNil(t, file.Machines[0].Sensors[1].Clamp)
	c.note("running: 1.6 A}}", "which way round does not matter")
	out = c.bench("\n\n\n6s\ny\n", "learn", "table saw")
	assert.Contains(t, out, "2.5 times")
	file = c.stands("learnt")
	clamp := file.Machines[0].Sensors[1].Clamp
	assert.InDelta(t, 1.1, clamp.Running, 0.1, "0.4 of the simulated motor's 2.7 A without work")
	assert.Less(t, clamp.Idle, clamp.Running)
	assert.InDelta(t, 11, file.Machines[0].RunDown.Seconds(), 3.1, "a quarter more than the stopwatch's 6 s, and what a busy computer adds")

	// a second gate and a second machine on the same boards
	c.bench(toEnds+"y\n", "jog", "pca9685@0x40/1", "--name", "planer")
	c.bench("y\n", "listen", "ads1115@0x48", "--add", "1=planer", "--for", "1s")
	file = c.stands("second machine")
	require.Equal(t, []int{1}, file.Machines[1].Gates, "the gate that no machine had")

	// the collector's starter
	c.edit(func(s string) string {
		return strings.Replace(s, "\nmachines:", "\ncollectors:\n  - name: collector        # under the stairs\n    motor: {power: 1.5 kW, poles: 2, phases: 1}\n    starter: {line: GPIO17}\n\nmachines:", 1)
	})
	c.said = append(c.said, "under the stairs")
	c.bench("y\n", "listen", "ads1115@0x48", "--add", "2=lathe", "--for", "1s")
	c.stands("collector")

	// ducts and fan: the air is judged
	c.edit(func(s string) string {
		s = strings.Replace(s, "    motor: {power", "    fan: {inlet: 150 mm, guess: {shutoff: 2600 Pa, free_flow: 2800 m3/h}}   # from the label\n    motor: {power", 1)
		s = strings.Replace(s, "{name: saw, actuator", "{name: saw, duct: saw drop, actuator", 1)
		s = strings.Replace(s, "{name: planer, actuator", "{name: planer, duct: planer drop, actuator", 1)
		s = strings.Replace(s, "    gates: [saw]\n", "    ports: [saw]\n", 1)
		s = strings.Replace(s, "{name: planer, gates: [planer]", "{name: planer, ports: [planer]", 1)
		s = regexp.MustCompile(`\{name: lathe, gates: \[[a-z]+\]`).ReplaceAllString(s, "{name: lathe, ports: [saw]")
		return s + `
ducts:
  - {name: trunk, into: collector, diameter: 125 mm, length: 3 m, wall: galvanized}   # 125 from the start
  - {name: saw drop, into: trunk, diameter: 100 mm, length: 2 m, wall: galvanized, fittings: {branch_45: 1}}
  - {name: planer drop, into: trunk, diameter: 100 mm, length: 2 m, wall: galvanized, fittings: {branch_45: 1}}
ports:
  - {name: saw, duct: saw drop, hood: plain, airflow: 560 m3/h}
  - {name: planer, duct: planer drop, hood: plain, airflow: 560 m3/h}
`
	})
	c.said = append(c.said, "from the label", "125 from the start")
	file = c.stands("air judged")
	require.NotNil(t, file.Collectors[0].Fan)
	assert.Contains(t, c.verb("", "survey", c.path), "planer")

	// and the verbs still know their way in the grown file
	before := c.text()
	c.bench("\n\n\n4s\ny\n", "learn", "planer")
	c.bench("\n+10\n+200\n+200\nmark open\nwrite\ny\n", "jog", "saw")
	c.stands("top")
	c.verb("", "rehearse", c.path, "--speed", "0")
	assert.NotEqual(t, before, c.text())
	assert.Len(t, strings.Split(c.text(), "\n"), len(strings.Split(before, "\n")), "values are changed in their place")
}
