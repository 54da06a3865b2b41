package config

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/airflow"
)

// problemsOf reads a text that must not be accepted.
func problemsOf(t *testing.T, text string) Problems {
	t.Helper()
	s, err := Parse("shop.yaml", strings.NewReader(text))
	require.Error(t, err)
	assert.Nil(t, s)
	var ps Problems
	require.ErrorAs(t, err, &ps)
	return ps
}

func shopOf(t *testing.T, text string) *Shop {
	t.Helper()
	s, err := Parse("shop.yaml", strings.NewReader(text))
	require.NoError(t, err)
	return s
}

func TestAllProblemsAtOnceInOrder(t *testing.T) {
	ps := problemsOf(t, `shop: many mistakes
transport: {carries: 40 m/s}
collectors:
  - {name: collector, motor: {pwer: 2 kW}}
ducts:
  - {name: trunk, into: colector, diameter: 160, length: 4 m, wall: galvanized}
gates:
  - {name: saw, duct: trunk, actuator: {servo: {chip: pca9685@0x48, channel: 17, open: 1900 us, closed: 1100 us}}}
  - {name: saw, duct: trank, actuator: hand}
machines:
  - {name: saw, ports: [saw]}
`)
	var places []string
	for _, p := range ps {
		places = append(places, fmt.Sprintf("%d %s", p.Line, p.Path))
	}
	assert.Equal(t, []string{
		"2 transport.carries",
		"4 collectors[0].motor.pwer",
		"6 ducts[0].into",
		"6 ducts[0].diameter",
		"8 gates[0].actuator.servo.chip",
		"8 gates[0].actuator.servo.channel",
		"9 gates[1].name",
		"9 gates[1].duct",
		"11 machines[0].ports[0]",
	}, places)
	assert.Equal(t, "shop.yaml:2:22: transport.carries: this speed is out of bounds; found \"40 m/s\"; accepted: 5 m/s to 35 m/s", ps[0].String())
	assert.Equal(t, strings.Count(ps.Error(), "\n"), len(ps)-1, "one line each")
}

func TestFilesThatAreNoShopFiles(t *testing.T) {
	dir := t.TempDir()
	write := func(name string, text []byte) string {
		p := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(p, text, 0o644))
		return p
	}
	for _, c := range []struct{ file, sentence string }{
		{filepath.Join(dir, "nothing.yaml"), "there is no such file"},
		{dir, "this is a folder"},
		{write("empty.yaml", nil), "the file is empty"},
		{write("blank.yaml", []byte(" \n\n ")), "the file is empty"},
		{write("huge.yaml", bytes.Repeat([]byte("gates: []\n"), 1<<20)), "larger than 1024 KiB"},
		{write("binary.yaml", []byte("gates:\n\x7fELF\x00\x01")), ":2: the file holds binary data"},
		{write("utf16.yaml", []byte{0xff, 0xfe, 'g', 0}), "UTF-16"},
		{write("latin1.yaml", []byte("shop: Tischlerei M\xfcller\n")), ":1: the text is not UTF-8"},
		{write("cut.yaml", []byte("gates:\n  - {name: saw, actuator: {servo: {chip: pca96")), "is the file complete?"},
		{write("json.yaml", []byte(`"gates"`)), "made of keys and values"},
		{write("deep.yaml", bytes.Repeat([]byte("["), 20000)), "nested far too deeply"},
	} {
		s, err := Load(c.file)
		assert.Nil(t, s)
		var ps Problems
		require.ErrorAs(t, err, &ps, c.file)
		require.Len(t, ps, 1)
		assert.Contains(t, ps[0].String(), c.sentence)
		assert.Equal(t, c.file, ps[0].File)
		assert.NotContains(t, ps[0].String(), "\n")
	}
}

func TestUnreadableFile(t *testing.T) {
	_, err := Parse("shop.yaml", iotest.ErrReader(errors.New("input/output error")))
	assert.ErrorContains(t, err, "shop.yaml: the file cannot be read: input/output error")
	if os.Getuid() == 0 {
		return // root reads everything
	}
	p := filepath.Join(t.TempDir(), "shop.yaml")
	require.NoError(t, os.WriteFile(p, []byte("gates: []"), 0))
	_, err = Load(p)
	assert.ErrorContains(t, err, "may not be read by this user")
}

