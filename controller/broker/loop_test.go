//go:build unix

package broker_test

import (
	"context"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/broker"
	"ductwarden/controller/broker/brokertest"
	"ductwarden/controller/loop"
	"ductwarden/controller/plan"
	"ductwarden/controller/publish"
	"ductwarden/current"
	"ductwarden/gates"
)

// floor is a real control loop on real time, with a shop whose metal is in memory.
type floor struct {
	*running
	loop   *loop.Loop
	meters [2]*eye
	slides [2]*slide
	motor  *motor
}

// eye is a meter that a test turns; at is when it did.
type eye struct {
	belief atomic.Int32
	at     atomic.Int64 // when the new belief was handed over, after debounce
	told   current.Belief
}

func (e *eye) Poll(now time.Duration) (time.Duration, error) {
	if b := current.Belief(e.belief.Load()); b != e.told {
		e.told = b
		e.at.Store(time.Now().UnixNano())
	}
	return now + time.Millisecond, nil
}
func (e *eye) Belief() current.Belief { return e.told }
func (e *eye) Health() current.Health { return current.Good }
func (e *eye) RMS() (int32, bool)     { return 0, false }
func (e *eye) String() string         { return "eye" }

// slide is a gate that follows at once and counts how often it was pushed.
type slide struct {
	level  atomic.Int32
	pushes atomic.Int64
}

func (s *slide) Drive(_ time.Duration, d gates.Drive) error {
	if was := gates.Drive(s.level.Swap(int32(d))); was != d && d != gates.DriveNone {
		s.pushes.Add(1)
	}
	return nil
}
func (s *slide) Poll(time.Duration) (time.Duration, error) { return 0, nil }
func (s *slide) Halt() error                               { return nil }
func (s *slide) String() string                            { return "slide" }

// motor counts its starts.
type motor struct {
	on     atomic.Bool
	starts atomic.Int64
}

func (m *motor) On(time.Duration) error {
	if !m.on.Swap(true) {
		m.starts.Add(1)
	}
	return nil
}
func (m *motor) Off(time.Duration) error                   { m.on.Store(false); return nil }
func (m *motor) Poll(time.Duration) (time.Duration, error) { return 0, nil }
func (m *motor) Halt() error                               { m.on.Store(false); return nil }
func (m *motor) String() string                            { return "motor" }

// needed opens what the demand needs; all air is good.
type needed struct{ shop *controller.Shop }

func (n needed) Choose(q plan.Question) plan.Answer {
	a := plan.Answer{Verdict: plan.Carries, Margin: 1000, Share: 10000, Weakest: plan.NoDuct, Short: plan.NoMachine, Mend: plan.NoMachine, Clear: 1000}
	for m := range (q.Running | q.Down).All() {
		a.Needed |= n.shop.Machines[m].Needs
	}
	a.Open = a.Needed | q.StuckOpen
	return a
}

// counter is the desk that the wiring makes of a loop.
type counter struct{ l *loop.Loop }

func (c counter) Ask(ctx context.Context, e controller.Event) broker.Answer {
	a, err := c.l.Do(ctx, loop.Request{Event: e})
	if err != nil {
		return broker.Answer{Code: publish.CodeBusy, Text: err.Error()}
	}
	return broker.Answer{Accepted: a.Accepted, Text: a.Why.Sentence()}
}

