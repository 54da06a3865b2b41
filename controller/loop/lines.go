package loop

import (
	"time"

	"ductwarden/controller"
	"ductwarden/current"
	"ductwarden/gates"
)

// lineState is the debounced level of one input line.
type lineState struct {
	level  bool // newest
	since  time.Duration
	fed    bool
	stable bool // debounced
	known  bool // stable is worth something
	first  bool // stable has never been another
}

// feed takes a level and reports whether the debounced one is new.
func (l *lineState) feed(now time.Duration, level bool, hold time.Duration) bool {
	if !l.fed || level != l.level {
		l.level, l.since, l.fed = level, now, true
	}
	if now-l.since < hold || l.known && l.stable == level {
		return false
	}
	l.first = !l.known
	l.stable, l.known = level, true
	return true
}

// fail forgets everything: the line cannot be read.
func (l *lineState) fail() { *l = lineState{} }

// readLines reads every input line, and posts what has changed.
func (l *Loop) readLines(now time.Duration) {
	for i := range l.parts.Lines {
		set := &l.parts.Lines[i]
		states := l.lines[i]
		levels, err := set.Levels.Read()
		for j := range set.Uses {
			u := &set.Uses[j]
			switch {
			case err != nil && set.Holds:
			case err != nil:
				l.lineFailed(now, u, &states[j])
			case u.Contact != nil:
				u.Contact.Line(now, levels>>uint(j)&1 != 0)
				_, _ = u.Contact.Poll(now)
			case states[j].feed(now, levels>>uint(j)&1 != 0, u.Debounce):
				l.lineChanged(u, &states[j])
			}
		}
	}
	for g := range l.ends {
		l.proveGate(g)
	}
}

// lineFailed takes a line that cannot be read: a contact is lost, an end switch shows nothing, a button must be
// seen released again.
func (l *Loop) lineFailed(now time.Duration, u *LineUse, s *lineState) {
	if u.Contact != nil {
		u.Contact.Fail(now)
		return
	}
	if u.For == DisconnectOpen {
		return // what was seen last stays: a lost line must not let the motor start
	}
	if s.known && (u.For == EndOpen || u.For == EndClosed) {
		l.setEnd(u, false)
	}
	s.fail()
}

// lineChanged acts on a debounced change. A button that is held down at the first reading is no press.
func (l *Loop) lineChanged(u *LineUse, s *lineState) {
	on, n := s.stable, uint8(u.N)
	pressed := on && !s.first
	level := int32(0)
	if on {
		level = 1
	}
	switch u.For {
	case EndOpen, EndClosed:
		l.setEnd(u, on)
	case MachineButton:
		if pressed && !l.choose(u.N) {
			l.post(controller.Event{Kind: controller.MachinePressed, By: controller.FromButton, N: n})
		}
	case ReadyButton:
		if pressed {
			l.post(controller.Event{Kind: controller.ReadyPressed, By: controller.FromButton})
		}
	case FinishButton:
		if pressed {
			l.post(controller.Event{Kind: controller.FinishPressed, By: controller.FromButton})
		}
	case HaltButton, FireContact:
		if on { // a level, so that a button that hangs or a detector that stands halts at the start too
			l.post(controller.Event{Kind: controller.HaltPressed, By: controller.FromButton})
		}
	case AckButton:
		if pressed {
			l.post(controller.Event{Kind: controller.Acknowledged, By: controller.FromButton, N: controller.Everything})
		}
	case DisconnectOpen:
		l.post(controller.Event{Kind: controller.DisconnectSeen, By: controller.FromSensor, N: n, V: level})
	case BinIsFull:
		l.post(controller.Event{Kind: controller.BinSeen, By: controller.FromSensor, N: n, V: level})
	case FilterIsLoaded:
		l.post(controller.Event{Kind: controller.FilterSeen, By: controller.FromSensor, N: n, V: level})
	case BinEmptied, FilterCleaned, FilterReplaced:
		if pressed {
			l.answer(Request{Who: "button", Mark: &Mark{What: u.For, Collector: u.N}})
		}
	}
}

// gateEnds is what a gate's end switches show.
type gateEnds struct {
	fitted       bool
	open, closed bool
	told         gates.Proof
}

func (l *Loop) setEnd(u *LineUse, made bool) {
	e := &l.ends[u.N]
	if u.For == EndOpen {
		e.open = made
	} else {
		e.closed = made
	}
}

