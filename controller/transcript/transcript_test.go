package transcript

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/plan"
	"ductwarden/gates"
)

// needed answers with what the machines need.
type needed struct{}

func (needed) Choose(q plan.Question) plan.Answer {
	a := plan.Answer{Needed: q.Running | q.Down, Open: q.Running | q.Down, Verdict: plan.Carries, Share: plan.NoRatio, Weakest: plan.NoDuct, Short: plan.NoMachine, Mend: plan.NoMachine}
	if a.Needed == gates.Of(0, 1) {
		a.Verdict, a.Weakest, a.Mend, a.Margin, a.Share, a.Short = plan.Settles, 0, 1, -3000, 4000, 0
	}
	return a
}

// cast is two machines with a gate each, and one collector or two.
func cast(file string) (*Cast, error) {
	const s = controller.Second
	p := &controller.Shop{Name: file, Linger: 60 * s, LongestLinger: 300 * s, LeastClearing: 5 * s, MovingAtOnce: 2, MovesPerMinute: 6, LongestRun: 3600 * s,
		PathLost: 3 * s, Network: controller.NetworkStart, Ducts: []controller.Duct{{Name: "main", Transport: 20_000}}}
	for i, n := range []string{"table saw", "lathe"} {
		p.Machines = append(p.Machines, controller.Machine{ID: n, Name: n, Needs: gates.Of(i), Collectors: gates.Of(0), Sensed: true, RunDown: 2 * s, Button: 20 * s})
		p.Gates = append(p.Gates, controller.Gate{ID: n, Name: n, Motion: gates.Limits{Travel: 500, OpenSwitch: i == 0, ClosedSwitch: i == 0}})
	}
	c := controller.Collector{ID: "big", Name: "big one", Starter: true, Proof: true, StartsPerHour: 8, Rest: 60 * s, SpinUp: 2 * s, Coast: 20 * s, ProveOn: 2 * s, ProveOff: 3 * s,
		Planner: needed{}, Ways: []gates.Set{gates.Of(0), gates.Of(1)}}
	p.Collectors = []controller.Collector{c}
	switch file {
	case "one", "two":
	default:
		return nil, errors.New("no such shop file")
	}
	if file == "two" {
		c.Name, c.Ways = "small one", []gates.Set{gates.Of(1)}
		p.Collectors = append(p.Collectors, c)
		p.Collectors[0].Ways = []gates.Set{gates.Of(0)}
		p.Machines[1].Collectors, p.Gates[1].Collector = gates.Of(1), 1
	}
	return &Cast{Shop: p, Chips: map[string]controller.Set{"board": gates.Of(0, 1)}, Meters: map[string]controller.Set{"converter": gates.Of(0)},
		Motors: map[string]controller.Set{"converter": gates.Of(0)}}, p.Check()
}

const day = `# a day
shop one
at 2m press ready

at 2m10s machine table saw running
-> open gate table saw: table saw runs
-> save start
at 2m10.1s gate table saw seen neither
at 2m10.6s gate table saw seen open
-> rest gate table saw: it is there
-> start collector: table saw runs
== collector starting
at 2m10.9s collector turning
-> close gate lathe: no machine needs it
== collector running
at 2m11.9s wake
-> rest gate lathe: it has had twice its travel time
at 2m30s machine lathe running
-> open gate lathe: lathe runs
!! duct_not_carried raised: duct main at 70.0 % of its transport speed; stop lathe
!! air_far_short raised: table saw gets 40.0 % of its air; stop lathe
at 2m31s wake
-> rest gate lathe: it has had twice its travel time
until 2m40s
`

func TestARunWritesWhatItBrought(t *testing.T) {
	got, err := Run(day, cast)
	require.NoError(t, err)
	assert.Equal(t, day, got, "what was told before is left out and written anew")
	bad, err := Check(day, cast)
	require.NoError(t, err)
	assert.Empty(t, bad)
}

func TestEveryEventOfTheLanguage(t *testing.T) {
	script := `shop two
at 1s press ready
at 2s hold gate table saw open for 10s
at 3s off gate lathe
at 4s automatic gate lathe
at 5s off collector small one
at 6s automatic collector big one
at 7s network hold gate lathe open for 1s
at 8s network automatic gate lathe
at 9s network call table saw for 20s
at 10s network finish
at 11s network acknowledge
at 12s network halt
at 13s network ready
at 14s press table saw
at 15s chip board silent
at 16s chip board answers
at 17s chip converter silent
at 18s collector big one unreadable
at 19s collector small one still
at 20s disconnect open
at 21s disconnect closed
at 22s acknowledge
at 23s press smoke
at 24s press acknowledge
at 25s restart unclean
at 26s gate table saw seen both
at 27s machine lathe unknown
at 28s shop one
until 1m
`
	got, err := Run(script, cast)
	require.NoError(t, err)
	for _, want := range []string{"-> open gate table saw: a person wants it on", "!! gate_chip_silent table saw raised", "!! sensor_lost table saw raised",
		"!! proof_lost big one raised", "!! work_on_collector small one raised", "!! unclean_end raised", "!! gate_switches table saw raised"} {
		assert.Contains(t, got, want)
	}
	script = "shop one\nat 1s press table saw\nuntil 2s\n"
	got, err = Run(script, cast)
	require.NoError(t, err)
	assert.Contains(t, got, "-> refused: the shop is standing by")
}

