package controller

import (
	"fmt"
	"strings"

	"ductwarden/controller/plan"
	"ductwarden/current"
	"ductwarden/gates"
)

var (
	modeWords     = [...]string{"standing_by", "on_duty", "halted"}
	phaseWords    = [...]string{"off", "starting", "running", "clearing", "lingering", "coasting", "start_failed", "will_not_stop", "by_hand"}
	selectorWords = [...]string{"automatic", "held_open", "off"}
	feedbackWords = [...]string{"none", "still", "turning", "unreadable"}
)

func word(of []string, i int) string {
	if i < len(of) {
		return of[i]
	}
	return "unknown"
}

// String is the mode's word.
func (m Mode) String() string { return word(modeWords[:], int(m)) }

// String is the phase's word.
func (p Phase) String() string { return word(phaseWords[:], int(p)) }

// String is the word of the evidence.
func (f Feedback) String() string { return word(feedbackWords[:], int(f)) }

// Snapshot is the state as people and other programs are shown it; the loop adds readings and alarms.
func (s *State) Snapshot(shop *Shop) Snapshot {
	t := view(shop, s)
	out := Snapshot{AtMS: int64(s.now), Shop: shop.Name, Mode: s.mode.String(), Why: t.why(),
		Machines: make([]MachineSnapshot, 0, len(shop.Machines)), Gates: make([]GateSnapshot, 0, len(shop.Gates))}
	for n := range shop.Machines {
		out.Machines = append(out.Machines, t.machinePicture(n))
	}
	for n := range shop.Gates {
		out.Gates = append(out.Gates, t.gatePicture(n))
	}
	for c := range shop.Collectors {
		if shop.Collectors[c].Name != "" {
			out.Collectors = append(out.Collectors, t.collectorPicture(c))
		}
	}
	for _, d := range shop.Ducts {
		out.Ducts = append(out.Ducts, DuctSnapshot{ID: d.ID, Name: d.Name, TransportMS: float64(d.Transport) / 1000, Verdict: plan.NotJudged.String()})
	}
	return out
}

func (t *turn) machinePicture(n int) MachineSnapshot {
	m, p := &t.s.machine[n], &t.shop.Machines[n]
	out := MachineSnapshot{ID: p.ID, Name: p.Name, AirReady: t.hasAir(n), Health: "good", Unserved: t.noAir(n)}
	left := Instant(0)
	switch {
	case m.belief == current.Running:
		out.State = "running"
	case m.down != 0:
		out.State, left = "running_down", m.down
	case p.Sensed && m.belief == current.Unknown:
		out.State = "unknown"
	case !p.Sensed && m.pressed != 0:
		out.State = "running" // a sweep that is called makes dust as far as anybody knows
	default:
		out.State = "idle"
	}
	if m.pressed != 0 {
		left = m.pressed
	}
	out.LeftMS = int64(max(0, left-t.s.now))
	return out
}

var whereWords = [...]string{"unknown", "opening", "open", "open", "closing", "closed", "closed", "failed"}

func (t *turn) gatePicture(n int) GateSnapshot {
	g, p := &t.s.gate[n], &t.shop.Gates[n]
	out := GateSnapshot{ID: p.ID, Name: p.Name, Selector: word(selectorWords[:], int(g.selector)),
		State: word(whereWords[:], int(g.motion.Where)), Hand: p.Motion.Hand || g.motion.Left != gates.DriveNone,
		Proved: g.motion.Where == gates.OpenProved || g.motion.Where == gates.ClosedProved}
	col := &t.s.collector[p.Collector]
	switch {
	case g.selector == gates.HeldOpen:
		out.Role = "held"
		if g.until != 0 {
			out.LeftMS = int64(max(0, g.until-t.s.now))
		}
	case t.needs(int(p.Collector), t.run[p.Collector]|t.down[p.Collector]).Has(n):
		out.Role = "needed"
	case col.asked && col.answer.Open.Has(n):
		out.Role = "relief"
	}
	return out
}

