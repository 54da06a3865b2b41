package bench

import (
	"fmt"
	"math"
	"time"

	"ductwarden/controller/loop"
	"ductwarden/current"
)

// Times of the guided steps. Own choice: long enough that a converter which looks at four channels in turn gives ten
// readings of each, short enough that nobody walks away.
const (
	idleTime    = 8 * time.Second
	runTime     = 8 * time.Second
	blindTime   = 4 * time.Second        // without a reading
	noRise      = 3 * time.Second        // after the person says that it runs
	noFall      = 12 * time.Second       // after the person says that it is off: a brake takes up to 5 s (from memory), a soft stop longer
	fallen      = 400 * time.Millisecond // a shorter gap before a brake is no end to the detection either
	brakeWindow = 15 * time.Second       // a brake's current comes within this after the stop
	longestWait = 10 * time.Minute
)

// least rise of current in amperes that counts as a start: clamps of the 100 A class read noise below 0.25 A (R. Wall's
// test report of a split-core clamp).
const leastRise = 0.25

// learning is one machine being learnt. It is fed with time and readings and knows no clock.
type learning struct {
	machine   int
	of        Machine
	input     Input
	rehearsed bool

	step    string
	entered time.Duration // when the step began; 0: at the next poll
	now     time.Duration
	amps    float64
	health  current.Health
	has     bool
	lastHad time.Duration

	rec      recording
	rest     map[string]float64 // current of every other input while this machine stood
	others   []loop.Seen
	idle     []float64
	start    float64
	run      []float64
	onset    time.Duration
	low      time.Duration // since when the current has been down
	ended    time.Duration
	brake    time.Duration // last current of a brake
	said     time.Duration // when the person said that it runs
	runDown  time.Duration
	press    int // 1: the hands of a rehearsal are to switch on, -1: off
	figures  Figures
	findings []Finding
	proposal *Proposal
	changes  []Change
	diff     string
	written  bool
}

func newLearning(place int, m Machine, in Input, rehearsed bool) *learning {
	return &learning{machine: place, of: m, input: in, rehearsed: rehearsed, step: StepCaution}
}

// again begins anew; the cautions have been read.
func (l *learning) again() {
	*l = *newLearning(l.machine, l.of, l.input, l.rehearsed)
	l.enter(StepIdle)
}

func (l *learning) enter(step string) { l.step, l.entered = step, 0 }

// acts is what the hands of a rehearsal are to do, once.
func (l *learning) acts() (on, wanted bool) {
	on, wanted = l.press > 0, l.press != 0
	l.press = 0
	return on, wanted
}

// poll takes the readings of one moment in.
func (l *learning) poll(now time.Duration, seen []loop.Seen) {
	l.now = now
	if l.entered == 0 {
		l.entered, l.lastHad = now, now
	}
	l.has = false
	l.others = l.others[:0]
	for _, s := range seen {
		if s.Name != l.input.Name {
			l.others = append(l.others, s)
			continue
		}
		l.health, l.has = s.Health, s.Measured && !s.Health.Blind()
		l.amps = float64(s.Milliamperes) / 1000
	}
	if l.has {
		l.lastHad = now
		l.rec.add(now, l.amps, l.step)
	}
	since := now - l.entered
	switch l.step {
	case StepIdle:
		l.pollIdle(since)
	case StepStart:
		l.pollStart(since)
	case StepRun:
		l.pollRun(since)
	case StepStop:
		l.pollStop(since)
	case StepRunDown:
		l.pollRunDown(since)
	}
}

// gone ends the procedure when the input has said nothing for a while.
func (l *learning) gone() bool {
	if l.now-l.lastHad < blindTime {
		return false
	}
	l.fail(deadClamp(l.of.Name, l.input, l.health))
	return true
}

func (l *learning) pollIdle(since time.Duration) {
	if l.gone() {
		return
	}
	if l.has {
		l.idle = append(l.idle, l.amps)
	}
	if since < idleTime {
		return
	}
	l.rest = map[string]float64{}
	for _, o := range l.others {
		l.rest[o.Name] = float64(o.Milliamperes) / 1000
	}
	mid, top := quantile(l.idle, 0.5), quantile(l.idle, 0.98)
	l.figures.IdleA, l.figures.IdleTop = &mid, &top
	l.findings = append(l.findings, judgeIdle(l.of.Name, l.input, mid, top)...)
	l.enter(StepStart)
}

// rises is the current from which the machine counts as started here.
func (l *learning) rises() float64 {
	return *l.figures.IdleTop + max(leastRise, 0.5**l.figures.IdleTop)
}

func (l *learning) pollStart(since time.Duration) {
	if l.gone() {
		return
	}
	switch {
	case l.has && l.amps > l.rises():
		l.onset, l.said = l.now, 0
		l.start, l.run = l.amps, nil
		l.enter(StepRun)
	case l.said != 0 && l.now-l.said >= noRise:
		l.fail(noCurrent(l.of.Name, l.input.Name, l.elsewhere(), l.amps-*l.figures.IdleA))
	case since > longestWait:
		l.fail(Finding{"not_started", true, l.of.Name + " was not started within ten minutes: begin again when it can run"})
	}
}

