package loop

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/plan"
	"ductwarden/current"
	"ductwarden/gates"
)

// needed plans nothing but the gates of the demand; all air is good.
type needed struct{ shop *controller.Shop }

func (n needed) Choose(q plan.Question) plan.Answer {
	a := plan.Answer{Verdict: plan.Carries, Margin: 1000, Share: 10000, Weakest: plan.NoDuct, Short: plan.NoMachine, Mend: plan.NoMachine, Clear: 1000}
	for m := range (q.Running | q.Down).All() {
		a.Needed |= n.shop.Machines[m].Needs
	}
	a.Open = a.Needed | q.StuckOpen
	return a
}

// meter is a current.Meter that a test turns.
type meter struct {
	belief current.Belief
	health current.Health
	rms    int32
}

func (m *meter) Poll(time.Duration) (time.Duration, error) { return 0, nil }
func (m *meter) Belief() current.Belief                    { return m.belief }
func (m *meter) Health() current.Health                    { return m.health }
func (m *meter) RMS() (int32, bool)                        { return m.rms, true }
func (m *meter) String() string                            { return "meter" }

// slide is an actuator with a blade that follows at once.
type slide struct {
	drives []gates.Drive
	fail   error
	halts  int
	forget bool // loses its level once, as a board that was reset does
	level  gates.Drive
	open   bool
}

func (s *slide) Drive(_ time.Duration, d gates.Drive) error {
	if s.fail != nil {
		return s.fail
	}
	if s.forget {
		s.forget, s.level = false, gates.DriveNone
		return nil
	}
	if d != s.level {
		s.drives = append(s.drives, d)
	}
	s.level = d
	switch d {
	case gates.DriveOpen:
		s.open = true
	case gates.DriveClose:
		s.open = false
	}
	return nil
}
func (s *slide) Poll(time.Duration) (time.Duration, error) { return 0, nil }
func (s *slide) Halt() error                               { s.halts++; return nil }
func (s *slide) String() string                            { return "slide" }

// motor is a starter with a motor that follows at once.
type motor struct {
	log    *[]string
	on     bool
	held   time.Duration // after Halt a button is still pressed for so long
	halted bool
	told   bool
}

func (m *motor) On(time.Duration) error  { m.set(true); return nil }
func (m *motor) Off(time.Duration) error { m.set(false); return nil }
func (m *motor) Halt() error             { m.halted = true; m.set(false); return nil }
func (m *motor) String() string          { return "motor" }
func (m *motor) Poll(now time.Duration) (time.Duration, error) {
	if m.halted && m.held > 0 {
		m.held -= 100 * time.Millisecond
		return now + 100*time.Millisecond, nil
	}
	return 0, nil
}

func (m *motor) set(on bool) {
	if m.on != on || !m.told {
		m.told = true
		*m.log = append(*m.log, fmt.Sprintf("motor %v", on))
	}
	m.on = on
}

// levels are input lines that a test turns.
type levels struct {
	word  uint64
	err   error
	log   *[]string
	asked bool
}

func (l *levels) Read() (uint64, error) {
	if !l.asked {
		l.asked, *l.log = true, append(*l.log, "lines read")
	}
	return l.word, l.err
}

func (l *levels) set(i int, on bool) {
	l.word &^= 1 << uint(i)
	if on {
		l.word |= 1 << uint(i)
	}
}

// lamp notes its levels.
type lamp struct{ on bool }

func (l *lamp) Set(on bool) error { l.on = on; return nil }

// Lines of the test's shop.
const (
	lineOpen0 = iota
	lineClosed0
	lineOpen1
	lineClosed1
	lineReady
	lineHalt
	lineButton
	lineDisconnect
	lineEmptied
)

// rig is a loop with two machines, two gates with end switches and a collector, on a virtual clock.
type rig struct {
	*Loop
	t      *testing.T
	clock  *Virtual
	shop   *controller.Shop
	meters [2]*meter
	proof  *meter
	slides [2]*slide
	motor  *motor
	in     *levels
	lamp   *lamp
	chip   *Chip
	state  ChipState
	log    []string
	feeds  int
}

