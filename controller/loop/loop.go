package loop

import (
	"fmt"
	"time"

	"ductwarden/controller"
	"ductwarden/current"
)

// Core is the lane that owns the state.
const Core Lane = "core"

// startsLane is where the file of starts is written: a slow disk must not delay a scan.
const startsLane Lane = "starts"

const (
	// Scan is how often lines are read, levels asserted again, pulsed lines kept alive and the watchdog fed. Two
	// scans are one period of a start line pulsed at 20 Hz.
	Scan = 25 * time.Millisecond
	// publishEvery is how often readings are published though nothing happens.
	publishEvery = 250 * time.Millisecond
	// mostWakes bounds how often the core is woken for one moment.
	mostWakes = 64
)

// Loop owns the core's state. It is a task on the core's lane; everything else reaches it through mailboxes.
type Loop struct {
	parts Parts
	state controller.State
	out   controller.Outputs

	self  Handle
	lanes map[Lane]*pulse

	watched    []watch
	eyesOf     []eye // of each machine: the one with a current, for show
	lines      [][]lineState
	ends       []gateEnds
	chips      []*chipTask
	resets     []int
	silent     []bool
	drives     []*driveTask // by gate; nil: none
	failing    []bool
	taps       []*tapTask
	tapWatches []tapWatch
	airTold    []int32  // by collector: what its taps say against the model
	byAir      []string // by gate: what the air tells of it
	groups     []group
	strokes    []stroke // by gate
	signals    []signalState
	starts     *startsTask

	now       controller.Instant
	begun     bool
	next      time.Duration // next scan on the grid
	motorNext time.Duration // when a starter wants to be polled; 0: not
	halted    bool
	left      bool // another loop takes its place: nothing is taken in any more
	effects   []controller.Effect
	unseen    []controller.Effect // of a state that is only shown
	steps     uint64

	standing  []controller.Standing
	alarmNext controller.Instant
	dirty     bool
	published time.Duration

	desk  desk
	bench bench
	diary diary
	snaps Hub[controller.Snapshot]
	stats counts
}

// New makes a loop and adds its tasks to the scheduler. Nothing is driven before the scheduler runs.
func New(p Parts) (*Loop, error) {
	if err := p.Shop.Check(); err != nil {
		return nil, fmt.Errorf("the shop cannot be run: %w", err)
	}
	l := &Loop{parts: p, lanes: map[Lane]*pulse{}}
	l.desk.memo = map[string]remembered{}
	l.self = p.Scheduler.Add(Core, "core", l)
	gatesN := len(p.Shop.Gates)
	l.ends = make([]gateEnds, gatesN)
	l.drives = make([]*driveTask, gatesN)
	l.failing = make([]bool, gatesN)
	l.byAir = make([]string, gatesN)
	l.strokes = make([]stroke, gatesN)
	l.airTold = make([]int32, len(p.Shop.Collectors))
	l.layWatches()
	for i := range p.Chips {
		l.addChip(&p.Chips[i])
	}
	for _, set := range p.Lines {
		l.lines = append(l.lines, make([]lineState, len(set.Uses)))
		for i := range set.Uses {
			l.layLine(&set.Uses[i])
		}
	}
	for _, a := range p.Actuators {
		d := &driveTask{actuator: a.Actuator, core: l.self}
		d.self = p.Scheduler.Add(a.Lane, a.String(), d)
		l.drives[a.Gate] = d
		l.laneOf(a.Lane)
	}
	for i := range p.Taps {
		t := &tapTask{tap: &p.Taps[i]}
		p.Scheduler.Add(t.tap.Lane, t.tap.Name, t)
		l.taps = append(l.taps, t)
		l.tapWatches = append(l.tapWatches, tapWatch{})
	}
	l.signals = make([]signalState, len(p.Signals))
	if p.Starts != nil {
		l.starts = &startsTask{file: p.Starts, changed: p.Changed}
		l.starts.self = p.Scheduler.Add(startsLane, "file of starts", l.starts)
	}
	return l, nil
}

// layWatches makes room for everything that is watched; the meters are attached with their chips and lines.
func (l *Loop) layWatches() {
	p := l.parts.Shop
	for m := range p.Machines {
		if p.Machines[m].Sensed {
			l.watched = append(l.watched, watch{machine: m, collector: -1})
		}
	}
	for c := range p.Collectors {
		if p.Collectors[c].Proof {
			l.watched = append(l.watched, watch{machine: -1, collector: c})
		}
	}
	l.eyesOf = make([]eye, len(p.Machines))
}

