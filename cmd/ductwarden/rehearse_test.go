package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
	"ductwarden/controller/plan"
	"ductwarden/gates"
)

// spoken runs a command line and returns what it wrote.
func spoken(t *testing.T, ctx context.Context, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, err bytes.Buffer
	code = run(ctx, args, strings.NewReader(""), &out, &err)
	return code, out.String(), err.String()
}

func TestMorningShowsTheMainJob(t *testing.T) {
	code, out, stderr := spoken(t, t.Context(), "rehearse", "--speed", "0")
	require.Equal(t, exitDone, code, stderr)
	assert.Empty(t, stderr)
	at := 0
	for _, want := range []string{
		"thickness planer runs: open planer",
		"seen open: start the collector",
		"collector: running; carries",
		"ship bandsaw runs: open bandsaw",
		"close planer",
		"lathe runs: open lathe",
		"collector: lingering",
		"router runs: open router, open sweep",
		"button of floor sweep",
		"the hand gate is slid open",
		"ALARM: ",
		"settles, margin -",
		"ALARM: gate moulder did not open",
		"everything acknowledged",
		"Finish",
		"collector: coasting",
		"jointer runs: open jointer",
		"start the collector",
		"collector: off",
		"worst margin",
	} {
		i := strings.Index(out[at:], want)
		if assert.GreaterOrEqual(t, i, 0, "missing after byte %d: %s", at, want) {
			at += i
		}
	}
	if underRace { // one morning is enough to see a race
		return
	}
	_, again, _ := spoken(t, t.Context(), "rehearse", "--speed", "0")
	assert.Equal(t, out, again, "the same seed gives the same bytes")
	_, other, _ := spoken(t, t.Context(), "rehearse", "--speed", "0", "--seed", "2")
	assert.Contains(t, other, "router runs: open router, open sweep", "another noise, the same morning")
}

// What the boat shed is there to show holds by the model.
func TestBoatShedKeepsItsPromises(t *testing.T) {
	file, err := rehearsedShop(nil)
	require.NoError(t, err)
	assert.GreaterOrEqual(t, len(file.Machines), 7)
	assert.GreaterOrEqual(t, len(file.Gates), 8)
	trees, models, err := compile(file)
	require.NoError(t, err)
	thinkers, err := planners(file, trees, models)
	require.NoError(t, err)
	var usable gates.Set
	byHand := 0
	for i, g := range file.Gates {
		if g.Actuator.Hand == nil {
			usable = usable.With(i)
		} else {
			byHand++
		}
	}
	assert.Equal(t, 1, byHand)
	th := &theatre{file: file}
	ask := func(names ...string) plan.Answer {
		q := plan.Question{Usable: usable, Loaded: true}
		for _, n := range names {
			q.Running = q.Running.With(th.machine(n))
		}
		return thinkers[0].Choose(q)
	}
	relieved := 0
	for _, m := range file.Machines {
		a := ask(m.Name)
		assert.Equal(t, plan.Carries, a.Verdict, m.Name)
		if !a.Relief.Empty() {
			relieved++
		}
	}
	assert.Equal(t, 1, relieved, "one machine alone needs a relief gate")
	assert.Equal(t, plan.Carries, ask("ship bandsaw", "lathe").Verdict)
	assert.Equal(t, plan.Settles, ask("thickness planer", "table saw", "spindle moulder").Verdict)
	story := morning()
	first := story[1]
	assert.LessOrEqual(t, first.at.Seconds()/usualSpeed, 3.0, "the first machine starts within three seconds")
	assert.True(t, strings.Contains(first.text, "planer"))
}

func TestSummaryAsJSON(t *testing.T) {
	unshared(t)
	code, out, _ := spoken(t, t.Context(), "rehearse", "--speed", "0", "--json")
	require.Equal(t, exitDone, code)
	var s summary
	require.NoError(t, json.Unmarshal([]byte(out), &s))
	assert.Len(t, s.Machines, 8)
	assert.Zero(t, s.Missed)
	assert.Equal(t, 2, s.Starts, "lingering spares starts")
	for _, m := range s.Machines {
		assert.LessOrEqual(t, m.AirS, m.RunS)
		if m.Name == "router" {
			assert.InDelta(t, 80, m.RunS, 2)
			assert.Greater(t, m.AirS, 0.95*m.RunS)
			assert.Positive(t, *m.Margin)
		}
	}
}

