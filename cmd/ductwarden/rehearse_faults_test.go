package main

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/simshop"
)

// staged is a boat shed on duty, in which a test breaks things.
func staged(t *testing.T) *theatre {
	t.Helper()
	return shedWith(t, "", "")
}

// shedWith is staged with one piece of its shop file, which stands there once, written otherwise.
func shedWith(t *testing.T, piece, other string) *theatre {
	t.Helper()
	text := string(demoShop)
	if piece != "" {
		require.Equal(t, 1, strings.Count(text, piece))
		text = strings.Replace(text, piece, other, 1)
	}
	file, err := config.Parse("the boat shed", strings.NewReader(text))
	require.NoError(t, err)
	th, err := newTheatre(t.Context(), file, 1)
	require.NoError(t, err)
	ready(th)
	th.pass(t, time.Second)
	require.Equal(t, "on_duty", th.now().Mode)
	return th
}

func (th *theatre) pass(t *testing.T, d time.Duration) {
	th.clock.Advance(t.Context(), th.clock.Now()+d)
}

func (th *theatre) now() *controller.Snapshot { return th.loop.Snapshots().Latest() }

// alarms are the keys of what stands now.
func (th *theatre) alarms() (keys []string) {
	for _, a := range th.now().Alarms {
		if a.Active {
			keys = append(keys, a.Key)
		}
	}
	return keys
}

// cutting has the planer at work with its air.
func cutting(t *testing.T) *theatre {
	th := staged(t)
	starts("thickness planer", 0.5)(th)
	th.pass(t, 15*time.Second)
	require.Equal(t, "running", th.now().Collectors[0].Phase)
	require.Equal(t, "carries", th.now().Collectors[0].Transport)
	require.Empty(t, th.alarms())
	return th
}

func chip(kind string, address uint8) config.Chip { return config.Chip{Kind: kind, Address: address} }

// Each fault of the simulated shop is seen through the real drivers and comes out as its alarm.
func TestFaultsAreSeen(t *testing.T) {
	for _, c := range []struct {
		name  string
		do    func(th *theatre)
		after time.Duration
		key   string
		mend  func(th *theatre)
	}{
		{"a plug in the seaward run", func(th *theatre) { th.sim.Plug(1, 0.3) }, 40 * time.Second, "plugged/collector", func(th *theatre) { th.sim.Plug(1, 1) }},
		{"the bin left open", func(th *theatre) { th.sim.OpenBin(0, true) }, 40 * time.Second, "suction_low/collector", func(th *theatre) { th.sim.OpenBin(0, false) }},
		{"a dead clamp", func(th *theatre) { th.sim.BreakClamp(0, simshop.ClampShorted) }, 20 * time.Second, "sensor_lost/thickness-planer", func(th *theatre) { th.sim.BreakClamp(0, simshop.ClampSound) }},
		{"a silent converter", func(th *theatre) { th.sim.Silence(chip("ads1115", 0x48), true) }, 20 * time.Second, "sensor_lost/thickness-planer", func(th *theatre) { th.sim.Silence(chip("ads1115", 0x48), false) }},
		{"a silent servo board", func(th *theatre) { th.sim.Silence(chip("pca9685", 0x40), true) }, 20 * time.Second, "gate_chip_silent/planer", func(th *theatre) { th.sim.Silence(chip("pca9685", 0x40), false) }},
		{"the motor's breaker trips", func(th *theatre) { th.sim.Refuse(0, true) }, 10 * time.Second, "collector_tripped/collector", nil},
		{"the proof of the motor lost", func(th *theatre) { th.sim.BreakProof(0, simshop.ClampShorted) }, 30 * time.Second, "proof_lost/collector", nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			th := cutting(t)
			c.do(th)
			seen := false
			for end := th.clock.Now() + c.after; th.clock.Now() < end && !seen; {
				th.pass(t, 250*time.Millisecond)
				for _, k := range th.alarms() {
					seen = seen || k == c.key
				}
			}
			require.True(t, seen, "%s; alarms: %v; %s", c.key, th.alarms(), th.now().Why)
			if c.mend == nil {
				return
			}
			assert.Equal(t, "running", th.now().Collectors[0].Phase, "the air goes on: %s", th.now().Collectors[0].Why)
			c.mend(th)
			th.pass(t, 60*time.Second)
			assert.NotContains(t, th.alarms(), c.key, "it goes when it is mended")
		})
	}
}

func TestMotorThatDoesNotStart(t *testing.T) {
	th := staged(t)
	th.sim.Refuse(0, true)
	starts("thickness planer", 0.5)(th)
	th.pass(t, 20*time.Second)
	assert.Contains(t, th.alarms(), "start_not_proved/collector")
	assert.False(t, th.sim.Powered(0))
}

func TestWeldedContactor(t *testing.T) {
	th := cutting(t)
	th.sim.Weld(0, true)
	stops("thickness planer")(th)
	th.pass(t, 30*time.Second)
	finish(th)
	th.pass(t, 60*time.Second)
	require.True(t, th.sim.Powered(0))
	assert.Contains(t, th.alarms(), "stop_not_proved/collector")
	open := 0
	for g := range th.file.Gates {
		if th.sim.Blade(g) > 0.9 {
			open++
		}
	}
	assert.Positive(t, open, "the path stays open while it turns")
}

