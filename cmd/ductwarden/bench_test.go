package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/bench"
	"ductwarden/controller/loop"
	"ductwarden/controller/panel/api"
	"ductwarden/controller/simshop"
)

// benched is the daemon in a simulated shop, with its bench, in time that a test moves.
type benched struct {
	t *testing.T
	*theatre
	session string
}

func newBenched(t *testing.T, file string) *benched {
	shop, err := config.Load(filepath.Join(root(t), "config", "testdata", "good", file))
	require.NoError(t, err)
	th, err := newTheatre(t.Context(), shop, 1)
	require.NoError(t, err)
	return &benched{t: t, theatre: th}
}

func (b *benched) pass(d time.Duration) { b.clock.Advance(b.t.Context(), b.clock.Now()+d) }

func (b *benched) order(action, target, value string) (bench.View, error) {
	v, err := b.bench.Do(b.t.Context(), bench.Order{Action: action, Target: target, Value: value, Session: b.session})
	if err == nil && v.Learn != nil {
		b.session = v.Learn.Session
	}
	if err == nil && v.Jog != nil {
		b.session = v.Jog.Session
	}
	return v, err
}

func (b *benched) must(action, target, value string) bench.View {
	b.t.Helper()
	v, err := b.order(action, target, value)
	require.NoError(b.t, err)
	return v
}

func (b *benched) view() bench.View {
	v, err := b.bench.View(b.t.Context(), b.session)
	require.NoError(b.t, err)
	return v
}

// post gives the loop an event, as a button or the network does.
func (b *benched) post(kind controller.EventKind, by controller.Source) {
	b.loop.Post(controller.Event{Kind: kind, By: by})
	b.pass(100 * time.Millisecond)
}

func (b *benched) mode() string { return b.loop.Snapshots().Latest().Mode }

// learn leads the table saw through the procedure; the keys do what a person would.
func (b *benched) learn() *bench.LearnSession {
	b.t.Helper()
	b.must(bench.ActLearn, "table saw", "")
	b.must(bench.ActAccept, "", "")
	b.pass(9 * time.Second)
	for range 2 {
		if l := b.view().Learn; l.Step == bench.StepDone {
			return l
		}
		b.must(bench.ActNext, "", "")
		b.pass(12 * time.Second)
	}
	if l := b.view().Learn; l.Step == bench.StepDone {
		return l
	}
	b.must(bench.ActNext, "", "")
	return b.view().Learn
}

// What can be wrong with a machine or its clamp is met with the real drivers and the converter's registers in between.
func TestLearnThroughTheRealDrivers(t *testing.T) {
	for name, c := range map[string]struct {
		do   func(s *simshop.Shop)
		want []string
		ok   bool
	}{
		"all is well":      {func(*simshop.Shop) {}, []string{}, true},
		"whole cable":      {func(s *simshop.Shop) { s.BreakClamp(0, simshop.ClampOnCable) }, []string{"inrush_only", "whole_cable"}, false},
		"plug out":         {func(s *simshop.Shop) { s.BreakClamp(0, simshop.ClampUnplugged) }, []string{"whole_cable"}, false},
		"input shorted":    {func(s *simshop.Shop) { s.BreakClamp(0, simshop.ClampShorted) }, []string{"dead_clamp"}, false},
		"converter frozen": {func(s *simshop.Shop) { s.BreakClamp(0, simshop.ClampFrozen) }, []string{"dead_clamp"}, false},
		"lamp left on":     {func(s *simshop.Shop) { s.Lamp(0, 0.5) }, []string{"light_on"}, true},
		"a drive":          {func(s *simshop.Shop) { s.Lamp(0, 0.12); s.Drive(0) }, []string{"drive"}, true},
		"a braked motor":   {func(s *simshop.Shop) { s.Brake(0, 3*time.Second) }, []string{}, true},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBenched(t, "3-clamp.yaml")
			c.do(b.sim)
			b.pass(time.Second)
			l := b.learn()
			found := []string{}
			for _, f := range l.Findings {
				found = append(found, f.Kind)
			}
			assert.Equal(t, c.want, found)
			require.Equal(t, c.ok, l.Proposal != nil, "%+v", l.Findings)
			if !c.ok {
				assert.Empty(t, l.Changes)
				return
			}
			assert.InDelta(t, 1.7, l.Proposal.RunningA, 0.35, "0.4 of the simulated motor's no-load current")
			assert.Less(t, l.Proposal.IdleA, l.Proposal.RunningA)
			assert.Contains(t, l.Diff, "running: 2.5 A")
			b.must(bench.ActWrite, "", "")
			assert.True(t, b.view().Learn.Written)
		})
	}
}