func testShop() *controller.Shop {
	motion := gates.Limits{Travel: 600, OpenSwitch: true, ClosedSwitch: true}
	s := &controller.Shop{
		Name:     "rig",
		Machines: []controller.Machine{{ID: "saw", Name: "saw", Needs: gates.Of(0), Collectors: gates.Of(0), RunDown: 3000, Sensed: true, Button: 30000}, {ID: "lathe", Name: "lathe", Needs: gates.Of(1), Collectors: gates.Of(0), RunDown: 3000, Sensed: true}},
		Gates:    []controller.Gate{{ID: "saw", Name: "saw", Motion: motion}, {ID: "lathe", Name: "lathe", Motion: motion}},
		Collectors: []controller.Collector{{ID: "collector", Name: "collector", Starter: true, Proof: true, Ways: []controller.Set{gates.Of(0), gates.Of(1)},
			StartsPerHour: 8, Rest: 80_000, LeastRun: 1000, SpinUp: 1000, Coast: 20_000, ProveOn: 2000, ProveOff: 3000}},
		Linger: 10_000, LongestLinger: 60_000, LeastClearing: 5000, MovingAtOnce: 2, MovesPerMinute: 6,
		LongestRun: controller.DefaultLongestRun, LongRunGrace: controller.DefaultLongRunGrace, InrushSpacing: 1000, Warning: 1000, PathLost: 3000,
		Network: controller.NetworkRequests,
	}
	s.Collectors[0].Planner = needed{s}
	return s
}

// parts builds the rig's parts; a test may change them before newRig.
func (r *rig) parts(s Scheduler) Parts {
	r.shop = testShop()
	r.meters = [2]*meter{{belief: current.Idle, health: current.Good}, {belief: current.Idle, health: current.Good}}
	r.proof = &meter{belief: current.Idle, health: current.Good}
	r.slides = [2]*slide{{}, {}}
	r.motor = &motor{log: &r.log}
	r.in, r.lamp = &levels{word: 1<<lineClosed0 | 1<<lineClosed1, log: &r.log}, &lamp{}
	r.chip = &Chip{Lane: "bus", Name: "chip", State: func() ChipState { return r.state }, Gates: gates.Of(0, 1), Meters: []Meter{
		{Meter: r.meters[0], Machines: gates.Of(0), Collector: -1}, {Meter: r.meters[1], Machines: gates.Of(1), Collector: -1}, {Meter: r.proof, Collector: 0}}}
	r.chip.Poll = func(now time.Duration) (time.Duration, error) {
		r.proof.belief = current.Idle
		if r.motor.on {
			r.proof.belief = current.Running
		}
		for i, s := range r.slides {
			r.in.set(2*i, s.open)
			r.in.set(2*i+1, !s.open)
		}
		return now + 10*time.Millisecond, nil
	}
	debounce := 20 * time.Millisecond
	use := func(p Purpose, n int) LineUse { return LineUse{For: p, N: n, Debounce: debounce} }
	return Parts{
		Shop: r.shop, Scheduler: s, Chips: []Chip{*r.chip},
		Lines: []LineSet{{Levels: r.in, Uses: []LineUse{use(EndOpen, 0), use(EndClosed, 0), use(EndOpen, 1), use(EndClosed, 1), use(ReadyButton, controller.Everything),
			use(HaltButton, controller.Everything), use(MachineButton, 0), use(DisconnectOpen, 0), use(BinEmptied, 0)}}},
		Actuators: []Actuator{{Lane: "bus", Gate: 0, Actuator: r.slides[0]}, {Lane: "bus", Gate: 1, Actuator: r.slides[1]}},
		Starters:  []Starter{r.motor},
		Signals:   []Signal{{Name: "lamp", Line: r.lamp, Shows: []Shown{{What: StandingBy, Machine: -1}}}},
		Feed:      func() { r.feeds++ },
	}
}

func newRig(t *testing.T, change ...func(*Parts)) *rig {
	t.Helper()
	r := &rig{t: t, clock: NewVirtual(AsFastAsMayBe)}
	p := r.parts(r.clock)
	for _, c := range change {
		c(&p)
	}
	l, err := New(p)
	require.NoError(t, err)
	r.Loop = l
	return r
}

func (r *rig) run(d time.Duration) { r.clock.Advance(r.t.Context(), r.clock.Now()+d) }

func (r *rig) press(line int) {
	r.in.set(line, true)
	r.run(100 * time.Millisecond)
	r.in.set(line, false)
	r.run(100 * time.Millisecond)
}

func (r *rig) snap() *controller.Snapshot { return r.Snapshots().Latest() }

// onDuty brings the rig on duty with its motor rested.
func (r *rig) onDuty() {
	r.run(85 * time.Second)
	r.press(lineReady)
	require.Equal(r.t, "on_duty", r.snap().Mode, r.snap().Why)
}

