package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// ward is a shop file in a folder of its own and a patient with a root of its own.
func ward(t *testing.T, text string) *patient {
	t.Helper()
	dir := t.TempDir()
	p := newPatient(filepath.Join(dir, "shop.yaml"))
	p.root = filepath.Join(dir, "root")
	p.dial = func(context.Context, string, string) (net.Conn, error) { return nil, errors.New("connection refused") }
	require.NoError(t, os.WriteFile(p.config, []byte(strings.ReplaceAll(text, "DIR", dir)), 0o600))
	return p
}

func (p *patient) has(t *testing.T, path, text string) {
	t.Helper()
	full := filepath.Join(p.root, path)
	require.NoError(t, os.MkdirAll(filepath.Dir(full), 0o755))
	require.NoError(t, os.WriteFile(full, []byte(text), 0o644))
}

// found gives the finding of an area and level whose words contain a part.
func found(f *findings, area, level, part string) bool {
	for _, one := range f.List {
		if one.Area == area && one.Level == level && strings.Contains(one.What, part) {
			return true
		}
	}
	return false
}

const wardShop = `buses: {main: /dev/i2c-97}
lines: gpiochip97
console: {socket: DIR/console.sock}
starts: {path: DIR/starts}
page: {listen: "PAGE", access: DIR/access, texts: /nowhere/texts.json}
journal: {path: DIR/journal.db}
mqtt: {broker: "tcp://127.0.0.1:1", site: ward, password_file: DIR/word}
collectors: [{name: collector, motor: {power: 2 hp, poles: 2, phases: 1}, starter: {line: GPIO17, pulsed: no}}]
gates: [{name: saw, actuator: {servo: {chip: pca9685@0x40, channel: 0, open: 1900 us, closed: 1100 us}}}]
`

// Whatever doctor says that is not good ends with something to do, on a well board and on an ill one.
func TestDoctorSaysWhatToDo(t *testing.T) {
	alone(t)
	words := strings.ReplaceAll(wardShop, "PAGE", ":8480")
	ill := ward(t, words)
	ill.has(t, "sys/devices/platform/soc/soc:firmware/get_throttled", "50005\n")
	ill.has(t, "sys/class/watchdog/watchdog0/state", "inactive\n")
	ill.has(t, "etc/avahi/avahi-daemon.conf", "[server]\n")
	require.NoError(t, os.WriteFile(filepath.Join(filepath.Dir(ill.config), "word"), []byte("planted"), 0o644))
	sunk := ward(t, words)
	sunk.has(t, "sys/devices/platform/soc/soc:firmware/get_throttled", "50000\n")
	sunk.has(t, "proc/device-tree/model", "A Board Model 1\x00")
	broken := ward(t, "gates: [{name: saw}]\n")
	none := newPatient(filepath.Join(t.TempDir(), "none.yaml"))
	local := ward(t, strings.ReplaceAll(wardShop, "PAGE", "127.0.0.1:8480"))

	for name, p := range map[string]*patient{"ill": ill, "sunk": sunk, "broken": broken, "none": none, "local": local} {
		f := examine(t.Context(), p)
		for _, one := range f.List {
			if one.Level != findingGood {
				assert.NotEmpty(t, one.Next, "%s: %s: %s", name, one.Area, one.What)
			}
			assert.NotEmpty(t, one.What)
		}
		assert.NotZero(t, len(f.List), name)
	}

	f := examine(t.Context(), ill)
	assert.True(t, found(f, "supply", findingBad, "too low now"))
	assert.True(t, found(f, "watchdog", findingNote, "not used"))
	assert.True(t, found(f, "buses", findingBad, "i2c-97"))
	assert.True(t, found(f, "lines", findingBad, "gpiochip97"))
	assert.True(t, found(f, "broker", findingBad, "nothing answers at tcp://127.0.0.1:1"))
	assert.True(t, found(f, "broker", findingBad, "can be read by others"))
	assert.True(t, found(f, "page", findingNote, "not announced"))
	assert.True(t, found(f, "page", findingBad, "/nowhere/texts.json"))
	assert.True(t, found(f, "shop file", findingNote, "level line"))
	assert.True(t, found(f, "daemon", findingNote, "no daemon runs"))
	assert.NotEmpty(t, f.URL)
	assert.True(t, found(examine(t.Context(), sunk), "supply", findingBad, "has been too low"))
	assert.True(t, found(examine(t.Context(), sunk), "board", findingGood, "A Board Model 1"))
	assert.True(t, found(examine(t.Context(), broken), "shop file", findingBad, "is not in order"))
	assert.True(t, found(examine(t.Context(), none), "shop file", findingBad, "there is no shop file"))
	assert.Empty(t, examine(t.Context(), local).URL)
}

func TestDoctorShowsTheRunningDaemonInPlaceOfItsBuses(t *testing.T) {
	d := testSocket(t)
	p := ward(t, strings.ReplaceAll(wardShop, "PAGE", "off"))
	text, err := os.ReadFile(p.config)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(p.config, bytes.Replace(text, []byte(filepath.Dir(p.config)+"/console.sock"), []byte(d), 1), 0o600))
	f := examine(t.Context(), p)
	assert.True(t, found(f, "daemon", findingGood, "standing by"), f.List)
	assert.True(t, found(f, "daemon", findingBad, "bin of collector is full"))
	assert.False(t, found(f, "daemon", findingBad, "gone"))
	assert.False(t, found(f, "buses", findingBad, ""))
	assert.True(t, found(f, "page", findingGood, "switched off"))
}

func TestDoctorPrints(t *testing.T) {
	alone(t)
	f := &findings{URL: "http://shop.local:8480/"}
	f.good("board", "a board")
	f.bad("chips", "look at its plug", "no chip")
	var out bytes.Buffer
	require.NoError(t, tellFindings(&out, f, false))
	assert.Contains(t, out.String(), "-> look at its plug")
	assert.Contains(t, out.String(), "1 good, 0 to know, 1 bad")
	assert.NotContains(t, out.String(), "█", "a code only where a telephone sees it")
	out.Reset()
	require.NoError(t, tellFindings(&out, f, true))
	assert.Contains(t, out.String(), "█")
	assert.Contains(t, out.String(), "http://shop.local:8480/")

	p := ward(t, strings.ReplaceAll(wardShop, "PAGE", "127.0.0.1:8480"))
	code, stdout, _ := spoken(t, t.Context(), "doctor", "--config", p.config, "--json")
	assert.Equal(t, exitNo, code)
	var got findings
	require.NoError(t, json.Unmarshal([]byte(stdout), &got))
	assert.True(t, found(&got, "buses", findingBad, "i2c-97"))
}
