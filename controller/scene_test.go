package controller_test

import (
	"ductwarden/controller"
	"ductwarden/current"
	"ductwarden/gates"
)

// The scene is what a person with a notebook would know from events and effects alone. Observers judge by it. It shares
// no code with the core, and every field is a plain value, so that a scene can be copied and compared.

// most is how many gates and machines a watched shop has at most.
const most = 8

type scene struct {
	shop    *controller.Shop
	untimed bool // the exploration says when a timer ends; no time passes

	now   controller.Instant
	duty  bool
	clean bool // the unclean end has been acknowledged

	gate  [most]sceneGate
	mach  [most]sceneMachine
	coll  [controller.MaxCollectors]sceneCollector
	line  gates.Set
	drive [most]gates.Drive

	stays   bool // in this step something was acknowledged that stays
	started bool // in this step a machine's start was seen on duty
}

type sceneGate struct {
	seen    gates.Proof
	pushed  controller.Instant // since when it is driven that way
	held    controller.Instant // until then a person holds it open
	assumed bool               // driven open for twice its travel, by no switch
	off     bool
	silent  bool
	gaveUp  bool // told so, and not acknowledged since
	pauses  bool // between its two tries
}

type sceneMachine struct {
	belief  current.Belief
	running bool // by its motor, as far as was seen last
	idle    bool // seen idle while on duty, since then nothing else
	pressed controller.Instant
	dropped bool // its collector was stopped since: the press may have been forgotten, and another press may be the first
}

type sceneCollector struct {
	feedback controller.Feedback
	open     bool // its disconnect
	fresh    bool // somebody called since it last stopped
	held     bool
	byHand   bool
	stood    bool // its current was seen to be gone since its line went off
	off      controller.Instant
}

// before notices what time alone has brought.
func (s *scene) before() {
	if s.untimed {
		return
	}
	for g := range s.shop.Gates {
		l, d := &s.shop.Gates[g].Motion, &s.gate[g]
		if s.drive[g] == gates.DriveOpen && !l.OpenSwitch && d.seen != gates.SeenClosed && s.now-d.pushed >= 2*controller.Instant(l.Travel) {
			d.assumed = true
		}
	}
	for m := range s.shop.Machines {
		if d := &s.mach[m]; d.pressed != 0 && s.now >= d.pressed {
			d.pressed = 0
		}
	}
}

// isOpen reports whether gate g is known to be open.
func (s *scene) isOpen(g int) bool {
	l, d := &s.shop.Gates[g].Motion, &s.gate[g]
	switch {
	case s.shop.EverythingOpen && l.Hand && !l.OpenSwitch:
		return true
	case s.drive[g] == gates.DriveClose:
		return false
	case l.OpenSwitch:
		return d.seen == gates.SeenOpen
	}
	return d.assumed && d.seen != gates.SeenClosed
}

// path reports whether a way to collector c is open.
func (s *scene) path(c int) bool {
	ways := s.shop.Collectors[c].Ways
	for _, way := range ways {
		ok := true
		for g := range way.All() {
			ok = ok && s.isOpen(g)
		}
		if ok {
			return true
		}
	}
	return len(ways) == 0
}

// served reports whether every gate of machine m in the tree of collector c is known to be open, as far as it can be.
func (s *scene) served(m, c int) bool {
	for g := range s.shop.Machines[m].Needs.All() {
		l := &s.shop.Gates[g].Motion
		if int(s.shop.Gates[g].Collector) == c && !s.isOpen(g) && !(l.Hand && !l.OpenSwitch) {
			return false
		}
	}
	return true
}

// wants reports whether machine m makes dust or its air is called.
func (s *scene) wants(m int) bool { return s.mach[m].running || s.mach[m].pressed != 0 }

