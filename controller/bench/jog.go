package bench

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"ductwarden/gates"
)

// What jogging does. Own choice.
const (
	pushTime   = 2 * time.Second       // pulses end so long after the last step: nothing pushes against a jam for long
	creepStep  = 10 * time.Microsecond // a longer way is gone in such steps, one a pulse period: half a stroke a second
	creepEvery = 20 * time.Millisecond
	patience   = time.Second
	mostStep   = 200 // us, of one order
	mostBurst  = time.Second
	leastEnds  = 50 * time.Microsecond // between the two ends, as the shop file asks
)

// jogging is one gate being jogged. Its hand is on the actuator's lane, its orders come from anywhere.
type jogging struct {
	gate int
	of   Gate

	step     string
	findings []Finding
	changes  []Change
	diff     string
	written  bool
	blade    *float64
	now      time.Duration
	unheard  bool

	open, closed time.Duration // as marked, else as the file says
	marked       []string
	went         string // the end that a motor was sent to last
	travel       time.Duration

	hand hand
}

func newJogging(place int, g Gate) *jogging {
	j := &jogging{gate: place, of: g, step: StepCaution}
	if g.Servo != nil {
		j.open, j.closed = g.Servo.Open, g.Servo.Closed
	}
	return j
}

// poll takes the time in, and whether the gate's chip is unheard.
func (j *jogging) poll(now time.Duration, unheard bool) { j.now, j.unheard = now, unheard }

// silent says that the gate's chip does not answer.
func (j *jogging) silent() string {
	return fmt.Sprintf("%s on %s does not answer as a servo board: look whether it has power (its own, and that of the servos), whether the bus's two wires are the right way round, and what address its jumpers say", j.of.Actuator, j.of.Bus)
}

// do takes an order of the person.
func (j *jogging) do(o Order) error {
	if j.step == StepCaution && o.Action != ActAccept && o.Action != ActRelease {
		return fmt.Errorf("read the cautions and accept them first")
	}
	if j.unheard && (o.Action == ActStep || o.Action == ActGo) {
		return errors.New(j.silent())
	}
	switch o.Action {
	case ActAccept:
		if j.step == StepCaution {
			j.step = StepJog
		}
		return nil
	case ActRelease:
		j.let()
		return nil
	case ActStep:
		return j.nudge(o.Value)
	case ActGo:
		return j.goTo(o.Value)
	case ActMark:
		return j.mark(o.Value)
	case ActPropose:
		return j.propose()
	}
	return fmt.Errorf("%q is not something to do while a gate is jogged: step, go, mark, release, propose, write or end", o.Action)
}

// let ends pulses and power.
func (j *jogging) let() {
	j.hand.mu.Lock()
	j.hand.release, j.hand.aim, j.hand.giveUp = true, j.hand.at, 0
	j.hand.mu.Unlock()
}

// nudge makes one small step.
func (j *jogging) nudge(value string) error {
	if j.of.Motor != nil {
		d, err := time.ParseDuration(strings.TrimPrefix(value, "+"))
		if err != nil || d == 0 || d.Abs() > mostBurst {
			return fmt.Errorf("a step of %q cannot be: give a time like 200ms towards open, -200ms towards closed, %v at most", value, mostBurst)
		}
		j.drive(d)
		return nil
	}
	us, err := strconv.Atoi(strings.TrimPrefix(value, "+"))
	if err != nil || us == 0 || max(us, -us) > mostStep {
		return fmt.Errorf("a step of %q cannot be: give microseconds like +10 or -50, %d at most", value, mostStep)
	}
	j.hand.mu.Lock()
	from := j.hand.aim
	j.hand.mu.Unlock()
	if from == 0 { // the first step only finds out where the gate stands
		return j.aim(j.middle())
	}
	return j.aim(from + time.Duration(us)*time.Microsecond)
}

// middle is where a gate of unknown place is sent first: between its ends, or in the middle of what it may get.
func (j *jogging) middle() time.Duration {
	if j.open != 0 && j.closed != 0 {
		return (j.open + j.closed) / 2
	}
	return (j.of.Servo.Least + j.of.Servo.Most) / 2
}