// While somebody is at the bench nothing else moves anything: not the page, not the network, not the button on the wall.
func TestNobodyPressesReadyWhileAGateIsJogged(t *testing.T) {
	b := newBenched(t, "4-collector.yaml")
	b.must(bench.ActJog, "saw", "")
	b.must(bench.ActAccept, "", "")
	b.must(bench.ActStep, "", "+10")
	b.pass(time.Second)
	require.Greater(t, b.sim.Blade(0), 0.3)

	b.post(controller.ReadyPressed, controller.FromButton)
	assert.Equal(t, "standing_by", b.mode(), "the button on the wall")

	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	b.clock.SetSpeed(1)
	go func() { defer close(done); _ = b.clock.Run(ctx) }()
	net := networkDesk{b.loop}
	for _, kind := range []controller.EventKind{controller.ReadyPressed, controller.CallAir, controller.HoldGate, controller.SelectGate} {
		a := net.Ask(t.Context(), controller.Event{Kind: kind, V: 5000})
		assert.False(t, a.Accepted)
		assert.Contains(t, a.Text, "somebody jogs a gate", "%v", kind)
	}
	page := pageDesk{b.loop, b.shop, controller.FromPage}
	assert.Contains(t, page.Ask(t.Context(), api.Request{Action: "ready"}).Reason, "somebody jogs a gate")
	assert.True(t, page.Ask(t.Context(), api.Request{Action: "halt"}).Accepted, "what stops is taken at any time")
	cancel()
	<-done
	b.clock.SetSpeed(loop.AsFastAsMayBe)

	assert.False(t, b.loop.Reserved())
	_, err := b.bench.Do(t.Context(), bench.Order{Action: bench.ActJog, Target: "saw"})
	assert.NoError(t, err, "the bench was given back when the program ended")
}

func TestTheBenchAndTheAutomaticShareNothing(t *testing.T) {
	b := newBenched(t, "4-collector.yaml")
	b.post(controller.ReadyPressed, controller.FromConsole)
	require.Equal(t, "on_duty", b.mode())
	_, err := b.order(bench.ActJog, "saw", "")
	assert.ErrorContains(t, err, "halt it first")
	_, err = b.order(bench.ActLearn, "table saw", "")
	assert.ErrorContains(t, err, "halt it first")
	b.post(controller.HaltPressed, controller.FromConsole)
	b.pass(5 * time.Second)

	b.must(bench.ActJog, "saw", "")
	b.must(bench.ActAccept, "", "")
	b.must(bench.ActStep, "", "+10")
	b.pass(time.Second)
	half := b.sim.Blade(0)
	require.InDelta(t, 0.5, half, 0.02)
	b.must(bench.ActEnd, "", "")
	b.pass(2 * time.Second)
	assert.InDelta(t, half, b.sim.Blade(0), 0.001, "it stays where it was left")
	assert.Equal(t, "unknown", b.loop.Snapshots().Latest().Gates[0].State, "and nobody claims to know where that is")

	b.post(controller.ReadyPressed, controller.FromConsole)
	require.Equal(t, "on_duty", b.mode())
	b.loop.Post(controller.Event{Kind: controller.CallAir, By: controller.FromConsole, N: 0, V: 20_000})
	b.pass(10 * time.Second)
	assert.InDelta(t, 1, b.sim.Blade(0), 0.01, "the automatic has it again")
	assert.Equal(t, "running", b.loop.Snapshots().Latest().Collectors[0].Phase)
	b.post(controller.HaltPressed, controller.FromConsole)
	_, err = b.order(bench.ActJog, "saw", "")
	assert.ErrorContains(t, err, "turns", "the wheel coasts")
}