func (s *scene) take(ev controller.Event, accepted bool) {
	n := int(ev.N)
	switch ev.Kind {
	case controller.MachineSeen:
		if n < len(s.shop.Machines) && s.shop.Machines[n].Sensed {
			b := current.Unknown
			if ev.V == int32(current.Idle) || ev.V == int32(current.Running) {
				b = current.Belief(ev.V)
			}
			s.machine(n, b)
		}
	case controller.GateSeen:
		if n < len(s.shop.Gates) {
			s.switches(n, ev.V)
		}
	case controller.GateChip:
		if n < len(s.shop.Gates) {
			s.gate[n].silent = ev.V == 1
			if ev.V == 2 {
				s.gate[n].assumed = false
			}
		}
	case controller.CollectorSeen:
		if n < len(s.shop.Collectors) && s.shop.Collectors[n].Proof {
			s.feedback(n, ev.V)
		}
	case controller.DisconnectSeen:
		for c := range s.shop.Collectors {
			if n == c || ev.N == controller.Everything {
				s.coll[c].open = ev.V != 0
				if ev.V != 0 {
					s.endCalls(c)
					s.coll[c].fresh, s.coll[c].held = false, false
				}
			}
		}
	case controller.Restarted:
		*s = scene{shop: s.shop, untimed: s.untimed, now: s.now, clean: ev.V == 0, line: s.line, drive: s.drive, duty: ev.V == 0 && s.shop.OnDutyAfterStart}
		for c := range s.shop.Collectors {
			s.coll[c].off, s.coll[c].stood = s.now, true
		}
	case controller.ShopChanged:
		s.duty = false
		s.gate, s.mach = [most]sceneGate{}, [most]sceneMachine{}
		for c := range s.shop.Collectors {
			d := &s.coll[c]
			if d.byHand {
				d.off = s.now
			}
			*d = sceneCollector{open: d.open, stood: d.stood, off: d.off}
		}
	}
	if accepted {
		s.request(ev)
	}
}

func (s *scene) machine(n int, b current.Belief) {
	d := &s.mach[n]
	switch b {
	case current.Running:
		s.started = !d.running && d.idle && s.duty
		if s.started {
			s.call(n)
		}
		d.running, d.idle = true, false
	case current.Idle:
		d.running, d.idle = false, true
	default:
		d.idle = false
	}
	d.belief = b
}

// call notes that somebody wants the air of machine n.
func (s *scene) call(n int) {
	for c := range s.shop.Collectors {
		if s.shop.Machines[n].Collectors.Has(c) && !s.coll[c].open {
			s.coll[c].fresh = true
		}
	}
}

func (s *scene) switches(n int, v int32) {
	l, d := &s.shop.Gates[n].Motion, &s.gate[n]
	open := l.OpenSwitch && (v == int32(gates.SeenOpen) || v == int32(gates.SeenBoth))
	closed := l.ClosedSwitch && (v == int32(gates.SeenClosed) || v == int32(gates.SeenBoth))
	d.seen = gates.SeenNeither
	switch {
	case open && closed:
		d.seen = gates.SeenBoth
	case open:
		d.seen = gates.SeenOpen
	case closed:
		d.seen = gates.SeenClosed
	}
	if d.seen == gates.SeenClosed {
		d.assumed = false
	}
}

func (s *scene) feedback(n int, v int32) {
	d := &s.coll[n]
	was := d.feedback
	d.feedback = controller.Unreadable
	if v == int32(controller.Still) || v == int32(controller.Turning) {
		d.feedback = controller.Feedback(v)
	}
	switch {
	case d.feedback == controller.Turning && was != controller.Turning && !s.line.Has(n):
		d.byHand = d.byHand || !d.open && d.stood
	case d.feedback == controller.Still && !s.line.Has(n):
		if d.byHand || was == controller.Turning && s.now-d.off >= controller.Instant(s.shop.Collectors[n].ProveOff) {
			d.off = s.now // it stood only now
		}
		if was != controller.Still {
			s.dropCalls(n)
		}
		d.byHand, d.stood = false, true
	}
	if d.feedback == controller.Turning && !s.line.Has(n) {
		s.dropCalls(n)
	}
}

// dropCalls notes that whoever called collector c may be forgotten.
func (s *scene) dropCalls(c int) {
	for m := range s.shop.Machines {
		if s.shop.Machines[m].Collectors.Has(c) {
			s.mach[m].dropped = true
		}
	}
}

// endCalls notes that collector c is off for whoever called it: a machine that has no other is no longer called.
func (s *scene) endCalls(c int) {
	s.dropCalls(c)
	for m := range s.shop.Machines {
		if s.shop.Machines[m].Collectors == gates.Of(c) {
			s.mach[m].pressed = 0
		}
	}
}