func TestOneStart(t *testing.T) {
	r := newRig(t)
	r.onDuty()
	assert.False(t, r.lamp.on)
	r.meters[0].belief, r.meters[0].rms = current.Running, 8200
	r.run(300 * time.Millisecond)
	assert.True(t, r.slides[0].open)
	assert.True(t, r.motor.on)
	r.run(2 * time.Second)
	s := r.snap()
	assert.Equal(t, "running", s.Collectors[0].Phase)
	assert.Equal(t, "running", s.Machines[0].State)
	assert.True(t, s.Machines[0].AirReady)
	assert.InDelta(t, 8.2, *s.Machines[0].CurrentA, 1e-9)
	assert.Equal(t, "good", s.Machines[0].Health)
	r.meters[0].belief = current.Idle
	r.run(2 * time.Minute)
	assert.False(t, r.motor.on, "run-down, clearing, lingering, off")
	assert.Equal(t, []string{"motor false", "lines read", "motor true", "motor false"}, r.log, "the first act of the program is to drive the line off")
}

func TestNothingMovesBeforeReady(t *testing.T) {
	r := newRig(t)
	r.meters[0].belief = current.Running
	r.run(100 * time.Second)
	assert.Empty(t, r.slides[0].drives)
	assert.False(t, r.motor.on)
	assert.True(t, r.lamp.on, "the lamp shows that it stands by")
}

func TestLostDriveHeals(t *testing.T) {
	r := newRig(t)
	r.onDuty()
	r.slides[0].forget = true
	r.meters[0].belief = current.Running
	r.run(time.Second)
	assert.True(t, r.slides[0].open, "the level is asserted again")
}

func TestButtons(t *testing.T) {
	r := newRig(t)
	r.in.set(lineReady, true) // a button that hangs is no press
	r.run(90 * time.Second)
	assert.Equal(t, "standing_by", r.snap().Mode)
	r.in.set(lineReady, false)
	r.run(50 * time.Millisecond)
	r.in.set(lineReady, true) // nor is a glitch that one scan sees
	r.run(Scan)
	r.in.set(lineReady, false)
	r.run(time.Second)
	assert.Equal(t, "standing_by", r.snap().Mode)
	r.press(lineReady)
	assert.Equal(t, "on_duty", r.snap().Mode)

	r.press(lineButton)
	r.run(time.Second)
	assert.True(t, r.motor.on, "the button calls the air")
	r.in.set(lineHalt, true)
	r.run(50 * time.Millisecond)
	assert.False(t, r.motor.on, "halt within two scans")
	assert.Equal(t, "halted", r.snap().Mode)
}

func TestDisconnectAndMarks(t *testing.T) {
	r := newRig(t)
	records := r.Records(100)
	r.onDuty()
	r.in.set(lineDisconnect, true)
	r.run(100 * time.Millisecond)
	r.meters[0].belief = current.Running
	r.run(5 * time.Second)
	assert.False(t, r.motor.on)
	r.press(lineEmptied)
	marked := 0
	var last uint64
	for len(records.C()) > 0 {
		rec := <-records.C()
		assert.Equal(t, last+1, rec.Seq, "numbered without a gap")
		last = rec.Seq
		if rec.Mark == BinEmptied {
			marked++
		}
	}
	assert.Equal(t, 1, marked)
	assert.Len(t, r.Recent(3), 3)
	assert.Greater(t, r.Recent(2)[0].Seq, r.Recent(2)[1].Seq, "newest first")
}

func TestUnreadableLines(t *testing.T) {
	r := newRig(t)
	r.onDuty()
	r.meters[0].belief = current.Running
	r.run(3 * time.Second)
	require.True(t, r.motor.on)
	r.in.err = errors.New("no such device")
	r.run(time.Second)
	assert.Equal(t, gates.SeenNeither, r.Proof(0), "a switch that cannot be read shows nothing")
	r.in.set(lineReady, true)
	r.in.err = nil
	r.run(time.Second)
	assert.Equal(t, gates.SeenOpen, r.Proof(0))
	assert.Equal(t, "on_duty", r.snap().Mode, "a button found pressed after that is no press")
}