// elsewhere names another input on which the current has risen instead.
func (l *learning) elsewhere() string {
	for _, o := range l.others {
		if a := float64(o.Milliamperes) / 1000; o.Measured && a > l.rest[o.Name]+2*leastRise {
			return o.Name
		}
	}
	return ""
}

func (l *learning) pollRun(since time.Duration) {
	if l.gone() {
		return
	}
	if l.has {
		l.run = append(l.run, l.amps)
		l.start = max(l.start, l.amps)
	}
	if l.down(l.rises()) {
		l.findings = append(l.findings, shortRun(l.of.Name, since-fallen))
		l.enter(StepStart)
		return
	}
	if since < runTime {
		return
	}
	settled := l.run[len(l.run)/2:] // run up by then, or the figures say so
	mid, low := quantile(settled, 0.5), quantile(settled, 0.02)
	upS := l.runUp(mid).Seconds()
	l.figures.RunA, l.figures.RunLow, l.figures.StartA, l.figures.RunUpS = &mid, &low, &l.start, &upS
	l.findings = append(l.findings, judgeRun(l.of.Name, l.input, &l.figures)...)
	l.enter(StepStop)
}

// runUp is how long the current took to come near its settled value.
func (l *learning) runUp(mid float64) time.Duration {
	last := 0
	for i, a := range l.run {
		if math.Abs(a-mid) > 0.2*mid {
			last = i + 1
		}
	}
	return time.Duration(last) * pollEvery
}

// down reports whether the current has been below a level for a while; low is since when.
func (l *learning) down(level float64) bool {
	if !l.has || l.amps >= level {
		l.low = 0
		return false
	}
	if l.low == 0 {
		l.low = l.now
	}
	return l.now-l.low >= fallen
}

// off is the current below which the machine counts as switched off here.
func (l *learning) off() float64 {
	return *l.figures.IdleTop + 0.4*(*l.figures.RunLow-*l.figures.IdleTop)
}

func (l *learning) pollStop(since time.Duration) {
	if l.gone() {
		return
	}
	switch {
	case l.down(l.off()):
		l.ended, l.brake, l.said = l.low, 0, 0
		l.enter(StepRunDown)
	case l.said != 0 && l.now-l.said >= noFall:
		l.fail(Finding{"goes_on", true, fmt.Sprintf("%.2f A still flow on %s after the stop: look whether it is off, or whether another machine hangs on the same cable", l.amps, l.input.Name)})
	case since > longestWait:
		l.fail(Finding{"not_stopped", true, l.of.Name + " was not switched off within ten minutes: begin again"})
	}
}

func (l *learning) pollRunDown(time.Duration) {
	after := l.now - l.ended
	if l.has && l.amps >= l.off() {
		l.brake = l.now
		if after > brakeWindow {
			l.findings = append(l.findings, Finding{"restarted", false, "the current came back: was it started again? Switch it off once more"})
			l.enter(StepStop)
			return
		}
	}
	if after > longestWait {
		l.fail(Finding{"no_stand", true, "nobody said that the cutter stands: begin again"})
	}
}

// do takes an order of the person.
func (l *learning) do(o Order) error {
	switch {
	case o.Action == ActAgain:
		if l.step == StepCaution {
			return fmt.Errorf("read the cautions and accept them first")
		}
		l.again()
	case o.Action == ActAccept && l.step == StepCaution:
		if len(l.of.Also) > 0 {
			l.findings = append(l.findings, Finding{"shared", false, "this clamp also feeds " + listed(l.input.Watches) + ": leave all but " + l.of.Name + " off; what is found is written for each of them, so learn the one with the least current"})
		}
		l.enter(StepIdle)
	case o.Action == ActAccept:
	case o.Action != ActNext:
		return fmt.Errorf("%q is not something to do while a machine is learnt: next, again, write or end", o.Action)
	case l.step == StepCaution:
		return fmt.Errorf("read the cautions and accept them first")
	case l.step == StepStart && l.said == 0:
		l.said, l.press = l.now, 1
	case l.step == StepStop && l.said == 0:
		l.said, l.press = l.now, -1
	case l.step == StepRunDown:
		l.runDown = l.now - l.ended
		l.finish()
	}
	return nil
}

// fail ends with a reason why there is no proposal.
func (l *learning) fail(f Finding) {
	f.Grave = true
	l.findings = append(l.findings, f)
	if l.step != StepIdle && l.step != StepStart { // whatever was switched on in a rehearsal is switched off
		l.press = -1
	} else if l.said != 0 {
		l.press = -1
	}
	l.figures.SpanMS = l.rec.span().Milliseconds()
	l.enter(StepDone)
}

// finish makes the proposal.
func (l *learning) finish() {
	down := l.runDown.Seconds()
	l.figures.RunDown, l.figures.EndedMS = &down, (l.ended - l.rec.from).Milliseconds()
	if l.brake > l.ended {
		b := (l.brake - l.ended).Seconds()
		l.figures.BrakeS = &b
		l.findings = append(l.findings, Finding{"brake", false, fmt.Sprintf("current flowed for %.1f s after the stop: the motor is braked; it will not count as a start", b)})
	}
	l.figures.SpanMS = l.rec.span().Milliseconds()
	p, f := propose(l.of.Name, l.input, &l.figures)
	l.findings = append(l.findings, f...)
	if l.proposal = p; p != nil {
		l.changes = p.changes(l.of)
	}
	l.enter(StepDone)
}