func startFloor(t *testing.T, url string, rights controller.NetworkRights) *floor {
	t.Helper()
	motion := gates.Limits{Travel: 600}
	s := &controller.Shop{
		Name: "Mossfen chair shop",
		Machines: []controller.Machine{{ID: "planer", Name: "thickness planer", Needs: gates.Of(0), Collectors: gates.Of(0), Sensed: true},
			{ID: "lathe", Name: "lathe", Needs: gates.Of(1), Collectors: gates.Of(0), Sensed: true}},
		Gates: []controller.Gate{{ID: "planer", Name: "planer", Motion: motion}, {ID: "lathe", Name: "lathe", Motion: motion}},
		Collectors: []controller.Collector{{ID: "collector", Name: "collector", Starter: true, Ways: []controller.Set{gates.Of(0), gates.Of(1)},
			StartsPerHour: 8, Rest: 80_000, LeastRun: 1000, SpinUp: 1000, Coast: 20_000, ProveOn: 2000, ProveOff: 3000}},
		Linger: 10_000, LongestLinger: 60_000, LeastClearing: 5000, MovingAtOnce: 2, MovesPerMinute: 12,
		LongestRun: controller.DefaultLongestRun, LongRunGrace: controller.DefaultLongRunGrace, InrushSpacing: 1000, Warning: 1000, PathLost: 3000,
		Network: rights,
	}
	s.Collectors[0].Planner = needed{s}
	f := &floor{meters: [2]*eye{{}, {}}, slides: [2]*slide{{}, {}}, motor: &motor{}}
	for _, e := range f.meters {
		e.belief.Store(int32(current.Idle))
	}
	clock := loop.NewReal()
	chip := loop.Chip{Lane: "bus", Name: "chip", Poll: func(now time.Duration) (time.Duration, error) {
		for _, e := range f.meters {
			_, _ = e.Poll(now)
		}
		return now + time.Millisecond, nil
	}, Meters: []loop.Meter{{Meter: f.meters[0], Machines: gates.Of(0), Collector: -1}, {Meter: f.meters[1], Machines: gates.Of(1), Collector: -1}}}
	l, err := loop.New(loop.Parts{Shop: s, Scheduler: clock, Chips: []loop.Chip{chip},
		Actuators: []loop.Actuator{{Lane: "bus", Gate: 0, Actuator: f.slides[0]}, {Lane: "bus", Gate: 1, Actuator: f.slides[1]}}, Starters: []loop.Starter{f.motor}})
	require.NoError(t, err)
	f.loop = l
	f.running = run(t, url, func(c *broker.Config) {
		c.Desk, c.Now = counter{l}, clock.Now
		c.Publish.Plain, c.Publish.Commands = false, publish.Commands(rights)
	})
	ctx, cancel := context.WithCancel(context.Background())
	var wg sync.WaitGroup
	wg.Go(func() { assert.NoError(t, clock.Run(ctx)) })
	wg.Go(func() { // what the wiring does
		w := l.Snapshots().Watch()
		defer w.Close()
		for {
			select {
			case <-ctx.Done():
				return
			case <-w.Changed():
				f.Offer(w.Latest())
			}
		}
	})
	t.Cleanup(func() { cancel(); wg.Wait() })
	return f
}

// From the input layer through the control loop to a subscriber: every edge arrives, in order.
func TestEdgeThroughTheLoop(t *testing.T) {
	m := brokertest.Start(t)
	f := startFloor(t, m.URL(), controller.NetworkRequests)
	f.online(t)
	edges := 200
	if *long {
		edges = 1000
	}
	seen := make(chan time.Time, 16)
	last := ""
	l := listen(t, m.URL())
	l.done(l.c.Subscribe(site+"state/machine/planer", 0, callback(func(p string) {
		state := "idle"
		if strings.Contains(p, `"state":"running"`) {
			state = "running"
		}
		if state != last {
			last = state
			seen <- time.Now()
		}
	})))
	<-seen
	f.meters[0].belief.Store(int32(current.Unknown)) // begins with a change that is not counted
	require.Eventually(t, func() bool { return f.Latest().Machines[0].State == "unknown" }, 30*time.Second, time.Millisecond)
	var lag []time.Duration
	for i := range edges {
		b := []current.Belief{current.Running, current.Idle}[i%2]
		f.meters[0].belief.Store(int32(b))
		select {
		case at := <-seen:
			lag = append(lag, time.Duration(at.UnixNano()-f.meters[0].at.Load()))
		case <-time.After(5 * time.Second):
			t.Fatalf("edge %d did not arrive: %+v", i, f.Latest().Machines[0])
		}
	}
	slices.Sort(lag)
	n := len(lag)
	t.Logf("edge in the input layer, through the control loop, to a subscriber: %d edges, p50 %s, p99 %s, max %s", n, lag[n/2], lag[n*99/100], lag[n-1])
	assert.Less(t, lag[n-1], 2*time.Second)
}