// Any shop file that check accepts can be rehearsed.
func TestAnyShopCanBeRehearsed(t *testing.T) {
	files, err := filepath.Glob("../../config/testdata/good/*.yaml")
	require.NoError(t, err)
	if example := filepath.Join("..", "..", "..", "shared", "example-shop.yaml"); fileExists(example) {
		files = append(files, example)
	}
	for _, f := range files {
		code, out, stderr := spoken(t, t.Context(), "rehearse", "--speed", "0", f)
		assert.Equal(t, exitDone, code, "%s: %s", f, stderr)
		assert.Contains(t, out, "Ready is pressed", f)
	}
}

func fileExists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// Ctrl-C at any moment: the start line is off, the gates stay as they are.
func TestCtrlCAtAnyMoment(t *testing.T) {
	file, err := rehearsedShop(nil)
	require.NoError(t, err)
	rng := rand.New(rand.NewPCG(3, 4))
	for range 6 {
		th, err := newTheatre(t.Context(), file, 1)
		require.NoError(t, err)
		th.play(th.begin, morning())
		stop := th.begin + time.Duration(rng.Int64N(int64(3*time.Minute)))
		ctx, cancel := context.WithCancel(t.Context())
		th.sim.At(stop, cancel)
		require.NoError(t, th.clock.Run(ctx))
		where := make([]float64, len(file.Gates))
		for g := range where {
			where[g] = th.sim.Blade(g)
		}
		end := th.clock.Now()
		assert.LessOrEqual(t, end-stop, time.Second)
		for at := end; at < end+3*time.Second; at += 10 * time.Millisecond {
			th.sim.Poll(at)
		}
		assert.False(t, th.sim.Powered(0), "stopped at %v", stop-th.begin)
		for g := range where {
			assert.InDelta(t, where[g], th.sim.Blade(g), 0.05, "gate %d, stopped at %v", g, stop-th.begin)
		}
	}
}

func TestRehearseMistakes(t *testing.T) {
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"--speed", "-1"}, exitUsage, "cannot be"},
		{[]string{"--speed", "NaN"}, exitUsage, "cannot be"},
		{[]string{"--forever", "--json"}, exitUsage, "has no end"},
		{[]string{"a.yaml", "b.yaml"}, exitUsage, "at most 1 arg"},
		{[]string{"nowhere.yaml"}, exitNo, "no such file"},
		{[]string{"--page", "nonsense", "--speed", "60"}, exitNo, "page"},
	} {
		code, _, stderr := spoken(t, t.Context(), append([]string{"rehearse"}, c.args...)...)
		assert.Equal(t, c.code, code, c.args)
		assert.Contains(t, stderr, c.says)
		assert.Equal(t, 1, strings.Count(stderr, "\n"), "one sentence: %s", stderr)
	}
	code, out, _ := spoken(t, t.Context(), "rehearse", "--print")
	assert.Equal(t, exitDone, code)
	assert.Equal(t, string(demoShop), out)
}

// writer collects what a running command says.
type writer struct {
	mu sync.Mutex
	b  strings.Builder
}

func (w *writer) Write(p []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.b.Write(p)
}

func (w *writer) String() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.b.String()
}

