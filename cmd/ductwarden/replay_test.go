package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// program runs a verb as a person would.
func program(t *testing.T, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, err bytes.Buffer
	code = run(context.Background(), args, strings.NewReader(""), &out, &err)
	return code, out.String(), err.String()
}

// recordedShop is a small shop with one machine whose motor draws little.
const recordedShop = `version: 1
shop: recorded
buses: {main: /dev/i2c-1}
collectors:
  - {name: collector, motor: {power: 1.5 kW, poles: 2, phases: 3}, starter: {line: GPIO17}}
gates:
  - {name: lathe, actuator: {servo: {chip: pca9685@0x40, channel: 0, open: 1900 us, closed: 1100 us, travel: 600 ms}}}
machines:
  - {name: lathe, gates: [lathe], run_down: 5 s, sensors: [{clamp: {adc: ads1115@0x48, channel: 0, scale: 33.3 mV/A, running: 1.2 A, idle: 0.6 A}}]}
`

// recording writes 2 s of quiet (0.1 A rms of noise), 5 s of a motor, and 3 s of quiet, at 1 kHz.
func recording(t *testing.T, motor func(i int) float64) string {
	t.Helper()
	r := rand.New(rand.NewPCG(2, 6))
	var b strings.Builder
	b.WriteString("t_s,current_a\n")
	for i := range 10000 {
		a := r.NormFloat64() * 0.1
		if i >= 2000 && i < 7000 {
			a = motor(i - 2000)
		}
		fmt.Fprintf(&b, "%.3f,%.4f\n", float64(i)/1000, a)
	}
	path := filepath.Join(t.TempDir(), "recording.csv")
	require.NoError(t, os.WriteFile(path, []byte(b.String()), 0o600))
	return path
}

type replayed struct {
	Events []replayEvent `json:"events"`
}

func (r replayed) at(kind, name, to string) float64 {
	for _, e := range r.Events {
		if e.Kind == kind && e.Name == name && e.To == to {
			return e.T
		}
	}
	return math.Inf(1)
}

func play(t *testing.T, path string) replayed {
	t.Helper()
	shop := filepath.Join(t.TempDir(), "shop.yaml")
	require.NoError(t, os.WriteFile(shop, []byte(recordedShop), 0o600))
	code, first, stderr := program(t, "replay", shop, "--trace", "lathe="+path, "--json")
	require.Zero(t, code, stderr)
	_, second, _ := program(t, "replay", shop, "--trace", "lathe="+path, "--json")
	require.Equal(t, first, second, "two runs give the same bytes")
	var r replayed
	require.NoError(t, json.Unmarshal([]byte(first), &r))
	return r
}

func judge(t *testing.T, what string, r replayed) {
	t.Helper()
	on, off := r.at("machine", "lathe", "running"), r.at("machine", "lathe", "running_down")
	t.Logf("%s: running %.0f ms after the onset (goal 150), ended %.0f ms after the end (goal 1500)", what, (on-2)*1000, (off-7)*1000)
	assert.GreaterOrEqual(t, on, 2.0)
	assert.LessOrEqual(t, on, 2.150, what)
	assert.GreaterOrEqual(t, off, 7.0)
	assert.LessOrEqual(t, off, 8.5, what)
	assert.Equal(t, on, r.at("gate", "lathe", "opening"), "its gate opens in the same step")
	assert.Less(t, r.at("gate", "lathe", "open"), r.at("collector", "collector", "starting")+1e-9, "the gate before the collector")
	assert.Less(t, r.at("collector", "collector", "clearing"), r.at("collector", "collector", "lingering"))
	assert.Less(t, r.at("collector", "collector", "coasting"), r.at("collector", "collector", "off"))
}

// The line currents of a real motor without load: ITSC dataset, University of Guanajuato (doi
// 10.1016/j.measurement.2023.113680), 0.75 hp, 60 Hz, sampled at 1 kHz.
func TestReplayHearsARealMotor(t *testing.T) {
	unshared(t)
	path := filepath.Join(root(t), "..", "shared", "data", "clamp-motor-noload-1.csv")
	f, err := os.Open(path)
	if err != nil {
		t.Skip("the recorded motor currents do not lie beside the project; a generated motor stands in")
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	for c := 1; c <= 3; c++ {
		column := make([]float64, 0, len(rows))
		for _, row := range rows[1:] {
			var v float64
			_, err := fmt.Sscan(row[c], &v)
			require.NoError(t, err)
			column = append(column, v)
		}
		judge(t, rows[0][c], play(t, recording(t, func(i int) float64 { return column[i%len(column)] })))
	}
}

// A motor of our own: 50 Hz, 1.9 A rms, a fifth harmonic of 8 %, at four phases.
func TestReplayHearsAGeneratedMotor(t *testing.T) {
	unshared(t)
	for k := range 4 {
		phase := float64(k) * math.Pi / 4
		judge(t, fmt.Sprintf("generated, phase %d/8", k), play(t, recording(t, func(i int) float64 {
			x := 2*math.Pi*50*float64(i)/1000 + phase
			return math.Sqrt2 * 1.9 * (math.Sin(x) + 0.08*math.Sin(5*x))
		})))
	}
}

func TestReplayRefusesBadRecordings(t *testing.T) {
	shop := filepath.Join(t.TempDir(), "shop.yaml")
	require.NoError(t, os.WriteFile(shop, []byte(recordedShop), 0o600))
	for text, want := range map[string]string{
		"":                                "no sample",
		"t_s,amps\n0,1\n":                 "the header is",
		"t_s,current_a\n0,1\n0,2\n":       "does not rise",
		"t_s,current_a\n0,NaN\n":          "not a current",
		"t_s,current_a\n-1,1\n":           "not a time",
		"t_s,current_a\n0,1,2\n":          "two columns",
		"t_s,current_a\n0,5000\n":         "not a current",
		"t_s,current_a\n\x00\x01\x02,3\n": "not a time",
	} {
		path := filepath.Join(t.TempDir(), "bad.csv")
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		code, out, stderr := program(t, "replay", shop, "--trace", "lathe="+path)
		assert.Equal(t, exitNo, code, "%q", text)
		assert.Empty(t, out)
		assert.Contains(t, stderr, want)
		assert.Equal(t, 1, strings.Count(stderr, "\n"), "one sentence")
	}
	code, _, stderr := program(t, "replay", shop, "--trace", "saw=x.csv")
	assert.Equal(t, exitNo, code)
	assert.Contains(t, stderr, `it has "lathe"`)
	code, _, _ = program(t, "replay", shop, "--trace", "lathe")
	assert.Equal(t, exitUsage, code)
	code, _, _ = program(t, "replay", shop)
	assert.Equal(t, exitUsage, code)
}