// proveGate posts a gate's proof when it is another.
func (l *Loop) proveGate(g int) {
	e := &l.ends[g]
	if !e.fitted {
		return
	}
	p := gates.SeenNeither
	switch {
	case e.open && e.closed:
		p = gates.SeenBoth
	case e.open:
		p = gates.SeenOpen
	case e.closed:
		p = gates.SeenClosed
	}
	if p != e.told && !l.lent(g) {
		e.told = p
		l.post(controller.Event{Kind: controller.GateSeen, By: controller.FromSensor, N: uint8(g), V: int32(p)})
	}
}

// collect takes in what the meters have put into their mailboxes, and posts what has changed.
func (l *Loop) collect(now time.Duration) {
	for i := range l.watched {
		w := &l.watched[i]
		b := w.belief(now)
		if w.machine >= 0 && b == current.Running && l.groupOf(w.machine).isAnother(w.machine) && !w.seenApart() {
			b = current.Idle // a person has said that another machine on its clamp is the one
		}
		if b == w.told {
			continue
		}
		w.told = b
		if w.machine >= 0 {
			l.post(controller.Event{Kind: controller.MachineSeen, By: controller.FromSensor, N: uint8(w.machine), V: int32(b)})
			continue
		}
		f := [...]controller.Feedback{current.Unknown: controller.Unreadable, current.Idle: controller.Still, current.Running: controller.Turning}[b]
		l.post(controller.Event{Kind: controller.CollectorSeen, By: controller.FromSensor, N: uint8(w.collector), V: int32(f)})
	}
	for i, t := range l.chips {
		if t.chip.Gates.Empty() {
			continue
		}
		silent := t.silent() || l.laneOf(t.chip.Lane).isStale(now)
		if r := t.resets(); r != l.resets[i] {
			l.resets[i] = r
			for g := range t.chip.Gates.All() {
				l.post(controller.Event{Kind: controller.GateChip, By: controller.FromSensor, N: uint8(g), V: 2})
			}
		}
		if silent != l.silent[i] {
			l.silent[i] = silent
			l.chipNews(t.chip.Gates, silent)
		}
	}
	for g, d := range l.drives {
		if d == nil {
			continue
		}
		if f := d.failing.Load(); f != l.failing[g] {
			l.failing[g] = f
			l.chipNews(controller.Set(0).With(g), f)
		}
	}
}

func (l *Loop) chipNews(set controller.Set, silent bool) {
	v := int32(0)
	if silent {
		v = 1
	}
	for g := range set.All() {
		if v == 0 && l.gateSilent(g) {
			continue // its other reason still stands
		}
		l.post(controller.Event{Kind: controller.GateChip, By: controller.FromSensor, N: uint8(g), V: v})
	}
}

// gateSilent reports whether any of the reasons for which a gate cannot be driven stands.
func (l *Loop) gateSilent(g int) bool {
	if l.failing[g] {
		return true
	}
	for i, t := range l.chips {
		if l.silent[i] && t.chip.Gates.Has(g) {
			return true
		}
	}
	return false
}

// watch is everything that watches one machine, or one collector's motor.
type watch struct {
	machine   int // -1: a collector's
	collector int
	eyes      []eye
	told      current.Belief
}

// eye is one meter seen from the core's lane.
type eye struct {
	sight *sight // of a meter on another lane
	lane  *pulse
	near  current.Meter // or a contact on the core's own lane
}

func (e *eye) belief(now time.Duration) current.Belief {
	switch {
	case e.near != nil:
		return e.near.Belief()
	case e.lane.isStale(now):
		return current.Unknown
	}
	return e.sight.belief()
}

// seenApart reports whether a contact of the machine's own, no shared clamp, shows that it runs.
func (w *watch) seenApart() bool {
	for i := range w.eyes {
		if m := w.eyes[i].near; m != nil && m.Belief() == current.Running {
			return true
		}
	}
	return false
}

// belief of several: one that sees the motor run is enough; else one that sees nothing leaves it unknown.
func (w *watch) belief(now time.Duration) current.Belief {
	b := current.Idle
	if len(w.eyes) == 0 {
		return current.Unknown // nothing is there to watch it
	}
	for i := range w.eyes {
		switch w.eyes[i].belief(now) {
		case current.Running:
			return current.Running
		case current.Unknown:
			b = current.Unknown
		}
	}
	return b
}

// Proof is what a gate's end switches show. It is for the core's lane, where a pair of relays is cut at its end.
func (l *Loop) Proof(gate int) gates.Proof { return l.ends[gate].told }