// see attaches a meter to what it watches.
func (l *Loop) see(e eye, machines controller.Set, collector int) {
	for i := range l.watched {
		w := &l.watched[i]
		if w.machine >= 0 && machines.Has(w.machine) || w.machine < 0 && w.collector == collector {
			w.eyes = append(w.eyes, e)
		}
	}
	for m := range machines.All() {
		if m < len(l.eyesOf) && (l.eyesOf[m].sight == nil) {
			l.eyesOf[m] = e
		}
	}
}

func (l *Loop) addChip(c *Chip) {
	t := &chipTask{chip: c, core: l.self, trouble: l.parts.Trouble}
	for _, m := range c.Meters {
		s := &sight{name: m.String()}
		t.sights = append(t.sights, s)
		l.see(eye{sight: s, lane: l.laneOf(c.Lane)}, m.Machines, m.Collector)
		if m.Machines.Len() > 1 {
			l.groups = append(l.groups, group{machines: m.Machines, clamp: s, chosen: -1})
		}
	}
	l.laneOf(c.Lane)
	l.parts.Scheduler.Add(c.Lane, c.Name, t)
	l.chips = append(l.chips, t)
	l.resets = append(l.resets, 0)
	l.silent = append(l.silent, false)
}

func (l *Loop) layLine(u *LineUse) {
	switch u.For {
	case EndOpen, EndClosed:
		l.ends[u.N].fitted = true
	case MachineContact:
		l.see(eye{near: u.Contact}, controller.Set(0).With(u.N), -1)
	case MotorContact:
		l.see(eye{near: u.Contact}, 0, u.N)
	}
}

// laneOf gives the sign of life of a lane.
func (l *Loop) laneOf(name Lane) *pulse {
	p := l.lanes[name]
	if p == nil {
		p = &pulse{}
		l.lanes[name] = p
		l.parts.Scheduler.Add(name, "sign of life", p)
	}
	return p
}

// Poll implements Task: one pass over everything that the core owns.
func (l *Loop) Poll(now time.Duration) time.Duration {
	l.now = max(controller.Instant(now/time.Millisecond), 1)
	var from time.Time
	if l.parts.Scanned != nil {
		from = time.Now() // what a scan costs is real time, whatever clock the shop runs on
	}
	if !l.begun {
		l.begin(now)
	}
	scan := l.scanDue(now)
	l.readLines(now)
	l.collect(now)
	l.serve()
	wake := l.wake()
	l.assert(now)
	l.alarm()
	if l.dirty || now-l.published >= publishEvery {
		l.publish(now)
	}
	if scan {
		l.feed(now)
		if l.parts.Scanned != nil {
			l.parts.Scanned(time.Since(from))
		}
	}
	return l.soonest(now, wake)
}

// soonest is when the loop wants to be called next: the next scan, or what falls due before it.
func (l *Loop) soonest(now time.Duration, wake controller.Instant) time.Duration {
	next := l.next
	if wake != 0 {
		next = min(next, max(time.Duration(wake)*time.Millisecond, now+time.Millisecond))
	}
	if l.alarmNext != 0 {
		next = min(next, max(time.Duration(l.alarmNext)*time.Millisecond, now+time.Millisecond))
	}
	if l.motorNext != 0 {
		next = min(next, max(l.motorNext, now+time.Millisecond))
	}
	return next
}

// begin drives every start line off before anything else, and tells the core how the previous program ended.
func (l *Loop) begin(now time.Duration) {
	l.begun, l.next = true, now
	for _, s := range l.parts.Starters {
		if s != nil {
			_ = s.Off(now)
		}
	}
	if l.parts.Anew {
		l.takeOver()
	} else {
		l.restart()
	}
	for i := range l.watched {
		l.watched[i].told = current.Unknown
	}
	for _, m := range l.watched {
		if m.machine < 0 {
			l.post(controller.Event{Kind: controller.CollectorSeen, By: controller.FromSensor, N: uint8(m.collector), V: int32(controller.Unreadable)})
		}
	}
}