// A few lines of aliases would become millions of values and problems; the walk stops long before.
func TestAliasesAreBounded(t *testing.T) {
	var b strings.Builder
	b.WriteString("together:\n  - &a [" + strings.Repeat("x, ", 63) + "x]\n")
	b.WriteString("gates:\n")
	for i := range 64 {
		fmt.Fprintf(&b, "  - {name: g%d, actuator: hand, relief: never}\n", i)
	}
	b.WriteString("machines:\n  - &m {name: m, ports: [" + strings.Repeat("p, ", 15) + "p], sensors: &s [" + strings.Repeat("{button: &b {line: GPIO4}}, ", 7) + "{button: *b}]}\n" + strings.Repeat("  - *m\n", 63))
	started := time.Now()
	ps := problemsOf(t, b.String())
	assert.Less(t, time.Since(started), 5*time.Second)
	assert.LessOrEqual(t, len(ps), maxProblems+1)

	b.Reset()
	for i := range 24 {
		fmt.Fprintf(&b, "x%d: &x%d [%s]\n", i, i, strings.Repeat(fmt.Sprintf("*x%d, ", max(0, i-1)), 9))
	}
	ps = problemsOf(t, strings.Replace(b.String(), "*x0, *x0, *x0, *x0, *x0, *x0, *x0, *x0, *x0, ", "1", 1))
	assert.NotEmpty(t, ps)
}

func TestHopelessFilesEndSoon(t *testing.T) {
	var b strings.Builder
	b.WriteString("machines:\n  - &m {")
	for i := range 5000 {
		fmt.Fprintf(&b, "key%d: 1, ", i)
	}
	b.WriteString("name: m}\n" + strings.Repeat("  - *m\n", 63))
	root, problem := parse("shop.yaml", []byte(b.String()))
	require.Nil(t, problem)
	r := newReader("shop.yaml")
	r.resolve(r.shop(root))
	assert.LessOrEqual(t, len(r.problems), enough+100)
}

func TestALoopOfAliasesEnds(t *testing.T) {
	for _, text := range []string{
		"gates: &g [*g]\n",
		"gates: &g\n  - {name: saw, actuator: *g}\n",
		"collectors: &c [{name: a, fan: *c}]\ngates: [{name: saw, actuator: hand}]\n",
		"? &k [*k]\n: 1\n",
	} {
		assert.NotEmpty(t, problemsOf(t, text), text)
	}
}

func TestManyProblemsAreCut(t *testing.T) {
	var b strings.Builder
	for i := range 5000 {
		fmt.Fprintf(&b, "key%d: 1\n", i)
	}
	ps := problemsOf(t, b.String())
	require.Len(t, ps, maxProblems+1)
	assert.Contains(t, ps[maxProblems].Problem, "more problems are not shown")
}

func TestPositionsOfValues(t *testing.T) {
	s := shopOf(t, `buses: {main: /dev/i2c-1}
gates:
  - name: saw
    actuator:
      servo: {chip: pca9685@0x40, channel: 0, open: 1900 us,
              closed: 1100 us}
`)
	for path, want := range map[string]Position{
		"gates[0].name":                  {3, 11},
		"gates[0].actuator.servo.open":   {5, 53},
		"gates[0].actuator.servo.closed": {6, 23},
		"buses.main":                     {1, 15},
	} {
		at, ok := s.At(path)
		assert.True(t, ok, path)
		assert.Equal(t, want, at, path)
	}
	_, ok := s.At("gates[0].relief")
	assert.False(t, ok, "only what the file says has a place")
	assert.Contains(t, string(s.Text), "closed: 1100 us")
}

func TestDefaults(t *testing.T) {
	s := shopOf(t, "gates: [{name: saw, actuator: hand}]\n")
	assert.Equal(t, airflow.Transport{Carries: 20, Settles: 15, Margin: 0.05}, s.Transport)
	assert.Equal(t, 4*time.Minute, s.Duty.Linger)
	assert.Equal(t, 15*time.Minute, s.Duty.LongestLinger)
	assert.False(t, s.Duty.OnDutyAfterPowerUp)
	assert.InDelta(t, 1.2041, s.Air.Density, 1e-4, "20 °C at sea level")
	assert.InDelta(t, 18.13e-6, s.Air.Viscosity, 0.03e-6)
	assert.Equal(t, "127.0.0.1:8480", s.Page.Listen)
	assert.Nil(t, s.MQTT)
	assert.Empty(t, s.Journal.Path)
	assert.Equal(t, -1, s.Gates[0].Duct)
	assert.Equal(t, -1, s.Gates[0].Collector)
	assert.Equal(t, airflow.ReliefNever, s.Gates[0].Relief, "a hand cannot be commanded")
}

// Density at altitude and temperature by the US Standard Atmosphere's formula (ASHRAE).
func TestAirAtAltitude(t *testing.T) {
	for _, c := range []struct{ altitude, want float64 }{{0, 1.2041}, {300, 1.1619}, {500, 1.1344}, {1000, 1.0680}, {2000, 0.9448}, {3000, 0.8333}} {
		assert.InDelta(t, c.want, airflow.AirAt(c.altitude, 20).Density, 3e-4, "%v m", c.altitude)
	}
	s := shopOf(t, "air: {density: 1.2 kg/m3, viscosity: 18.1 uPa.s}\ngates: [{name: saw, actuator: hand}]\n")
	assert.Equal(t, 1.2, s.Air.Density)
	assert.InDelta(t, 18.1e-6, s.Air.Viscosity, 1e-12)
}

