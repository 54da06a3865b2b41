//go:build amd64 || arm64

package main

import (
	"bytes"
	"fmt"
	"log/slog"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
	"ductwarden/controller/bus"
	"ductwarden/controller/bus/posing"
	adc "ductwarden/current/ads1115/chip"
)

// slowMetal is a shop with four converters on a bus of the given clock; its two last converters are missing.
func slowMetal(t *testing.T, clock int) (*metal, *posing.Bus, *bytes.Buffer, *slog.Logger) {
	t.Helper()
	files, wires := posing.Start(t), posing.NewBus()
	wires.SetClock(clock)
	machines := ""
	for chip := range 4 {
		machines += fmt.Sprintf("  - {name: machine %d, gates: [saw], sensors: [{clamp: {adc: ads1115@%#x, channel: 0, scale: 33.3 mV/A, running: 2.5 A}}]}\n", chip, 0x48+chip)
		if chip < 2 {
			wires.Attach(uint16(0x48+chip), adc.New(nil, adc.Options{}))
		}
	}
	file, err := config.Parse("shop", strings.NewReader(fmt.Sprintf("buses: {main: %s}\nlines: gpiochip0\ngates: [{name: saw, actuator: hand}]\nmachines:\n%s", files.I2C("i2c-96", wires), machines)))
	require.NoError(t, err)
	m, err := openMetal(file)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, m.Close()) })
	var log bytes.Buffer
	return m, wires, &log, slog.New(slog.NewTextHandler(&log, nil))
}

// The clock of each bus is measured at the start; one too slow for its chips is told with the cure, and a chip that is
// missing does not end the start.
func TestBusesAreMeasured(t *testing.T) {
	m, _, log, to := slowMetal(t, 62_500) // as boards set to 100 kHz were measured
	require.NoError(t, m.lookAround(to))
	assert.Contains(t, log.String(), "no ads1115 answers; chips answer at 0x48, 0x49")
	assert.Contains(t, log.String(), "want 108000 of its bits")
	assert.Contains(t, log.String(), "i2c_arm_baudrate=400000")
	assert.Equal(t, 1, strings.Count(log.String(), "msg=measured"), "one chip is enough")

	families := map[string]bool{}
	for _, f := range m.source().Families {
		families[f.Name] = true
	}
	values := map[string]float64{}
	for _, s := range m.samples() {
		require.True(t, families[s.Name], s.Name)
		values[s.Name+strings.Join(s.Labels, "/")] = s.Value
	}
	assert.InEpsilon(t, 62_500, values["ductwarden_bus_clock_hertzmain"], 0.25)
	assert.Positive(t, values["ductwarden_bus_transfers_totalmain/good"])
	assert.Positive(t, values["ductwarden_bus_transfers_totalmain/no_answer"])
	assert.Positive(t, values["ductwarden_bus_busy_seconds_totalmain"])
}

func TestAKernelDriverOnAChipEndsTheStart(t *testing.T) {
	m, wires, _, to := slowMetal(t, 0)
	wires.TakenByKernel(0x49)
	err := m.lookAround(to)
	require.ErrorIs(t, err, bus.ErrTaken)
	assert.Contains(t, err.Error(), filepath.Base("i2c-96")+" 0x49")
}