// aim sends the servo to a width within its limits.
func (j *jogging) aim(to time.Duration) error {
	s := j.of.Servo
	if to < s.Least || to > s.Most {
		return fmt.Errorf("%d us lies beyond this servo's limits, %d to %d us: it is not sent there; widen least or most in the shop file only if the servo's sheet allows it",
			to.Microseconds(), s.Least.Microseconds(), s.Most.Microseconds())
	}
	j.hand.mu.Lock()
	j.hand.aim, j.hand.fresh, j.hand.release = to, true, false
	j.hand.mu.Unlock()
	return nil
}

// drive runs the motor for a time towards open (positive) or closed.
func (j *jogging) drive(d time.Duration) {
	j.hand.mu.Lock()
	defer j.hand.mu.Unlock()
	j.hand.drive, j.hand.length, j.hand.fresh, j.hand.release = gates.DriveOpen, d.Abs(), true, false
	if d < 0 {
		j.hand.drive = gates.DriveClose
	}
}

// goTo goes to an end.
func (j *jogging) goTo(end string) error {
	if end != "open" && end != "closed" {
		return fmt.Errorf("%q is no end of a gate: open or closed", end)
	}
	if m := j.of.Motor; m != nil {
		j.went = end
		way := m.Travel + m.Travel/5 // a fifth more, so that the end is reached
		if end == "closed" {
			way = -way
		}
		j.drive(way)
		return nil
	}
	to := j.open
	if end == "closed" {
		to = j.closed
	}
	if to == 0 {
		return fmt.Errorf("the %s end is not known yet: step there and mark it", end)
	}
	return j.aim(to)
}

// mark notes that the gate stands at an end now.
func (j *jogging) mark(end string) error {
	if end != "open" && end != "closed" {
		return fmt.Errorf("%q is no end of a gate: open or closed", end)
	}
	j.hand.mu.Lock()
	at, began, on := j.hand.at, j.hand.began, j.hand.on
	j.hand.mu.Unlock()
	switch {
	case j.of.Motor != nil && (j.went != end || !on):
		return fmt.Errorf("for a motor the way is timed: let it go to the %s end, and mark it when the gate arrives there", end)
	case j.of.Motor != nil:
		j.travel = max(j.travel, j.now-began)
		j.let()
	case at == 0:
		return fmt.Errorf("nothing has been sent yet, so that nobody knows where the gate stands: make a step first")
	case end == "open":
		j.open = at
	default:
		j.closed = at
	}
	if !slices.Contains(j.marked, end) {
		j.marked = append(j.marked, end)
	}
	j.changes, j.diff, j.step = nil, "", StepJog
	return nil
}

// propose turns the marked ends into changes.
func (j *jogging) propose() error {
	if len(j.marked) == 0 {
		return fmt.Errorf("no end is marked: step to where the gate is just open, and mark it; then to where it is just closed")
	}
	if j.of.Servo != nil && j.open != 0 && j.closed != 0 && (j.open-j.closed).Abs() < leastEnds {
		return fmt.Errorf("open (%d us) and closed (%d us) are nearly the same pulse: at least %d us lie between the ends of a gate", j.open.Microseconds(), j.closed.Microseconds(), leastEnds.Microseconds())
	}
	if j.of.Servo != nil && (j.open == 0 || j.closed == 0) {
		return fmt.Errorf("only one end is marked, and the other is not known: mark both")
	}
	j.changes = nil
	if j.of.Motor != nil {
		travel := math.Ceil(j.travel.Seconds()*1.1*10) / 10
		j.changes = append(j.changes, Change{j.of.Path + ".actuator.relay.travel", fmt.Sprintf("%g s", travel)})
	}
	for _, end := range j.marked {
		if j.of.Servo == nil {
			break
		}
		at := j.open
		if end == "closed" {
			at = j.closed
		}
		j.changes = append(j.changes, Change{j.of.Path + ".actuator.servo." + end, fmt.Sprintf("%d us", at.Microseconds())})
	}
	j.let()
	j.step = StepDone
	return nil
}