func TestSilentBoardAndReset(t *testing.T) {
	r := newRig(t)
	r.onDuty()
	kinds := func(kind controller.EventKind) (v []int32) {
		for _, rec := range r.Recent(diaryLength) {
			if rec.Event.Kind == kind {
				v = append(v, rec.Event.V)
			}
		}
		slices.Reverse(v)
		return v
	}
	r.state.Silent = true
	r.run(100 * time.Millisecond)
	r.slides[0].fail = errors.New("no answer")
	r.run(time.Second)
	r.state.Silent = false
	r.run(100 * time.Millisecond)
	assert.Equal(t, []int32{1, 1, 1, 0}, kinds(controller.GateChip), "both silent, the first for two reasons; only the second answers")
	r.slides[0].fail = nil
	r.run(2 * time.Second)
	r.state.Resets++
	r.run(100 * time.Millisecond)
	assert.Equal(t, []int32{1, 1, 1, 0, 0, 2, 2}, kinds(controller.GateChip))
}

// An actuator that fails whenever it is driven must not make the core and the driver chase each other.
func TestFailingActuatorDoesNotChase(t *testing.T) {
	r := newRig(t)
	r.onDuty()
	before := r.diary.seq
	r.slides[0].fail = errors.New("a line could not be set")
	r.meters[0].belief = current.Running
	r.run(5 * time.Second)
	assert.Less(t, r.diary.seq-before, uint64(60))
}

func TestSeveralMetersOfOneMachine(t *testing.T) {
	w := watch{}
	eyes := [2]meter{}
	for i := range eyes {
		w.eyes = append(w.eyes, eye{near: &eyes[i]})
	}
	for _, c := range []struct{ a, b, want current.Belief }{
		{current.Idle, current.Idle, current.Idle},
		{current.Running, current.Idle, current.Running},
		{current.Unknown, current.Running, current.Running},
		{current.Unknown, current.Idle, current.Unknown},
	} {
		eyes[0].belief, eyes[1].belief = c.a, c.b
		assert.Equal(t, c.want, w.belief(0), "%v %v", c.a, c.b)
	}
}

func TestRequests(t *testing.T) {
	r := newRig(t)
	r.run(85 * time.Second)
	ask := func(key string, kind controller.EventKind, v int32) (got Answer) {
		done := make(chan struct{})
		go func() {
			defer close(done)
			var err error
			got, err = r.Do(context.Background(), Request{Key: key, Event: controller.Event{Kind: kind, By: controller.FromConsole, V: v}})
			assert.NoError(t, err)
		}()
		waits := func() int { r.desk.mu.Lock(); defer r.desk.mu.Unlock(); return len(r.desk.queue) }
		for waits() == 0 {
			time.Sleep(time.Millisecond)
		}
		r.run(Scan)
		<-done
		return got
	}
	presses := func() (n int) {
		for _, rec := range r.Recent(diaryLength) {
			if rec.Event.Kind == controller.ReadyPressed {
				n++
			}
		}
		return n
	}
	assert.True(t, ask("one", controller.ReadyPressed, 0).Accepted)
	again := ask("two", controller.ReadyPressed, 0)
	assert.False(t, again.Accepted)
	assert.NotEmpty(t, again.Why.Sentence())
	assert.Equal(t, 2, presses())
	assert.True(t, ask("one", controller.ReadyPressed, 0).Accepted, "the same key has the same answer")
	assert.Equal(t, 2, presses(), "and is not done again")
	r.run(61 * time.Second)
	assert.False(t, ask("one", controller.ReadyPressed, 0).Accepted, "a minute later it is another request")
	for i := range 2 * keysKept {
		ask(fmt.Sprint(i), controller.ReadyPressed, 0)
	}
	assert.LessOrEqual(t, len(r.desk.memo), keysKept)
}

func TestTooManyRequestsAndNoLoop(t *testing.T) {
	r := newRig(t) // its clock does not run: nobody serves
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	for range deskQueue {
		_, err := r.Do(ctx, Request{})
		assert.ErrorIs(t, err, context.Canceled)
	}
	_, err := r.Do(ctx, Request{})
	assert.ErrorIs(t, err, ErrBusy)
}

func TestUncleanEndIsTold(t *testing.T) {
	r := newRig(t, func(p *Parts) { p.Before = Restored{Unclean: true} })
	r.run(85 * time.Second)
	r.press(lineReady)
	assert.Equal(t, "standing_by", r.snap().Mode, "a person must acknowledge first")
	r.Post(controller.Event{Kind: controller.Acknowledged, By: controller.FromConsole, N: controller.Everything})
	r.run(time.Second)
	r.press(lineReady)
	assert.Equal(t, "on_duty", r.snap().Mode)
}

