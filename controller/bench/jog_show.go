package bench

// preview shows what would be written.
func (j *jogging) preview(f File) {
	if len(j.changes) == 0 || j.diff != "" || f == nil {
		return
	}
	before, after, err := f.Preview(j.changes)
	if err != nil {
		j.findings = append(j.findings, Finding{"file", true, err.Error()})
		j.changes = nil
		return
	}
	j.diff = Diff(before, after)
}

// view shows the session.
func (j *jogging) view(token string) *JogSession {
	v := &JogSession{Session: token, Gate: j.of.Name, ID: j.of.ID, Actuator: j.of.Actuator, Kind: "servo", Step: j.step, Say: j.say(), Cautions: JogCautions(),
		OpenUS: int(j.open.Microseconds()), ClosedUS: int(j.closed.Microseconds()), Marked: append([]string{}, j.marked...), Blade: j.blade,
		TravelMS: j.travel.Milliseconds(), Findings: append([]Finding{}, j.findings...), Changes: append([]Change{}, j.changes...), Diff: j.diff, Written: j.written}
	j.hand.mu.Lock()
	v.PulseUS, v.On = int(j.hand.at.Microseconds()), j.hand.on
	v.Moves = j.hand.fresh || j.hand.at != j.hand.aim || j.of.Motor != nil && j.hand.on
	switch {
	case j.unheard:
		v.Findings = append(v.Findings, Finding{"no_answer", true, j.silent()})
	case j.hand.err != nil && j.hand.giveUp == 0:
		v.Findings = append(v.Findings, Finding{"actuator", true, j.hand.err.Error()})
	}
	j.hand.mu.Unlock()
	if s := j.of.Servo; s != nil {
		v.LeastUS, v.MostUS = int(s.Least.Microseconds()), int(s.Most.Microseconds())
	} else {
		v.Kind = "motor"
	}
	return v
}

// say is what the person is to do now.
func (j *jogging) say() string {
	switch {
	case j.step == StepCaution:
		return "Read the cautions. Nothing moves before you accept them."
	case j.step == StepDone:
		return "Look at the changes. Nothing is written before you say so."
	case j.step == StepEnded:
		return "The bench is free. The gate is released and stays where it is."
	case j.of.Motor != nil:
		return "Let the gate go to an end and mark it at the moment when it arrives; then the other end."
	case len(j.marked) == 0:
		return "Step until the gate is just fully open and mark it; then until it is just closed. Stop before the servo hums."
	case len(j.marked) == 1:
		return "One end is marked. Step to the other and mark it."
	}
	return "Both ends are marked. Go to each once more and look, then see what would be written."
}