// restart tells the core how the previous program ended and what it had started.
func (l *Loop) restart() {
	unclean := int32(0)
	if l.parts.Before.Unclean {
		unclean = 1
	}
	l.post(controller.Event{Kind: controller.Restarted, V: unclean})
	for c, ages := range l.parts.Before.Ages {
		for _, age := range ages {
			l.post(controller.Event{Kind: controller.StartStored, N: uint8(c), V: int32(age / time.Millisecond)})
		}
	}
}

// scanDue keeps the grid of scans and counts those that were missed.
func (l *Loop) scanDue(now time.Duration) bool {
	if now < l.next {
		return false
	}
	late := now - l.next
	missed := int64(late / Scan)
	l.stats.scans.Add(1)
	l.stats.missed.Add(missed)
	if int64(late) > l.stats.latest.Load() {
		l.stats.latest.Store(int64(late))
	}
	l.next += Scan * time.Duration(missed+1)
	return true
}

// post gives one event to the core at the present moment and carries out what it asks for at once, except levels.
func (l *Loop) post(ev controller.Event) []controller.Effect {
	ev.At = l.now
	l.bench.mu.Lock()
	if l.left || l.bench.refuses(ev.Kind) {
		l.bench.mu.Unlock()
		return nil
	}
	l.effects = controller.Step(l.parts.Shop, &l.state, ev, l.effects[:0])
	l.bench.onDuty = l.state.Mode() == controller.OnDuty
	l.bench.mu.Unlock()
	for _, e := range l.effects {
		switch e.Kind {
		case controller.SaveStart:
			if l.starts != nil {
				l.starts.start(int(e.N))
			}
		}
	}
	l.dirty = true // also when only time has passed: a condition may have come or gone with it
	l.steps++
	if l.parts.Stepped != nil {
		l.parts.Stepped(Stepped{Seq: l.steps, Event: ev, Effects: l.effects, State: &l.state})
	}
	if ev.Kind != controller.Wake || len(l.effects) > 0 {
		l.diary.write(ev, l.effects)
	}
	return l.effects
}

// wake calls the core as long as it wants to be called now, and returns when it wants to be called next; 0: not.
func (l *Loop) wake() controller.Instant {
	for range mostWakes {
		if l.left {
			return 0
		}
		at, ok := l.state.Wake(l.parts.Shop)
		if !ok {
			return 0
		}
		if at > l.now {
			return at
		}
		l.post(controller.Event{Kind: controller.Wake})
	}
	return l.now + 1
}

// assert brings every output to the level that must be now.
func (l *Loop) assert(now time.Duration) {
	l.out = l.state.Outputs(l.parts.Shop)
	l.motorNext = 0
	for c, s := range l.parts.Starters {
		if s != nil {
			l.motor(now, s, l.out.Lines.Has(c))
		}
	}
	for g, d := range l.drives {
		if d != nil {
			d.set(l.out.Drive[g])
		}
	}
	l.show(now)
	if l.starts != nil {
		l.starts.mark(!l.out.Lines.Empty())
	}
}

// motor brings one starter to its level and lets it do what is due.
func (l *Loop) motor(now time.Duration, s Starter, on bool) {
	ask := s.Off
	if on {
		ask = s.On
	}
	err := ask(now)
	next, pollErr := s.Poll(now)
	if err != nil || pollErr != nil {
		l.stats.outputs.Add(1)
	}
	if next != 0 && (l.motorNext == 0 || next < l.motorNext) {
		l.motorNext = next
	}
}

// alarm brings the alarm list up to date.
func (l *Loop) alarm() {
	if l.parts.Alarms == nil || !l.dirty && (l.alarmNext == 0 || l.alarmNext > l.now) {
		return
	}
	l.standing = l.groupsStanding(l.state.Standing(l.parts.Shop, l.standing[:0]))
	l.alarmNext = l.parts.Alarms.Update(l.now, l.standing)
	l.dirty = true
}

// Stop implements Stopper: start lines off, signals off, gates stay.
func (l *Loop) Stop(now time.Duration) (next time.Duration) {
	if !l.halted {
		l.halted = true
		for _, s := range l.parts.Starters {
			if s != nil {
				_ = s.Halt()
			}
		}
		for i := range l.parts.Signals {
			_ = l.parts.Signals[i].Line.Set(false)
		}
	}
	for _, s := range l.parts.Starters {
		if s == nil {
			continue
		}
		if at, err := s.Poll(now); err == nil && at != 0 && (next == 0 || at < next) {
			next = at
		}
	}
	return next
}