func TestMistakesAreToldWithTheirLine(t *testing.T) {
	for text, want := range map[string]string{
		"at 0s press ready\n":  "begin with a line",
		"shop one\nshop two\n": "line 2: a second shop",
		"shop\n":               "wants a file",
		"shop none\n":          "line 1: no such shop file",
		"shop one\nhello\n":    "begins no line",
		"shop one\nat 2s press ready\nat 1s press ready\n": "line 3: time goes backwards: 1s comes after 2s",
		"shop one\nat soon press ready\n":                  "no time",
		"shop one\nat 1us press ready\n":                   "finer than a millisecond",
		"shop one\nat 2000h press ready\n":                 "lies outside",
		"shop one\nat -1s press ready\n":                   "lies outside",
		"shop one\nuntil then\n":                           "no time",
		"shop one\nat 1s\n":                                "wants an event",
		"shop one\nat 1s dance\n":                          "is no event",
		"shop one\nat 1s machine kettle idle\n":            `no machine "kettle"`,
		"shop one\nat 1s machine idle\n":                   "name and its state",
		"shop one\nat 1s machine lathe asleep\n":           "not one of",
		"shop one\nat 1s gate lathe open\n":                "write: gate NAME seen",
		"shop one\nat 1s gate kettle seen open\n":          "no gate",
		"shop one\nat 1s gate lathe seen ajar\n":           "not one of",
		"shop two\nat 1s collector still\n":                "which collector",
		"shop two\nat 1s collector huge still\n":           "no collector",
		"shop one\nat 1s collector lazy\n":                 "not one of",
		"shop one\nat 1s chip board dead\n":                "not one of",
		"shop one\nat 1s chip plate silent\n":              "no chip",
		"shop one\nat 1s press kettle\n":                   "nor a machine's button",
		"shop one\nat 1s network finish now\n":             "stands alone",
		"shop one\nat 1s network dance\n":                  "is no request",
		"shop one\nat 1s network call lathe\n":             "write: call MACHINE for TIME",
		"shop one\nat 1s hold gate lathe for 1s\n":         "write: hold gate NAME open for TIME",
		"shop one\nat 1s hold gate lathe open for 0s\n":    "is not possible",
		"shop one\nat 1s hold gate kettle open for 1s\n":   "no gate",
		"shop one\nat 1s off kettle\n":                     "write: off gate NAME",
		"shop one\nat 1s off gate kettle\n":                "no gate",
		"shop two\nat 1s off collector\n":                  "no collector",
		"shop one\nat 1s shop none\n":                      "line 2: no such shop file",
		"shop one\nat 1s restart loud\n":                   "not one of",
		"shop one\nat 1s disconnect ajar\n":                "not one of",
	} {
		_, err := Run(text, cast)
		assert.ErrorContains(t, err, want, text)
		_, err = Check(text, cast)
		assert.Error(t, err, text)
	}
	_, err := Parse("hello\nworld\n")
	assert.ErrorContains(t, err, "line 1")
	assert.ErrorContains(t, err, "line 2", "all at once")
}

func TestAScriptOfOnesOwn(t *testing.T) {
	script := func(below string) string {
		return "shop one\nat 2m press ready\nat 2m10s machine table saw running\n" + below
	}
	for below, fits := range map[string]bool{
		"...\n": true,
		"-> open gate table saw: table saw runs\n-> save start\n":           true,
		"-> open gate table saw: table saw runs\n...\n":                     true,
		"...\n-> save start\n":                                              true,
		"...\n-> save start\n...\n":                                         true,
		"...\n-> open gate table saw: table saw runs\n...\n-> save start\n": true,
		"-> open gate table saw: table saw runs\n":                          false,
		"": false,
		"-> close gate lathe: no machine needs it\n":     false,
		"...\n-> save start\n...\n-> save start\n":       false,
		"...\n-> start collector: table saw runs\n...\n": false,
	} {
		bad, err := Check(script(below), cast)
		require.NoError(t, err)
		if fits {
			assert.Empty(t, bad, below)
			continue
		}
		require.Len(t, bad, 1, below)
		assert.Equal(t, 3, bad[0].Line)
		assert.Contains(t, bad[0].Got, "-> save start")
	}
}

func TestTimesReadAsTheyAreWritten(t *testing.T) {
	for _, s := range []string{"0s", "700ms", "1.25s", "1m", "1m20s", "2h", "2h5m", "3h0m7s"} {
		at, err := ParseTime(s)
		require.NoError(t, err)
		assert.Equal(t, s, Time(at))
	}
}

func TestEffectsAndConditionsWithNumbersOfNoShop(t *testing.T) {
	c, err := cast("two")
	require.NoError(t, err)
	tell := NewTeller(c.Shop)
	assert.Equal(t, "open gate number 60", tell.Effect(controller.Effect{Kind: controller.OpenGate, N: 60}))
	assert.Equal(t, "start collector", tell.Effect(controller.Effect{Kind: controller.StartCollector, N: 60}))
	assert.Equal(t, "stop collector small one", tell.Effect(controller.Effect{Kind: controller.StopCollector, N: 1}))
	assert.Equal(t, "effect 99", tell.Effect(controller.Effect{Kind: 99}))
	assert.Equal(t, "note: the branch of lathe has been cleared", tell.Effect(controller.Effect{Kind: controller.Note, N: 1, Why: controller.BecauseFlushed}))
	assert.Equal(t, "no_air", tell.Condition(controller.Standing{Is: controller.NoAir, N: 60}))
}