// A frozen broker does not cost the control loop a scan: those missed are counted by the loop itself.
func TestTheLoopDoesNotFeelAFrozenBroker(t *testing.T) {
	m := brokertest.Start(t)
	f := startFloor(t, m.URL(), controller.NetworkRequests)
	f.online(t)
	count := func(d time.Duration) (scans, missed int64) {
		before := f.loop.Stats()
		tick := time.NewTicker(20 * time.Millisecond)
		defer tick.Stop()
		for i, end := 0, time.Now().Add(d); time.Now().Before(end); i++ {
			f.meters[0].belief.Store(int32([]current.Belief{current.Running, current.Idle}[i%2])) // much to tell
			<-tick.C
		}
		after := f.loop.Stats()
		return after.Scans - before.Scans, after.Missed - before.Missed
	}
	// A busy machine misses scans by itself, so well and frozen take turns, and a round that was disturbed is
	// made again: a loop that waited for the broker would miss most scans in every frozen turn of every round.
	for round := 1; ; round++ {
		var scans, missed [2]int64
		for range 4 {
			for frozen, s := range []syscall.Signal{syscall.SIGCONT, syscall.SIGSTOP} {
				m.Signal(s)
				a, b := count(500 * time.Millisecond)
				scans[frozen], missed[frozen] = scans[frozen]+a, missed[frozen]+b
			}
		}
		m.Signal(syscall.SIGCONT)
		t.Logf("control loop: broker well %d scans, %d missed; broker frozen %d scans, %d missed", scans[0], missed[0], scans[1], missed[1])
		if missed[1] <= missed[0]+scans[1]/10 {
			break
		}
		require.Less(t, round, 5, "more scans are missed while the broker is frozen, in every round")
	}
}

// Whatever comes over the network at a shop that allows requests but no start: the collector is never
// started, and no gate moves but for a hold that was let through, which opens one.
func TestAnythingOverTheNetworkMovesNothing(t *testing.T) {
	t.Parallel()
	m := brokertest.Start(t)
	earlier := listen(t, m.URL()) // what somebody wanted once, kept by the broker: it comes at every connection
	earlier.say(site+"request/gate/lathe", "hold", true)
	earlier.say(site+"request", `{"request":"hold","subject":"planer"}`, true)
	n := newLine(t, m.Address())
	f := startFloor(t, n.url(), controller.NetworkRequests)
	f.online(t)
	require.Eventually(t, func() bool { return f.Latest() != nil && f.Latest().Mode == "standing_by" }, 30*time.Second, 5*time.Millisecond)
	_, err := f.loop.Do(t.Context(), loop.Request{Event: controller.Event{Kind: controller.ReadyPressed, By: controller.FromButton}})
	require.NoError(t, err)
	require.Eventually(t, func() bool { return f.Latest().Mode == "on_duty" }, 30*time.Second, 5*time.Millisecond)
	require.Eventually(t, func() bool { return f.now() > 2500 }, 30*time.Second, 10*time.Millisecond)
	pushes := func() int64 { return f.slides[0].pushes.Load() + f.slides[1].pushes.Load() }
	before := pushes()
	chance := rand.New(rand.NewPCG(7, 7))
	l := listen(t, m.URL())
	sent := 0
	say := func(topic, payload string, retained bool) {
		l.c.Publish(site+topic, byte(chance.IntN(2)), retained, payload)
		sent++
	}
	counted := func() (n, accepted float64) {
		for _, s := range f.RequestSamples() {
			if s.Name == "ductwarden_mqtt_requests_total" || s.Name == "ductwarden_mqtt_requests_dropped_total" {
				n += s.Value
			}
			if slices.Contains(s.Labels, "accepted") {
				accepted += s.Value
			}
		}
		return n, accepted
	}
	for i := range 3000 {
		if say(brokertest.Hostile(chance, "lathe")); i == 1500 {
			earlier.say("wait/for/it", "", false)
			require.Eventually(t, func() bool { a, _ := counted(); return a >= float64(sent)*0.99 }, 20*time.Second, 20*time.Millisecond, "all are counted")
			n.cut()
			require.Eventually(t, func() bool { return f.Status().Session >= 2 && f.Status().Online }, 10*time.Second, 5*time.Millisecond)
		}
	}
	require.Eventually(t, func() bool { a, _ := counted(); return a >= float64(sent)*0.99 }, 20*time.Second, 20*time.Millisecond, "all are counted")
	read, accepted := counted()
	t.Logf("hostile requests: %d sent, %.0f counted, %.0f let through, %d pushes of gates, %d starts", sent, read, accepted, pushes()-before, f.motor.starts.Load())
	assert.Zero(t, accepted)
	assert.Zero(t, pushes()-before)
	assert.Zero(t, f.motor.starts.Load())
	assert.Equal(t, "on_duty", f.Latest().Mode)

	require.Eventually(t, func() bool { // and a good one still works, once the connection is no longer new
		say("request/gate/lathe", "hold 5s", false)
		return f.slides[1].pushes.Load() > 0
	}, 10*time.Second, 400*time.Millisecond)
	assert.Zero(t, f.motor.starts.Load())
	say("request/halt", "press", false)
	require.Eventually(t, func() bool { return f.Latest().Mode == "halted" }, 30*time.Second, 5*time.Millisecond)
}