func TestLingerIsAtLeastTheRest(t *testing.T) {
	s := shopOf(t, "collectors: [{name: c, motor: {rest: 10 min, starts_per_hour: 4}}]\ngates: [{name: saw, actuator: hand}]\n")
	assert.Equal(t, 10*time.Minute, s.Duty.Linger)
	s = shopOf(t, "duty: {linger: 1 min}\ncollectors: [{name: c, motor: {rest: 10 min, starts_per_hour: 4}}]\ngates: [{name: saw, actuator: hand}]\n")
	assert.Equal(t, time.Minute, s.Duty.Linger, "the person's own word wins")
}

func TestStartsBudget(t *testing.T) {
	for _, c := range []struct {
		motor  string
		starts int
		rest   time.Duration
	}{
		{"{power: 2.2 kW, poles: 2, phases: 3}", 9, 80 * time.Second},
		{"{power: 3 hp, poles: 2, phases: 1}", 9, 80 * time.Second},
		{"{power: 3 hp, poles: 4, phases: 3}", 16, 42 * time.Second},
		{"{power: 3 hp, poles: 4, phases: 1}", 9, 80 * time.Second}, // single-phase: no more than the 2-pole row
		{"{power: 3 hp}", 8, 83 * time.Second},
		{"{}", 8, 83 * time.Second},
		{"{power: 2.2 kW, poles: 2, starts_per_hour: 5}", 5, 80 * time.Second},
		{"{power: 15 kW, starts_per_hour: 5, rest: 2 min}", 5, 2 * time.Minute},
	} {
		m := shopOf(t, "collectors: [{name: c, motor: "+c.motor+"}]\ngates: [{name: saw, actuator: hand}]\n").Collectors[0].Motor
		assert.Equal(t, c.starts, m.StartsPerHour, c.motor)
		assert.Equal(t, c.rest, m.Rest, c.motor)
		assert.Equal(t, m.FromTable, m.Covered() != "")
		if m.FromTable {
			assert.Contains(t, m.Covered(), controller.BudgetNotice)
		}
	}
}

func TestIDs(t *testing.T) {
	for name, want := range map[string]string{
		"lathe": "lathe", "Thickness planer": "thickness-planer", "Säge № 3": "saege-3", "--x--": "x", "a/b (c)": "a-b-c", "Ø 120": "o-120",
		"榫": "", strings.Repeat("long ", 20): "long-long-long-long-long-long-long-long",
	} {
		assert.Equal(t, want, makeID(name), name)
	}
	s := shopOf(t, "gates: [{name: Table saw, actuator: hand}, {name: Saw, id: second, actuator: hand}]\nmachines: [{name: m, gates: [second]}]\n")
	assert.Equal(t, "table-saw", s.Gates[0].ID)
	assert.Equal(t, []int{1}, s.Machines[0].Gates, "an id refers as a name does")
	assert.NotEmpty(t, problemsOf(t, "gates: [{name: saw 1, actuator: hand}, {name: saw-1, actuator: hand}]\n"), "two names, one id")
}

func TestNearest(t *testing.T) {
	known := []string{"channel", "chip", "closed", "open", "travel", "moving_at_once"}
	for key, want := range map[string]string{
		"chanel": "channel", "Chip": "chip", "clsoed": "closed", "opne": "open", "travell": "travel", "moving-at-once": "moving_at_once",
		"weather": "", "x": "", "": "",
	} {
		assert.Equal(t, want, nearest(key, known), key)
	}
	assert.Equal(t, 1, slips("clsoed", "closed", 5), "a swap is one slip")
	assert.Equal(t, 3, slips("kitten", "sitting", 5))
}

