package main

import (
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
)

func f64(x float64) *float64 { return &x }

// busy is a scene with something of everything.
func busy() scene {
	return scene{
		clock: "07:30:19", pace: "10x", stamp: func(toldLine) string { return "07:30:00" },
		lines: []toldLine{{0, lineStory, "A plank goes through the planer."}, {0, lineEvent, "planer starts: open planer"}, {0, lineAlarm, "ALARM: too slow"}},
		snap: &controller.Snapshot{
			Shop: "Withy Hard", Mode: "on_duty", Why: "planer calls for air",
			Collectors: []controller.CollectorSnapshot{{ID: "c", Name: "collector", Phase: "running", Why: "a machine makes dust", StartsLeft: 7, StartsHour: 8, Transport: "creeps", Margin: f64(-0.1), Weakest: "trunk", FlowM3S: f64(0.5), SuctionPa: f64(1800)},
				{ID: "v", Name: "vacuum", Phase: "off", RestMS: 41000, StartsLeft: 1, StartsHour: 6}},
			Machines: []controller.MachineSnapshot{
				{Name: "thickness planer", State: "running", CurrentA: f64(8.2), Share: f64(1.04), AirReady: true, Health: "good"},
				{Name: "lathe", State: "running_down", LeftMS: 3999, Unserved: true},
				{Name: "router", State: "unknown", Health: "flat"}, {Name: "sweep", State: "idle", CurrentA: f64(0.1)}},
			Gates: []controller.GateSnapshot{{Name: "planer", State: "open", Proved: true, Selector: "automatic", Role: "needed"}, {Name: "lathe", State: "closed", Selector: "automatic"},
				{Name: "sweep", State: "opening", Selector: "automatic", Role: "relief"}, {Name: "router", State: "failed", Selector: "off"}, {Name: "oar bench", State: "unknown", Hand: true, Selector: "automatic"}},
			Ducts: []controller.DuctSnapshot{{ID: "trunk", Name: "trunk", VelocityMS: 18, TransportMS: 21, Carrying: true, Verdict: "creeps"},
				{ID: "drop", Name: "planer drop", VelocityMS: 10, TransportMS: 21, Carrying: true, Verdict: "settles"}, {ID: "x", Name: "other", VelocityMS: 3}},
			Alarms: []controller.AlarmSnapshot{{Key: "a", Text: "trunk is too slow.", ToDo: "stop the lathe", Priority: "urgent", Active: true}, {Key: "b", Text: "gate stuck", Priority: "high"}},
		},
	}
}

func TestViewFitsAnyTerminal(t *testing.T) {
	for _, p := range []paint{{}, {colour: true, blocks: true}} {
		for _, size := range [][2]int{{40, 5}, {60, 24}, {80, 24}, {110, 42}, {250, 80}} {
			lines := render(busy(), p, size[0], size[1])
			assert.LessOrEqual(t, len(lines), size[1])
			for _, l := range lines {
				assert.LessOrEqual(t, shownWidth(l), size[0], l)
				assert.NotContains(t, l, "\n")
				assert.True(t, utf8.ValidString(l))
			}
		}
	}
}

func TestViewWithoutColourIsPlainText(t *testing.T) {
	text := strings.Join(render(busy(), paint{}, 100, 50), "\n")
	assert.NotContains(t, text, "\x1b")
	for _, r := range text {
		require.Less(t, r, rune(128), "plain ASCII where the terminal is not set to UTF-8")
	}
	for _, want := range []string{
		"ON DUTY", "Planer calls for air", "7 of 8 starts left this hour", "rests 41 s; 1 of 6 starts left",
		"creeps, margin -10 % in the trunk", "1800 m3/h  1800 Pa", "8.2 A", "104 % of its air", "air is there",
		"running down, 4 s", "makes dust without its air", "sensor flat", "[  ] planer", "[##] lathe", "sweep (relief)", "[!!] router (off)", "[??] oar bench (by hand)",
		"18.0 m/s  creeps", "10.0 m/s  settles", "!!! trunk is too slow. Stop the lathe", "gone, to be acknowledged: gate stuck", "A plank goes", "planer starts: open planer",
	} {
		assert.Contains(t, text, want)
	}
	assert.NotContains(t, text, "other", "only carrying ducts are drawn")
}

func TestViewInUSUnits(t *testing.T) {
	s := busy()
	s.us = true
	text := strings.Join(render(s, paint{}, 100, 50), "\n")
	for _, want := range []string{"3543 fpm", "1059 cfm", "7.2 inH2O"} {
		assert.Contains(t, text, want)
	}
}

func TestBarShowsSpeedAgainstWhatIsAsked(t *testing.T) {
	p := paint{}
	assert.Equal(t, "==================|.................", p.bar(18, 18, "carries", 36))
	assert.Equal(t, "==========........|.................", p.bar(10, 18, "settles", 36))
	assert.Equal(t, "==================|=================", p.bar(90, 18, "carries", 36), "faster than the bar")
	assert.Equal(t, "..................|.................", p.bar(0, 18, "not_judged", 36))
	assert.Equal(t, 36, shownWidth(paint{colour: true, blocks: true}.bar(10, 18, "settles", 36)))
}

func TestNewestLinesStay(t *testing.T) {
	s := busy()
	for range 100 {
		s.lines = append(s.lines, toldLine{time.Second, lineEvent, "older"})
	}
	s.lines = append(s.lines, toldLine{time.Second, lineEvent, "the newest"})
	lines := render(s, paint{}, 80, 40)
	assert.Contains(t, lines[len(lines)-1], "the newest")
}

func TestCutKeepsEscapes(t *testing.T) {
	p := paint{colour: true}
	assert.Equal(t, "abc", cut("abc", 3))
	assert.Equal(t, "ab~", cut("abcdef", 3))
	assert.Equal(t, 3, shownWidth(cut(p.bad("abcdef"), 3)))
	assert.True(t, strings.Contains(cut(p.bad("abcdef"), 3), "\x1b[0m"), "the colour ends")
	assert.Equal(t, "left", sides("left", strings.Repeat("x", 50), 20))
}

func TestCountdown(t *testing.T) {
	assert.Equal(t, "1 s", countdown(1))
	assert.Equal(t, "42 s", countdown(42_000))
	assert.Equal(t, "3:05 min", countdown(185_000))
}
