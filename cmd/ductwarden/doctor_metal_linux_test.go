//go:build amd64 || arm64

package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/bus/posing"
	adc "ductwarden/current/ads1115/chip"
	pulses "ductwarden/gates/pca9685/chip"
)

func TestDoctorMetal(t *testing.T) {
	files := posing.Start(t) // in the usual folder: a shop file takes no long names of line chips
	alone(t)
	bus, pins := posing.NewBus(), posing.NewLines("posing", "GPIO", 32)
	bus.Attach(0x40, pulses.New(0x40, 25_000_000))
	pins.Take(17, "somebody else")
	p := ward(t, "")
	text := fmt.Sprintf(`buses: {main: %s}
lines: %s
console: {socket: DIR/console.sock}
starts: {path: DIR/starts}
page: {access: DIR/access}
collectors: [{name: collector, motor: {power: 2 hp, poles: 2, phases: 1}, starter: {line: GPIO17}}]
gates: [{name: saw, actuator: {servo: {chip: pca9685@0x40, channel: 0, open: 1900 us, closed: 1100 us}}}]
machines: [{name: saw, gates: [saw], sensors: [{clamp: {adc: ads1115@0x48, channel: 0, scale: 33.3 mV/A, running: 2.5 A, idle: 1.2 A}}]}]
inputs: {ready: GPIO6}
`, files.I2C("i2c-92", bus), files.Lines("gpiochip92", pins))
	require.NoError(t, os.WriteFile(p.config, []byte(strings.ReplaceAll(text, "DIR", filepath.Dir(p.config))), 0o600))

	f := examine(t.Context(), p)
	assert.True(t, found(f, "chips", findingGood, "pca9685@0x40 answers"), f.List)
	assert.True(t, found(f, "chips", findingBad, "no ads1115 answers; chips answer at 0x40"), f.List)
	assert.True(t, found(f, "lines", findingBad, `used by "somebody else"`), f.List)
	assert.True(t, found(f, "lines", findingGood, "6 (ready)"), f.List)
	assert.Zero(t, pins.Look(17).Log, "no line is driven")

	bus.Attach(0x48, adc.New(nil, adc.Options{}))
	assert.True(t, found(examine(t.Context(), p), "chips", findingGood, "ads1115@0x48 answers"))
}
