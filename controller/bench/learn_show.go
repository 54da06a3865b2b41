package bench

import "time"

// preview shows what would be written.
func (l *learning) preview(f File) {
	if l.step != StepDone || len(l.changes) == 0 || l.diff != "" || f == nil {
		return
	}
	before, after, err := f.Preview(l.changes)
	if err != nil {
		l.findings = append(l.findings, Finding{"file", true, err.Error()})
		l.changes = nil
		return
	}
	l.diff = Diff(before, after)
}

// view shows the session.
func (l *learning) view(token string, now time.Duration) *LearnSession {
	v := &LearnSession{Session: token, Machine: l.of.Name, ID: l.of.ID, Channel: l.input.Name, Step: l.step, Say: l.say(), Cautions: LearnCautions(),
		Findings: append([]Finding{}, l.findings...), Figures: l.figures, Proposal: l.proposal, Plot: l.rec.points(plotPoints),
		Changes: append([]Change{}, l.changes...), Diff: l.diff, Written: l.written}
	if l.has {
		a := l.amps
		v.CurrentA = &a
	}
	left := func(whole time.Duration) int64 { return max(0, (whole - (now - l.entered)).Milliseconds()) }
	switch l.step {
	case StepCaution:
		v.Waits = true
	case StepIdle:
		v.LeftMS = left(idleTime)
	case StepRun:
		v.LeftMS = left(runTime)
	case StepStart, StepStop:
		v.Waits = l.said == 0
	case StepRunDown:
		v.Waits, v.WatchMS = true, (now - l.ended).Milliseconds()
	}
	return v
}

// say is what the person is to do now.
func (l *learning) say() string {
	name, aside := l.of.Name, ""
	if l.rehearsed {
		aside = " (rehearsal: the key does it for you)"
	}
	switch l.step {
	case StepCaution:
		return "Read the cautions. Nothing is asked of the machine before you accept them."
	case StepIdle:
		return "Leave " + name + " off, with its lamp and everything else on its cable off too. Listening to its current at rest."
	case StepStart:
		if l.said != 0 {
			return "Looking for its current."
		}
		return "Start " + name + " now, without work, and let it run." + aside
	case StepRun:
		return "It runs. Do not cut; let it run on."
	case StepStop:
		if l.said != 0 {
			return "Looking for the end of its current."
		}
		return "Switch " + name + " off now, and look at its cutter." + aside
	case StepRunDown:
		return "The current has ended, the stopwatch runs. Press the key at the moment when the cutter stands."
	case StepDone:
		if l.proposal == nil || len(l.changes) == 0 {
			return "There is no proposal: see what was found, mend it, and begin again."
		}
		return "Look at the proposal. Nothing is written before you say so."
	}
	return "The bench is free."
}
