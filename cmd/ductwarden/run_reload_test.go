//go:build unix

package main

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/journal"
	"ductwarden/controller/loop"
	"ductwarden/controller/panel/api"
	"ductwarden/controller/publish/metrics"
	"ductwarden/controller/simshop"
)

// keptWires are those of one simulated shop that outlives the loops which use it.
type keptWires struct{ simWires }

func (keptWires) lookAround(*slog.Logger) error { return nil }
func (keptWires) source() metrics.Source        { return metrics.Source{} }
func (keptWires) through(partsBroker)           {}
func (keptWires) Close() error                  { return nil }

// keptShed is a daemon over a simulated shop, whose shop file can be changed.
type keptShed struct {
	*keeper
	t      *testing.T
	path   string
	client *api.Client
	sim    *simshop.Shop
	log    *writer

	mu     sync.Mutex
	blades []float64
	powers int    // how often the motor was switched on
	refuse string // the name of a shop that cannot be opened a second time
	opened map[string]int
}

// keepShed begins it.
func keepShed(t *testing.T) *keptShed {
	dir := t.TempDir()
	k := &keptShed{t: t, path: filepath.Join(dir, "shop.yaml"), log: &writer{}, opened: map[string]int{}}
	k.write(k.text(""))
	file, err := config.Load(k.path)
	require.NoError(t, err)
	k.client = api.Dial(file.Console.Socket)
	_, models, err := compile(file)
	require.NoError(t, err)
	var clock *loop.Virtual
	now := func() time.Duration { return clock.Now() }
	k.sim = simshop.New(file, models, now, simshop.Options{Seed: 1})
	held, err := os.Create(filepath.Join(dir, "buses.lock"))
	require.NoError(t, err)
	t.Cleanup(func() { held.Close() })
	k.keeper = &keeper{held: held, stdout: &writer{}, log: slog.New(slog.NewTextHandler(k.log, nil)), supervisor: loop.NewSupervisor(),
		open: func(s *config.Shop) (shopWires, error) {
			k.mu.Lock()
			defer k.mu.Unlock()
			if k.opened[s.Name]++; s.Name == k.refuse && k.opened[s.Name] > 1 {
				return nil, errors.New("the board was pulled out just now")
			}
			return keptWires{simWires{k.sim}}, nil
		},
		clock: func(after loop.Scheduler) loop.Scheduler {
			c := loop.NewVirtual(loop.AsFastAsMayBe)
			if after != nil {
				c.Advance(t.Context(), after.Now())
			}
			clock = c
			c.Add("shop", "shop", k.sim)
			c.Add("story", "bystander", loop.TaskFunc(k.look))
			return c
		}}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- k.keep(ctx, file) }()
	t.Cleanup(func() { cancel(); assert.NoError(t, <-done) })
	k.until("it runs", func(s *controller.Snapshot) bool { return s.Mode == "standing_by" })
	return k
}

// look notes where the blades are and whether the motor is switched on.
func (k *keptShed) look(now time.Duration) time.Duration {
	time.Sleep(2 * time.Millisecond) // fifty times real time: what is asked over the console comes in time
	k.mu.Lock()
	defer k.mu.Unlock()
	k.blades = k.blades[:0]
	for g := range 9 {
		k.blades = append(k.blades, k.sim.Blade(g))
	}
	if k.sim.Powered(0) {
		k.powers++
	}
	return now + 100*time.Millisecond
}

func (k *keptShed) seen() (blades []float64, powers int) {
	k.mu.Lock()
	defer k.mu.Unlock()
	return append(blades, k.blades...), k.powers
}

// text is the shed's file with its own places, and a change.
func (k *keptShed) text(old string, more ...string) string {
	dir := filepath.Dir(k.path)
	s := strings.Replace(string(demoShop), "page: {listen: \"127.0.0.1:8480\"}", "", 1) + "\nconsole: {socket: " + dir + "/s}\nstarts: {path: " + dir + "/starts}\njournal: {path: " + dir + "/journal.db}\npage: {listen: off, access: " + dir + "/access}\n"
	if old != "" {
		require.Contains(k.t, s, old)
		s = strings.Replace(s, old, more[0], 1)
	}
	return s
}

func (k *keptShed) write(text string) {
	require.NoError(k.t, os.WriteFile(k.path, []byte(text), 0o644))
}

func (k *keptShed) ask(action, target, value string) api.Answer {
	k.t.Helper()
	a, err := k.client.Ask(k.t.Context(), api.Request{Action: action, Target: target, Value: value})
	require.NoError(k.t, err)
	return a
}

// until waits for what the console tells.
func (k *keptShed) until(what string, is func(*controller.Snapshot) bool) (s *controller.Snapshot) {
	k.t.Helper()
	var err error
	for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if s, err = k.client.Snapshot(k.t.Context()); err == nil && is(s) {
			return s
		}
	}
	require.Fail(k.t, "never: "+what, "%+v, %v; %s", s, err, k.log)
	return s
}