func TestLineForms(t *testing.T) {
	s := shopOf(t, `lines: pinctrl-rp1
gates: [{name: saw, actuator: hand}]
inputs:
  ready: GPIO6
  finish: {line: GPIO4, active: low}
  halt: {offset: 5, pull: up, debounce: 0 s}
  acknowledge: gpiochip1:3
  fire: {line: gpiochip1:4, active: low, pull: none}
machines:
  - {name: a, gates: [saw], sensors: [{contact: {line: {offset: 20, active: low}, delay: 1 s}}]}
  - {name: b, gates: [saw], sensors: [{contact: {line: GPIO21, active: low, debounce: 50 ms}}]}
`)
	in := s.Inputs
	assert.Equal(t, Line{Chip: "pinctrl-rp1", Offset: 6, Debounce: 20 * time.Millisecond}, *in.Ready)
	assert.Equal(t, Line{Chip: "pinctrl-rp1", Offset: 4, ActiveLow: true, Debounce: 20 * time.Millisecond}, *in.Finish)
	assert.Equal(t, Line{Chip: "pinctrl-rp1", Offset: 5, Pull: PullUp}, *in.Halt)
	assert.Equal(t, Line{Chip: "gpiochip1", Offset: 3, Debounce: 20 * time.Millisecond}, *in.Acknowledge)
	assert.Equal(t, Line{Chip: "gpiochip1", Offset: 4, ActiveLow: true, Pull: PullNone, Debounce: 20 * time.Millisecond}, *in.Fire)
	assert.Equal(t, Line{Chip: "pinctrl-rp1", Offset: 20, ActiveLow: true, Debounce: 20 * time.Millisecond}, s.Machines[0].Sensors[0].Contact.Line)
	assert.Equal(t, Line{Chip: "pinctrl-rp1", Offset: 21, ActiveLow: true, Debounce: 50 * time.Millisecond}, s.Machines[1].Sensors[0].Contact.Line)
}

// Boot levels are known for the board's own header only.
func TestOutputsAtBoot(t *testing.T) {
	const file = "gates: [{name: saw, actuator: hand}]\nsignals: {lamp: {%s, shows: [alarm]}}\n"
	for line, good := range map[string]bool{
		"line: GPIO8": false, "line: GPIO9": true, "line: GPIO9, active: low": false, "line: GPIO9, active: low, held_off: yes": true,
		"line: GPIO0, held_off: yes": false, "line: gpiochip1:0": true, "line: gpiochip1:0, active: low": true,
	} {
		_, err := Parse("shop.yaml", strings.NewReader(fmt.Sprintf(file, line)))
		assert.Equal(t, good, err == nil, "%s: %v", line, err)
	}
}

func TestMachineNeedsTheGatesOnItsWay(t *testing.T) {
	s := shopOf(t, `collectors: [{name: c}]
ducts:
  - {name: trunk, into: c, diameter: 160 mm, length: 4 m, wall: galvanized}
  - {name: wing, into: trunk, diameter: 125 mm, length: 4 m, wall: galvanized}
  - {name: saw drop, into: wing, diameter: 100 mm, length: 1 m, wall: galvanized}
  - {name: guard hose, into: trunk, diameter: 60 mm, length: 1 m, wall: smooth_hose}
ports: [{name: saw, duct: saw drop, hood: plain}, {name: guard, duct: guard hose, hood: plain}]
gates:
  - {name: guard, duct: guard hose, actuator: hand}
  - {name: wing, duct: wing, actuator: hand}
  - {name: saw, duct: saw drop, actuator: hand}
machines: [{name: table saw, ports: [saw, guard]}]
`)
	assert.Equal(t, []int{0, 1, 2}, s.Machines[0].Gates)
	assert.Equal(t, []int{0}, s.Machines[0].Collectors)
	assert.InDelta(t, airflow.GapLeak(0.1, airflow.DefaultGap), s.Gates[2].Leak, 1e-12)
	assert.Equal(t, []string{"the air of c is not judged: the file has no fan for it"}, s.NotJudged())
}

// A clamp's resolution is judged by what is said of its chip, wherever in the file that stands.
func TestChipSettingsCountForClamps(t *testing.T) {
	const file = "buses: {main: /dev/i2c-1}\ngates: [{name: saw, actuator: hand}]\n%smachines: [{name: saw, gates: [saw], sensors: [{clamp: {adc: ads1115@0x48, channel: 0, scale: 0.5 mV/A, running: 0.5 A}}]}]\n%s"
	const fine = "chips: [{chip: ads1115@0x48, range: 0.256 V}]\n"
	assert.NotEmpty(t, problemsOf(t, fmt.Sprintf(file, "", "")))
	s := shopOf(t, fmt.Sprintf(file, fine, ""))
	shopOf(t, fmt.Sprintf(file, "", fine))
	assert.Equal(t, 1.65, s.Setting(s.Machines[0].Sensors[0].Clamp.Converter.Chip).Bias)
	assert.Equal(t, 25e6, s.Setting(Chip{Kind: "pca9685", Address: 0x40}).Oscillator)
}

func TestDuctsOwnTransport(t *testing.T) {
	s := shopOf(t, `transport: {carries: 18 m/s, settles: 12 m/s}
collectors: [{name: c}]
ducts: [{name: trunk, into: c, diameter: 6 in, length: 4 m, wall: galvanized, transport: {carries: 4000 fpm}}]
ports: [{name: saw, duct: trunk, hood: plain}]
gates: [{name: saw, duct: trunk, actuator: hand}]
`)
	own := s.Ducts[0].Transport
	assert.InDelta(t, 20.32, own.Carries, 1e-9)
	assert.Equal(t, 12.0, own.Settles, "what is not said is the shop's")
}