// A hand that slides the demanded gate is answered: it is driven open again.
func TestGateSlidByHandIsDrivenAgain(t *testing.T) {
	th := cutting(t)
	th.sim.Slide(th.gate("planer"), 0.5)
	th.pass(t, 5*time.Second)
	assert.Greater(t, th.sim.Blade(th.gate("planer")), 0.9)
	assert.Equal(t, "running", th.now().Collectors[0].Phase)
}

// A brown-out of the servo board while cutting: its pulses are gone, the blades stay, and the gates are found again.
func TestServoBoardResetWhileCutting(t *testing.T) {
	th := cutting(t)
	th.sim.BrownOut(chip("pca9685", 0x40))
	th.pass(t, 30*time.Second)
	assert.Equal(t, "running", th.now().Collectors[0].Phase)
	assert.Greater(t, th.sim.Blade(th.gate("planer")), 0.9)
}

// Nobody presses Ready: a morning in which everything runs moves nothing.
func TestNothingMovesBeforeReady(t *testing.T) {
	file, err := rehearsedShop(nil)
	require.NoError(t, err)
	th, err := newTheatre(t.Context(), file, 1)
	require.NoError(t, err)
	th.play(th.begin, morning()[1:20])
	th.pass(t, 10*time.Minute)
	assert.Equal(t, "standing_by", th.now().Mode)
	assert.Zero(t, th.sim.Starts(0))
	for g := range file.Gates {
		assert.Zero(t, th.sim.Strokes(g), file.Gates[g].Name)
	}
}

// A transducer that speaks on the bus itself serves as the one at a converter does: its suction lies within what the model
// allows, a plug and an open bin are seen by it, and when it falls silent that is told and nothing else follows.
func TestATransducerOnTheBus(t *testing.T) {
	th := shedWith(t, "adc: ads1115@0x4a, channel: 1, zero: 0.5 V, scale: 0.7 mV/Pa", "chip: hsc@0x28, lowest: -4000 Pa, highest: 4000 Pa")
	starts("thickness planer", 0.5)(th)
	th.pass(t, 30*time.Second)
	tap := func() controller.TapSnapshot { return th.now().Taps[0] }
	require.Equal(t, "good", tap().Health)
	require.NotNil(t, tap().LowPa)
	assert.Greater(t, *tap().Pa, *tap().LowPa)
	assert.Less(t, *tap().Pa, *tap().HighPa)
	assert.Empty(t, th.alarms())

	for key, of := range map[string][2]func(){
		"plugged/collector":     {func() { th.sim.Plug(1, 0.3) }, func() { th.sim.Plug(1, 1) }},
		"suction_low/collector": {func() { th.sim.OpenBin(0, true) }, func() { th.sim.OpenBin(0, false) }},
	} {
		of[0]()
		th.pass(t, 60*time.Second)
		assert.Contains(t, th.alarms(), key)
		of[1]()
		th.pass(t, 60*time.Second)
		assert.NotContains(t, th.alarms(), key)
	}

	th.sim.Silence(chip("hsc", 0x28), true)
	th.pass(t, 5*time.Second)
	assert.Equal(t, "lost", tap().Health)
	assert.Nil(t, tap().Pa)
	assert.Equal(t, "running", th.now().Collectors[0].Phase, "the air goes on")
	told := false
	for _, c := range th.now().Chips {
		told = told || c.Name == "hsc@0x28" && strings.Contains(c.Why, "no chip acknowledges")
	}
	assert.True(t, told, "%v", th.now().Chips)
	th.sim.Silence(chip("hsc", 0x28), false)
	th.pass(t, 10*time.Second)
	assert.Equal(t, "good", tap().Health)
}

// The brake's time reaches the detector from the shop file: what flows so soon after the stop is the brake's and no start.
func TestTheBrakeIsToldByTheShopFile(t *testing.T) {
	restarts := func(keys string) (n int) {
		th := shedWith(t, "running: 2.5 A, idle: 1.2 A}}]}", "running: 2.5 A, idle: 1.2 A"+keys+"}}]}")
		starts("thickness planer", 0.5)(th)
		th.pass(t, 15*time.Second)
		require.Equal(t, "running", th.now().Machines[0].State)
		stops("thickness planer")(th)
		was, end := "running", th.clock.Now()
		watch := func(until time.Duration) {
			for th.clock.Now() < end+until {
				th.pass(t, 20*time.Millisecond)
				if is := th.now().Machines[0].State; is != was {
					if is == "running" {
						n++
					}
					was = is
				}
			}
		}
		watch(2500 * time.Millisecond) // the current's end has been seen, its hold is over
		require.NotEqual(t, "running", was)
		th.sim.Switch(0, true)
		watch(4 * time.Second)
		th.sim.Switch(0, false)
		watch(12 * time.Second)
		return n
	}
	assert.Equal(t, 1, restarts(""), "without the key such a current is a start")
	assert.Zero(t, restarts(", brake: 8 s"))
}