// request takes a request in that was accepted.
func (s *scene) request(ev controller.Event) {
	n := int(ev.N)
	switch ev.Kind {
	case controller.ReadyPressed:
		s.duty = true
		for m := range s.shop.Machines {
			s.mach[m].idle = s.mach[m].belief == current.Idle
		}
	case controller.HaltPressed:
		s.duty = false
		for c := range s.shop.Collectors {
			s.coll[c].fresh, s.coll[c].held = false, false
		}
		for m := range s.shop.Machines {
			s.mach[m].pressed, s.mach[m].idle = 0, false
		}
		for g := range s.shop.Gates {
			s.gate[g].held = 0
		}
	case controller.FinishPressed:
		for c := range s.shop.Collectors {
			s.coll[c].fresh, s.coll[c].held = false, false
		}
		for m := range s.shop.Machines {
			s.mach[m].pressed = 0
		}
	case controller.Acknowledged:
		if ev.N == controller.Everything || ev.N == uint8(controller.UncleanEnd) {
			s.clean = true
		}
		for g := range s.shop.Gates {
			s.gate[g].gaveUp = s.gate[g].gaveUp && s.stays
		}
	case controller.MachinePressed, controller.CallAir:
		s.button(ev, n)
	case controller.HoldGate, controller.SelectGate:
		s.selectGate(ev, n)
	case controller.SelectCollector:
		if n < len(s.shop.Collectors) {
			d := &s.coll[n]
			d.held = ev.V == int32(gates.HeldOpen)
			switch gates.Selector(ev.V) {
			case gates.HeldOpen:
				d.fresh = true
			case gates.Off:
				d.fresh = false
				s.endCalls(n)
			}
		}
	}
}

func (s *scene) button(ev controller.Event, n int) {
	if n >= len(s.shop.Machines) {
		return
	}
	d := &s.mach[n]
	if ev.Kind == controller.MachinePressed && d.pressed != 0 && !d.dropped {
		d.pressed = 0
		return
	}
	if d.pressed == 0 {
		d.dropped = false
	}
	lasts := s.shop.Machines[n].Button
	if ev.Kind == controller.CallAir && ev.V > 0 {
		lasts = controller.Span(ev.V)
	}
	if lasts == 0 {
		lasts = 3 * controller.Minute
	}
	d.pressed = s.now + controller.Instant(min(lasts, 4*controller.Hour))
	s.call(n)
}

func (s *scene) selectGate(ev controller.Event, n int) {
	if n >= len(s.shop.Gates) {
		return
	}
	d := &s.gate[n]
	d.off = ev.Kind == controller.SelectGate && ev.V == int32(gates.Off)
	d.held = 0
	if ev.Kind == controller.HoldGate || ev.V == int32(gates.HeldOpen) {
		lasts := s.shop.LongestHold
		if ev.Kind == controller.HoldGate && ev.V > 0 {
			lasts = min(lasts, controller.Span(ev.V))
		}
		d.held = s.now + controller.Instant(lasts)
	}
	if d.off {
		d.assumed = false
	}
}

// effect takes one effect in, after the observers have judged it.
func (s *scene) effect(e controller.Effect) {
	n := int(e.N)
	switch e.Kind {
	case controller.OpenGate, controller.CloseGate:
		if n >= len(s.shop.Gates) {
			return
		}
		d := &s.gate[n]
		s.drive[n] = gates.DriveClose
		if e.Kind == controller.OpenGate {
			s.drive[n] = gates.DriveOpen
		}
		d.pushed, d.assumed, d.pauses = s.now, false, false
	case controller.RestGate:
		if n >= len(s.shop.Gates) {
			return
		}
		d := &s.gate[n]
		if s.untimed && e.Why == controller.BecauseAssumed && s.drive[n] == gates.DriveOpen {
			d.assumed = true // that it was driven long enough is shown where time passes
		}
		s.drive[n] = gates.DriveNone
		d.gaveUp = e.Why == controller.BecauseGaveUp
		d.pauses = e.Why == controller.BecauseTriesAgain || e.Why == controller.BecauseChipReset
	case controller.StartCollector:
		if n < len(s.shop.Collectors) {
			s.line = s.line.With(n)
		}
	case controller.StopCollector:
		if n < len(s.shop.Collectors) {
			s.line = s.line.Without(n)
			d := &s.coll[n]
			d.off, d.fresh, d.byHand = s.now, false, false
			s.endCalls(n)
			d.stood = d.feedback == controller.Still && e.Why != controller.BecauseStartNotProved && e.Why != controller.BecauseTripped
		}
	}
}