// A gate that goes beyond its limits is never asked for, and the chip's own pulses end when the bench ends.
func TestJoggedPulsesStayWithinTheFilesLimits(t *testing.T) {
	b := newBenched(t, "1-gate.yaml")
	b.must(bench.ActJog, "saw", "")
	b.must(bench.ActAccept, "", "")
	for i := range 40 {
		_, err := b.order(bench.ActStep, "", "+200")
		b.pass(500 * time.Millisecond)
		if i > 6 {
			require.ErrorContains(t, err, "500 to 2500 us")
		}
	}
	assert.Equal(t, 2500, b.view().Jog.PulseUS)
	b.pass(3 * time.Second)
	assert.False(t, b.view().Jog.On)
}

// One clamp feeds two machines: what is found is written for both, or the file would contradict itself.
func TestLearnASharedClamp(t *testing.T) {
	b := newBenched(t, "shared-clamp.yaml")
	l := b.learn()
	require.NotNil(t, l.Proposal)
	assert.Equal(t, "shared", l.Findings[0].Kind)
	paths := ""
	for _, c := range l.Changes {
		paths += c.Path + " "
	}
	assert.Contains(t, paths, "machines[0].sensors[0].clamp.running")
	assert.Contains(t, paths, "machines[1].sensors[0].clamp.running")
	assert.NotContains(t, paths, "machines[1].run_down")
}

// Somebody works on the collector, or on a gate: its disconnect is open, and nothing is jogged.
func TestNothingIsJoggedWhileADisconnectIsOpen(t *testing.T) {
	text := strings.Replace(string(newBenched(t, "4-collector.yaml").file.Text), "gates:", "inputs: {disconnect_open: GPIO20}\ngates:", 1)
	shop, err := config.Parse("shop", strings.NewReader(text))
	require.NoError(t, err)
	th, err := newTheatre(t.Context(), shop, 1)
	require.NoError(t, err)
	b := &benched{t: t, theatre: th}
	b.must(bench.ActJog, "saw", "")
	b.must(bench.ActAccept, "", "")
	b.must(bench.ActStep, "", "+10")
	b.pass(time.Second)
	require.True(t, b.view().Jog.On)
	b.sim.Contact(*shop.Inputs.DisconnectOpen, true)
	b.pass(2 * time.Second)
	assert.Equal(t, bench.StepEnded, b.view().Jog.Step)
	_, err = b.order(bench.ActJog, "saw", "")
	assert.ErrorContains(t, err, "the disconnect of collector is open")
	b.sim.Contact(*shop.Inputs.DisconnectOpen, false)
	b.pass(2 * time.Second)
	b.must(bench.ActJog, "saw", "")
}