func TestStartsAreRestoredAndSaved(t *testing.T) {
	memory, boot := &Memory{}, &fakeBoot{boot: 1, now: 5 * time.Hour}
	starts, before, err := RestoreStarts(memory, boot, []Budgeted{{ID: "collector", Limit: 8}})
	require.NoError(t, err)
	r := newRig(t, func(p *Parts) { p.Starts, p.Before = starts, before })
	r.run(time.Second)
	assert.Zero(t, r.snap().Collectors[0].StartsLeft, "without a file the hour's starts count as made")
	r.onDuty()
	boot.now += 2 * time.Hour
	r.meters[0].belief = current.Running
	r.run(5 * time.Second)
	require.True(t, r.motor.on, "one start is possible after the full rest")
	_, after, err := RestoreStarts(&Memory{b: slices.Clone(memory.b)}, boot, []Budgeted{{ID: "collector", Limit: 8}})
	require.NoError(t, err)
	assert.Len(t, after.Ages[0], 1)
	assert.True(t, after.Unclean, "the collector was on")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	require.NoError(t, r.clock.Run(ctx))
	_, after, err = RestoreStarts(memory, boot, []Budgeted{{ID: "collector", Limit: 8}})
	require.NoError(t, err)
	assert.False(t, after.Unclean)
}

func TestDiskFailureIsToldOnceAndControlGoesOn(t *testing.T) {
	var told []error
	starts, before, err := RestoreStarts(&fullDisk{}, &fakeBoot{boot: 1}, []Budgeted{{ID: "collector", Limit: 8}})
	require.Error(t, err)
	r := newRig(t, func(p *Parts) {
		p.Starts, p.Before, p.Changed = starts, before, func(err error) { told = append(told, err) }
	})
	r.onDuty()
	r.meters[0].belief = current.Running
	r.run(5 * time.Second)
	assert.True(t, r.motor.on)
	require.Len(t, told, 1)
	assert.ErrorContains(t, told[0], "no space left")
}

func TestEndLeavesLinesOffAndGatesAlone(t *testing.T) {
	r := newRig(t)
	r.onDuty()
	r.meters[0].belief = current.Running
	r.run(3 * time.Second)
	require.True(t, r.motor.on)
	drives := len(r.slides[0].drives)
	r.motor.held = 500 * time.Millisecond
	r.lamp.on = true
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	before := r.clock.Now()
	require.NoError(t, r.clock.Run(ctx))
	assert.False(t, r.motor.on)
	assert.LessOrEqual(t, r.motor.held, time.Duration(0), "a stop button is held for its time")
	assert.LessOrEqual(t, r.clock.Now()-before, stopGrace)
	assert.False(t, r.lamp.on)
	assert.Len(t, r.slides[0].drives, drives)
	assert.Equal(t, 1, r.slides[0].halts, "no pulses are left behind")
	assert.True(t, r.slides[0].open)
}

func TestSignals(t *testing.T) {
	horn := &lamp{}
	r := newRig(t, func(p *Parts) {
		p.Signals = append(p.Signals, Signal{Name: "horn", Line: horn, Shows: []Shown{{What: StandingBy, Machine: -1}}, Longest: 5 * time.Second})
	})
	r.run(time.Second)
	assert.True(t, horn.on)
	r.run(10 * time.Second)
	assert.False(t, horn.on, "falls silent")
	assert.True(t, r.lamp.on)
	r.onDuty()
	r.Post(controller.Event{Kind: controller.HaltPressed, By: controller.FromConsole})
	r.run(time.Second)
	assert.Equal(t, "halted", r.snap().Mode)
	r.out.AirReady = gates.Of(1)
	assert.True(t, r.shown(Shown{AirReady, 1}))
	assert.False(t, r.shown(Shown{AirReady, 0}))
	assert.True(t, r.shown(Shown{AirReady, -1}))
}

func TestPressureMeter(t *testing.T) {
	p, ok := 0.0, true
	m := NewPressureMeter("tap", func() (float64, bool) { return p, ok }, 500)
	assert.Equal(t, current.Idle, m.Belief())
	p = 600
	assert.Equal(t, current.Running, m.Belief())
	p = 400
	assert.Equal(t, current.Running, m.Belief(), "within the gap")
	p = 300
	assert.Equal(t, current.Idle, m.Belief())
	ok = false
	assert.Equal(t, current.Unknown, m.Belief())
	assert.Equal(t, current.Lost, m.Health())
	p, ok = 400, true
	assert.Equal(t, current.Idle, m.Belief(), "after a loss the gap counts as still")
}