// A rehearsal with a console is a daemon like any other; Ctrl-C ends it within a second.
func TestConsoleVerbsAgainstARehearsal(t *testing.T) {
	socket := filepath.Join(t.TempDir(), "console.sock")
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var out writer
	ended := make(chan int, 1)
	go func() {
		ended <- run(ctx, []string{"rehearse", "--speed", "20", "--page", "off", "--socket", socket}, strings.NewReader(""), &out, &out)
	}()
	require.Eventually(t, func() bool { return strings.Contains(out.String(), "collector: running; carries") }, 20*time.Second, 20*time.Millisecond, "the main job shows: %s", &out)

	code, status, stderr := spoken(t, t.Context(), "status", "--socket", socket)
	require.Equal(t, exitDone, code, stderr)
	assert.Contains(t, status, "thickness planer")
	assert.Contains(t, status, "starts left this hour")
	code, status, _ = spoken(t, t.Context(), "status", "--json", "--socket", socket)
	assert.Equal(t, exitDone, code)
	assert.True(t, json.Valid([]byte(status)))

	code, said, _ := spoken(t, t.Context(), "halt", "--socket", socket)
	assert.Equal(t, exitDone, code)
	assert.Contains(t, said, "halted")
	code, said, _ = spoken(t, t.Context(), "ready", "--socket", socket)
	assert.Equal(t, exitDone, code)
	assert.Contains(t, said, "on duty")
	code, _, stderr = spoken(t, t.Context(), "ready", "--socket", socket)
	assert.Equal(t, exitNo, code)
	assert.Contains(t, stderr, "refused: the shop is on duty already")
	code, said, _ = spoken(t, t.Context(), "ready", "--json", "--socket", socket)
	assert.Equal(t, exitNo, code)
	assert.Contains(t, said, `"accepted":false`)
	code, _, _ = spoken(t, t.Context(), "acknowledge", "--socket", socket)
	assert.Equal(t, exitDone, code)

	cancel()
	began := time.Now()
	select {
	case code := <-ended:
		assert.Equal(t, exitDone, code)
	case <-time.After(10 * time.Second):
		t.Fatal("it did not end")
	}
	assert.Less(t, time.Since(began), 10*time.Second)
	assert.Contains(t, out.String(), "worst margin", "a summary of what was seen")
	code, _, stderr = spoken(t, t.Context(), "status", "--socket", socket)
	assert.Equal(t, exitNo, code)
	assert.Contains(t, stderr, "no daemon answers")
}

func TestForeverBeginsAgain(t *testing.T) {
	file, err := rehearsedShop(nil)
	require.NoError(t, err)
	th, err := newTheatre(t.Context(), file, 1)
	require.NoError(t, err)
	n := 0
	story := []beat{{0, "once", func(*theatre) { n++ }}, {time.Second, "", nil}}
	rehearsal{forever: true}.schedule(th, th.begin, story, func() { t.Error("it has no end") })
	th.clock.Advance(t.Context(), th.begin+60*time.Second)
	assert.Equal(t, 6, n)
}

func TestReaderThatHasGoneEndsTheRehearsal(t *testing.T) {
	var r rehearsal
	file, err := rehearsedShop(nil)
	require.NoError(t, err)
	done := make(chan error, 1)
	go func() { done <- r.run(t.Context(), file, true, gone{}, gone{}) }()
	select {
	case <-done:
	case <-time.After(30 * time.Second):
		t.Fatal("it goes on although nobody reads")
	}
}

// gone is a pipe whose reader has gone.
type gone struct{}

func (gone) Write([]byte) (int, error) { return 0, fmt.Errorf("broken pipe") }

func TestRunWithoutBuses(t *testing.T) {
	if fileExists("/dev/i2c-1") {
		t.Skip("this computer has an I2C bus: the sentence about a missing one cannot be seen here")
	}
	shop := filepath.Join(t.TempDir(), "shop.yaml")
	text := strings.Replace(string(demoShop), "version: 1", "version: 1\nconsole: {socket: "+filepath.Join(t.TempDir(), "c.sock")+"}", 1)
	require.NoError(t, os.WriteFile(shop, []byte(text), 0o600))
	code, out, stderr := spoken(t, t.Context(), "run", "--config", shop)
	assert.Equal(t, exitNo, code)
	assert.Empty(t, out)
	assert.Contains(t, stderr, "/dev/i2c-1")
	assert.Equal(t, 1, strings.Count(stderr, "\n"), "one sentence: %s", stderr)
	again, _, second := spoken(t, t.Context(), "run", "--config", shop)
	assert.Equal(t, exitNo, again)
	assert.Equal(t, stderr, second, "nothing is left behind")
	code, _, stderr = spoken(t, t.Context(), "run", "--config", "nowhere.yaml")
	assert.Equal(t, exitNo, code)
	assert.Contains(t, stderr, "no such file")
}

func TestOnlyOneProgramHasTheBuses(t *testing.T) {
	f, err := lockBuses()
	if err != nil {
		t.Skipf("the buses' lock is not free here: %v", err)
	}
	_, err = lockBuses()
	assert.ErrorContains(t, err, "another ductwarden uses")
	f.Close()
	f, err = lockBuses()
	require.NoError(t, err)
	f.Close()
}

func TestStoryForAnyShopNamesEverything(t *testing.T) {
	file, err := config.Load("../../config/testdata/good/1-gate.yaml")
	require.NoError(t, err)
	assert.GreaterOrEqual(t, len(anyMorning(file)), 4)
}