func (t *turn) collectorPicture(c int) CollectorSnapshot {
	col, p := &t.s.collector[c], &t.shop.Collectors[c]
	out := CollectorSnapshot{ID: p.ID, Name: p.Name, Phase: col.phase.String(), Selector: word(selectorWords[:], int(col.selector)),
		StartsHour: int(p.StartsPerHour), Feedback: "none", Transport: plan.NotJudged.String()}
	if p.Proof {
		out.Feedback = Unreadable.String()
		if col.feedback != NoFeedback {
			out.Feedback = col.feedback.String()
		}
	}
	if p.Starter {
		out.StartsLeft = max(0, int(p.StartsPerHour)-col.starts.within(t.s.now))
		if at, _ := t.startAt(c); !col.powered() && at > t.s.now {
			out.RestMS = int64(at - t.s.now)
		}
	}
	why, end := t.phaseWhy(c)
	out.Why = why.Sentence()
	out.LeftMS = int64(max(0, end-t.s.now))
	return out
}

// phaseWhy says why collector c is in its phase, and when the phase ends, where it has an end.
func (t *turn) phaseWhy(c int) (why Reason, end Instant) {
	col, p := &t.s.collector[c], &t.shop.Collectors[c]
	switch col.phase {
	case CollectorOff, Coasting:
		if col.phase == Coasting {
			end = col.off + Instant(p.Coast)
		}
		if w, ok := t.waits(c); ok {
			return w, end
		}
		if able := t.ableTo(c); able != NoReason {
			return able, end
		}
		if col.phase == Coasting {
			return BecauseWheelTurns, end
		}
		return BecauseNobody, end
	case Starting:
		end = col.on + Instant(p.SpinUp)
		if p.Proof {
			end = col.on + Instant(p.ProveOn)
		}
		return BecauseStartProof, end
	case CollectorRuns:
		switch {
		case col.selector == gates.HeldOpen:
			return BecauseHeld, 0
		case t.run[c].Empty():
			return BecauseRunDown, 0
		}
		return BecauseDemand, 0
	case Clearing:
		switch {
		case col.flushing != noFlush:
			return BecauseFlush, col.flushed
		case col.finish:
			return BecauseFinish, col.clear
		}
		return BecauseClearing, col.clear
	case Lingering:
		end, why = t.lingerEnd(c)
		if why == BecauseLingered || why == BecauseLongestLinger {
			why = BecauseLinger
		}
		return why, end
	case StartFailed:
		if col.latch&latchTrip != 0 {
			return BecauseTripped, 0
		}
		return BecauseStartNotProved, 0
	case WillNotStop:
		return BecauseStopNotProved, 0
	case ByHand:
		return BecauseOwnSwitch, 0
	}
	return NoReason, 0
}

// why says in one sentence what the automatic does and why.
func (t *turn) why() string {
	switch {
	case t.s.mode == StandingBy && t.s.unclean:
		return "standing by: " + BecauseUnclean.Sentence()
	case t.s.mode == StandingBy:
		return "standing by: nothing moves until a person presses Ready"
	case t.s.mode == Halted:
		return BecauseHalted.Sentence()
	}
	var parts []string
	say := func(machines Set, verb string) {
		var names []string
		for n := range machines.All() {
			names = append(names, t.shop.Machines[n].Name)
		}
		if len(names) > 0 {
			parts = append(parts, strings.Join(names, " and ")+" "+verb)
		}
	}
	var run, down, relief Set
	for c := range t.shop.Collectors {
		run |= t.run[c]
		down |= t.down[c]
		if col := &t.s.collector[c]; col.asked {
			relief |= col.answer.Relief & t.open
		}
	}
	say(run, "in use")
	say(down&^run, "running down")
	if !relief.Empty() {
		var names []string
		for g := range relief.All() {
			names = append(names, t.shop.Gates[g].Name)
		}
		if len(names) == 1 {
			parts = append(parts, "gate "+names[0]+" open for its air")
		} else {
			parts = append(parts, "gates "+strings.Join(names, " and ")+" open for their air")
		}
	}
	for c := range t.shop.Collectors {
		if w, ok := t.waits(c); ok {
			text := w.Sentence()
			if at, _ := t.startAt(c); at > t.s.now {
				text = fmt.Sprintf("%s: no air for %d s", text, (at-t.s.now+999)/1000)
			}
			parts = append(parts, text)
		}
	}
	if len(parts) == 0 {
		return "on duty: no machine runs"
	}
	return strings.Join(parts, "; ")
}
