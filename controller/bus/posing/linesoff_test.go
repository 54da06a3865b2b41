//go:build linux && (amd64 || arm64)

package posing_test

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/bus/posing"
)

// Lines that a dead program has left on are driven off, and the stop button of a starter is pressed, unless the
// program had ended in order.
func TestTheForcedOffHelper(t *testing.T) {
	if _, err := os.Stat("/run/ductwarden"); err == nil {
		one.Lock()
		t.Cleanup(one.Unlock)
	}
	exe, err := built()
	require.NoError(t, err)
	const level, relayOpen, relayClose, lamp, start, stop, button = 17, 22, 27, 19, 23, 24, 6
	files := posing.Start(t)
	for i, result := range []string{"signal", "success"} {
		pins := posing.NewLines("posing", "GPIO", 32)
		dir := t.TempDir()
		file := filepath.Join(dir, "shop.yaml")
		require.NoError(t, os.WriteFile(file, fmt.Appendf(nil, `lines: %s
console: {socket: %s/c.sock}
collectors:
  - {name: collector, motor: {power: 2 hp, poles: 2, phases: 1}, starter: {line: GPIO17, pulsed: no}}
  - {name: vacuum, motor: {power: 1 hp, poles: 2, phases: 1}, starter: {momentary: {start: GPIO23, stop: GPIO24}}}
gates: [{name: saw, collector: collector, actuator: {relay: {open: GPIO22, close: GPIO27, travel: 2 s}}}]
inputs: {ready: GPIO6}
signals: {lamp: {line: GPIO19, shows: [alarm]}}
`, files.Lines(fmt.Sprint("gpiochip8", i), pins), dir), 0o600))
		for _, on := range []int{level, relayOpen, lamp, button} {
			pins.Drive(on, true)
		}
		program, err := files.Command(exe, "lines-off", "--config", file)
		require.NoError(t, err)
		var out bytes.Buffer
		program.Env = append(program.Env, "TMPDIR="+dir, "SERVICE_RESULT="+result)
		program.Stdout, program.Stderr = &out, &out
		require.NoError(t, program.Start())
		require.NoError(t, program.Wait(), out.String())
		for _, off := range []int{level, relayOpen, relayClose, lamp, start, stop} {
			assert.False(t, pins.Look(off).High, "line %d", off)
			assert.True(t, pins.Look(off).Output, "line %d", off)
		}
		assert.True(t, pins.Look(button).High, "a button is left alone")
		pressed := false
		for _, c := range pins.Look(stop).Log {
			pressed = pressed || c.High
		}
		assert.Equal(t, result != "success", pressed, "the stop button, after the end %q", result)
		for _, c := range pins.Look(start).Log {
			assert.False(t, c.High, "the start button is never pressed")
		}
		assert.Contains(t, out.String(), "driven off: 6 lines of "+file)
	}
}

// Whoever breaks the shop file under a running program: its lines are driven off all the same when it dies.
func TestTheForcedOffHelperWithABrokenFile(t *testing.T) {
	if _, err := os.Stat("/run/ductwarden"); err == nil {
		one.Lock()
		t.Cleanup(one.Unlock)
	}
	exe, err := built()
	require.NoError(t, err)
	files := posing.Start(t)
	pins := posing.NewLines("posing", "GPIO", 32)
	dir := t.TempDir()
	file := filepath.Join(dir, "shop.yaml")
	require.NoError(t, os.WriteFile(file, fmt.Appendf(nil, `lines: %s
console: {socket: %[2]s/c.sock}
starts: {path: %[2]s/starts}
page: {listen: off}
collectors: [{name: collector, motor: {power: 2 hp, poles: 2, phases: 1}, starter: {line: GPIO17, pulsed: no}}]
gates: [{name: saw, actuator: {hand: {}}}]
inputs: {ready: GPIO6}
`, files.Lines("gpiochip95", pins), dir), 0o600))
	begin := func(args ...string) (*bytes.Buffer, *posing.Guest) {
		program, err := files.Command(exe, args...)
		require.NoError(t, err)
		var out bytes.Buffer
		program.Env = append(program.Env, "TMPDIR="+dir, "SERVICE_RESULT=signal")
		program.Stdout, program.Stderr = &out, &out
		require.NoError(t, program.Start())
		return &out, program
	}
	_, daemon := begin("run", "--config", file)
	require.Eventually(t, func() bool {
		_, err := os.Stat(filepath.Join(dir, "c.sock"))
		return err == nil && pins.Look(17).Output
	}, 20*time.Second, 10*time.Millisecond)
	require.NoError(t, os.WriteFile(file, []byte("lines: ["), 0o600))
	require.NoError(t, daemon.Process.Kill())
	_ = daemon.Wait()
	pins.Drive(17, true) // as if it had died with the collector on

	out, helper := begin("lines-off", "--config", file)
	require.NoError(t, helper.Wait(), out.String())
	assert.Contains(t, out.String(), "driven off: 1 lines of the shop file in force")
	assert.False(t, pins.Look(17).High)
	out, helper = begin("lines-off", "--config", file)
	require.Error(t, helper.Wait(), "once they are off, the file counts again")
	assert.Contains(t, out.String(), "shop.yaml")
}