func TestAChangedShopFileTakesEffectAtRestOnly(t *testing.T) {
	k := keepShed(t)
	s := k.until("the motor has rested", func(s *controller.Snapshot) bool { return s.AtMS > 90_000 })
	require.True(t, k.ask("ready", "", "").Accepted)
	require.True(t, k.ask("call_air", "floor-sweep", "30s").Accepted, "%+v", s.Machines)
	k.until("the collector runs", func(s *controller.Snapshot) bool { return s.Collectors[0].Phase == "running" })

	renamed := func(to string) string { return k.text("shop: Withy Hard boat shed", "shop: "+to) }
	k.write(renamed("The longer shed"))
	a := k.ask("reload", "", "")
	assert.False(t, a.Accepted)
	assert.Contains(t, a.Reason, "stays as it was: the shop is not at rest: ")
	assert.Contains(t, a.Reason, "collector runs")

	require.True(t, k.ask("finish", "", "").Accepted)
	k.until("it coasts", func(s *controller.Snapshot) bool { return s.Collectors[0].Phase == "coasting" })
	assert.Contains(t, k.ask("reload", "", "").Reason, "the wheel of collector still turns")
	require.True(t, k.ask("gate", "lathe", "off").Accepted)
	before := k.until("it stands", func(s *controller.Snapshot) bool { return s.Collectors[0].Phase == "off" })
	assert.Contains(t, k.ask("reload", "", "").Reason, "gate lathe is off")
	require.True(t, k.ask("gate", "lathe", "automatic").Accepted)

	k.write(k.text("carries: 20 m/s", "carries: 20 mph", ""))
	a = k.ask("reload", "", "")
	assert.False(t, a.Accepted)
	assert.Contains(t, a.Reason, k.path+":", "the place in the file")
	s = k.until("it goes on", func(*controller.Snapshot) bool { return true })
	assert.Equal(t, "on_duty", s.Mode)
	assert.Equal(t, "Withy Hard boat shed", s.Shop)

	k.write(renamed("The longer shed"))
	blades, powers := k.seen()
	require.True(t, k.ask("reload", "", "").Accepted)
	s = k.until("the changed file is in force", func(s *controller.Snapshot) bool { return s.Shop == "The longer shed" })
	assert.Equal(t, "standing_by", s.Mode)
	assert.Equal(t, before.Collectors[0].StartsLeft, s.Collectors[0].StartsLeft, "the hour's starts are not forgotten")
	s = k.until("everything is seen anew", func(s *controller.Snapshot) bool {
		for _, m := range s.Machines {
			if m.State == "unknown" && m.CurrentA != nil {
				return false
			}
		}
		return s.Collectors[0].Feedback == "still"
	})
	assert.False(t, s.AtMS < before.AtMS, "the clock goes on")
	after, on := k.seen()
	assert.Equal(t, blades, after, "nothing has moved")
	assert.Equal(t, powers, on, "and nothing was switched on")

	// The service manager's way.
	k.write(renamed("The third shed"))
	forced, err := inForce(k.held)
	require.NoError(t, err)
	assert.Equal(t, "The longer shed", forced.Name, "whatever is written into the file: what drives the lines is kept")
	another, err := os.Create(filepath.Join(t.TempDir(), "lock"))
	require.NoError(t, err)
	defer another.Close()
	text, err := os.ReadFile(k.held.Name())
	require.NoError(t, err)
	_, err = another.WriteString("# boot 00112233445566778899aabbccddeeff\n" + string(text))
	require.NoError(t, err)
	_, err = inForce(another)
	require.ErrorIs(t, err, errNoneInForce, "what another boot left does not count")
	require.NoError(t, syscall.Kill(os.Getpid(), syscall.SIGHUP))
	k.until("again", func(s *controller.Snapshot) bool { return s.Shop == "The third shed" && s.Mode == "standing_by" })

	// What cannot be opened after all falls back on the file before.
	k.mu.Lock()
	k.refuse = "The fourth shed"
	k.mu.Unlock()
	k.write(renamed("The fourth shed"))
	require.True(t, k.ask("reload", "", "").Accepted)
	require.Eventually(t, func() bool { return strings.Contains(k.log.String(), "the one before is again") }, 20*time.Second, 5*time.Millisecond)
	k.until("the third is back", func(s *controller.Snapshot) bool { return s.Shop == "The third shed" })
	require.True(t, k.ask("ready", "", "").Accepted)
	k.until("it is on duty", func(s *controller.Snapshot) bool { return s.Mode == "on_duty" })

	// Every loop's part of the journal can be played again.
	require.Eventually(t, func() bool {
		b, err := journal.Read(filepath.Join(filepath.Dir(k.path), "journal.db"))
		require.NoError(t, err)
		defer b.Close()
		runs, err := b.Runs()
		require.NoError(t, err)
		require.Len(t, runs, 4)
		for _, r := range runs[1:] {
			told, _, err := replayJournal(b, r.Number, nil)
			require.NoError(t, err)
			assert.Empty(t, told.Differs, "run %d", r.Number)
			assert.EqualValues(t, told.Events, told.Replayed, "run %d", r.Number)
		}
		return true
	}, 10*time.Second, 100*time.Millisecond)
}