func TestTheBenchOverTheConsole(t *testing.T) {
	b := newBenched(t, "3-clamp.yaml")
	socket := filepath.Join(t.TempDir(), "console.sock")
	l, err := api.Listen(socket)
	require.NoError(t, err)
	srv := serveConsole(l, b.daemon)
	defer srv.Close()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	b.clock.SetSpeed(60)
	go func() { defer close(done); _ = b.clock.Run(ctx) }()
	defer func() { cancel(); <-done }()

	path := filepath.Join(t.TempDir(), "shop.yaml")
	text := strings.Replace(string(b.file.Text), "gates:", "console: {socket: "+socket+"}\ngates:", 1)
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	out := &writer{}
	code := run(t.Context(), []string{"learn", "table saw", "--config", path}, strings.NewReader("\n\n\n1s\ny\n"), out, out)
	require.Equal(t, exitDone, code, out.String())
	assert.Contains(t, out.String(), "the running daemon at "+socket)
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Contains(t, string(after), "running: 1.7 A, idle: ")

	far := farBench{api.Dial(socket)}
	_, err = far.Do(t.Context(), bench.Order{Action: bench.ActJog, Target: "none"})
	assert.EqualError(t, err, `there is no gate "none" in the shop file; it has: saw`)
	out = &writer{}
	code = run(t.Context(), []string{"jog", "pca9685@0x44/2", "--config", path}, strings.NewReader(""), out, out)
	assert.Equal(t, exitNo, code)
	assert.Contains(t, out.String(), "end it first, or name a gate")
	out = &writer{}
	code = run(t.Context(), []string{"listen", "ads1115@0x48", "--config", path, "--for", "200ms"}, strings.NewReader(""), out, out)
	assert.Equal(t, exitDone, code)
	assert.Contains(t, out.String(), "table saw")
	v, err := far.View(t.Context(), "")
	require.NoError(t, err)
	assert.Empty(t, v.Busy, "the verb gave the bench back")
}

func TestLearnRehearsesAFault(t *testing.T) {
	file := filepath.Join(root(t), "config", "testdata", "good", "3-clamp.yaml")
	out := &writer{}
	code := run(t.Context(), []string{"learn", "table saw", "--rehearse", "--speed", "60", "--fault", "whole-cable", "--config", file}, strings.NewReader("\n\n\n"), out, out)
	assert.Equal(t, exitNo, code)
	assert.Contains(t, strings.Join(strings.Fields(out.String()), " "), "the clamp is probably round the whole cable")
}

func TestBenchVerbsCalledWrongly(t *testing.T) {
	good := filepath.Join(root(t), "config", "testdata", "good", "3-clamp.yaml")
	none := filepath.Join(t.TempDir(), "shop.yaml")
	for want, args := range map[string][]string{
		"write it like pca9685@0x40/0":        {"jog", "pca9685@0x40/", "--config", none},
		"lacks its address or its channel":    {"jog", "pca9685@0x40", "--config", none},
		"is a converter, which moves nothin":  {"jog", "ads1115@0x48/0", "--config", none},
		"names no converter":                  {"listen", "table saw", "--config", none},
		"lacks its address":                   {"listen", "ads1115", "--config", none},
		"which measures nothing":              {"listen", "pca9685@0x40", "--config", none},
		"--scale is like":                     {"listen", "ads1115@0x48", "--scale", "3", "--config", none},
		"is not an input of the ads1115":      {"listen", "ads1115@0x48", "--add", "7=saw", "--config", none},
		"--least and --most":                  {"jog", "pca9685@0x40/0", "--least", "9", "--config", none},
		"cannot be: give 1 for real time":     {"learn", "saw", "--rehearse", "--speed", "0", "--config", none},
		"do not go together":                  {"learn", "saw", "--rehearse", "--socket", "x", "--config", none},
		"goes with --rehearse":                {"learn", "table saw", "--fault", "lamp", "--config", good},
		"there is no fault \"fire\": whole-c": {"learn", "table saw", "--rehearse", "--fault", "fire", "--config", good},
	} {
		out := &writer{}
		assert.Equal(t, exitUsage, run(t.Context(), args, strings.NewReader(""), out, out), want)
		assert.Contains(t, out.String(), want)
	}
	for want, args := range map[string][]string{
		"there is no such file":         {"learn", "saw", "--config", none},
		"this chip cannot have this ad": {"jog", "pca9685@0x10/0", "--config", none, "--rehearse"},
		"0 to 15":                       {"jog", "pca9685@0x40/17", "--config", none, "--rehearse"},
		"the input has ended":           {"jog", "pca9685@0x40/1", "--config", none, "--rehearse"},
	} {
		out := &writer{}
		assert.Equal(t, exitNo, run(t.Context(), args, strings.NewReader(""), out, out), want)
		assert.Contains(t, out.String(), want)
	}
	assert.NoFileExists(t, none)
}
