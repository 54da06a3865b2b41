package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"time"

	"ductwarden/controller/bench"
)

// learner leads a person through the procedure.
type learner struct {
	desk      bench.Desk
	typist    *typist
	out       io.Writer
	path      string
	edits     bench.File
	rehearsed bool
	live      bool // a terminal: the current is shown as it changes
	glance    time.Duration

	session string
	step    string
	found   int
}

// run leads through the procedure. The view is nil when the person has ended it before its end.
func (l *learner) run(ctx context.Context, machine, where string) (*bench.LearnSession, error) {
	v, err := l.desk.Do(ctx, bench.Order{Action: bench.ActLearn, Target: machine})
	if err != nil {
		return nil, err
	}
	l.session = v.Learn.Session
	defer func() {
		_, _ = l.do(context.WithoutCancel(ctx), bench.ActEnd) // it may have ended by itself
	}()
	fmt.Fprintf(l.out, "Learning %s on %s. Used: %s.\n\nBefore it begins:\n", v.Learn.Machine, v.Learn.Channel, where)
	printCautions(l.out, v.Learn.Cautions)
	fmt.Fprintln(l.out, "\nEnter: read, go on. q: end.")
	for {
		if v, err = l.desk.View(ctx, l.session); err != nil {
			return nil, err
		}
		s := v.Learn
		if s == nil || s.Session != l.session {
			return nil, fmt.Errorf("the bench has ended this session: nobody had looked at it for a while")
		}
		l.tell(s)
		switch {
		case s.Step == bench.StepEnded:
			return nil, fmt.Errorf("the bench has ended this session")
		case s.Step == bench.StepDone:
			again, err := l.done(ctx, s)
			if err != nil || !again {
				return s, err
			}
			l.found = 0
			_, err = l.do(ctx, bench.ActAgain)
			if err != nil {
				return s, err
			}
			continue
		}
		ended, err := l.take(ctx, s)
		if err != nil || ended {
			return nil, err
		}
	}
}

func (l *learner) do(ctx context.Context, action string) (bench.View, error) {
	return l.desk.Do(ctx, bench.Order{Action: action, Session: l.session})
}

// take waits a moment for what the person types, where something is waited for.
func (l *learner) take(ctx context.Context, s *bench.LearnSession) (ended bool, err error) {
	var lines <-chan string
	if s.Waits {
		lines = l.typist.lines
	}
	tick := time.NewTimer(l.glance)
	defer tick.Stop()
	select {
	case <-ctx.Done():
		l.newline()
		return false, errInterrupted
	case <-tick.C:
		return false, nil
	case line, ok := <-lines:
		l.newline()
		switch {
		case !ok:
			return false, errInputEnded
		case line == "q":
			fmt.Fprintln(l.out, "Ended; nothing was written.")
			return true, nil
		case line == "a" && s.Step != bench.StepCaution:
			l.found = 0
			_, err = l.do(ctx, bench.ActAgain)
			return false, err
		}
		if d, bad := time.ParseDuration(line); bad == nil {
			if err := l.sitOut(ctx, d); err != nil {
				return false, err
			}
		}
		action := bench.ActNext
		if s.Step == bench.StepCaution {
			action = bench.ActAccept
		}
		_, err = l.do(ctx, action)
		return false, err
	}
}

// sitOut lets the bench's own time pass; while the stopwatch runs, until it shows so much.
func (l *learner) sitOut(ctx context.Context, d time.Duration) error {
	from := int64(-1)
	for {
		v, err := l.desk.View(ctx, l.session)
		if err != nil {
			return err
		}
		if from < 0 {
			from = v.AtMS
		}
		passed := v.AtMS - from
		if v.Learn != nil && v.Learn.Step == bench.StepRunDown {
			passed = v.Learn.WatchMS
		}
		if passed >= d.Milliseconds() {
			return nil
		}
		select {
		case <-ctx.Done():
			return errInterrupted
		case <-time.After(l.glance / 10):
		}
	}
}

// newline ends the live line.
func (l *learner) newline() {
	if l.live {
		fmt.Fprint(l.out, "\r\x1b[K")
	}
}

// tell says what is new: another step, findings, on a terminal the present current.
func (l *learner) tell(s *bench.LearnSession) {
	if len(s.Findings) > l.found {
		l.newline()
		for _, f := range s.Findings[l.found:] {
			mark := "  note: "
			if f.Grave {
				mark = "  stop: "
			}
			fmt.Fprintln(l.out, wrapped(mark, f.Text+".", 100))
		}
		l.found = len(s.Findings)
	}
	if s.Step+s.Say != l.step && s.Step != bench.StepCaution {
		l.newline()
		key := ""
		if s.Waits {
			key = " [Enter]"
		}
		fmt.Fprintln(l.out, wrapped("> ", s.Say+key, 100))
		l.step = s.Step + s.Say
	}
	if !l.live || s.Step == bench.StepCaution || s.Step == bench.StepDone {
		return
	}
	now := "no reading"
	if s.CurrentA != nil {
		now = fmt.Sprintf("%6.2f A", *s.CurrentA)
	}
	switch {
	case s.LeftMS > 0:
		now += fmt.Sprintf("   %d s left", (s.LeftMS+999)/1000)
	case s.WatchMS > 0:
		now += fmt.Sprintf("   stopwatch %.1f s", float64(s.WatchMS)/1000)
	}
	fmt.Fprintf(l.out, "\r\x1b[K  %s", now)
}

// done shows what was learnt and asks whether it is to be written. again: the person wants another try.
func (l *learner) done(ctx context.Context, s *bench.LearnSession) (again bool, err error) {
	running, idle := 0.0, 0.0
	if s.Proposal != nil {
		running, idle = s.Proposal.RunningA, s.Proposal.IdleA
	}
	if plot := bench.Plot(s.Plot, running, idle, 92, 12, speaksUTF8() && l.live); plot != "" {
		fmt.Fprintf(l.out, "\n%s\n", plot)
	}
	l.figures(s)
	if s.Proposal == nil || len(s.Changes) == 0 {
		fmt.Fprintln(l.out, "\nThere is no proposal. a: begin again. Anything else ends.")
		line, err := l.typist.line(ctx)
		if err == errInputEnded {
			return false, nil
		}
		return line == "a", err
	}
	fmt.Fprintln(l.out, "\n"+wrapped("", s.Proposal.Text, 100))
	_, err = keep(ctx, l.typist, l.out, l.path, s.Diff, l.rehearsed, s.Changes, l.edits)
	return false, err
}

// figures prints what was measured.
func (l *learner) figures(s *bench.LearnSession) {
	f := s.Figures
	row := func(label string, values ...string) {
		if text := strings.Join(values, ""); text != "" {
			fmt.Fprintf(l.out, "  %-26s%s\n", label, text)
		}
	}
	say := func(v *float64, format string) string {
		if v == nil {
			return ""
		}
		return fmt.Sprintf(format, *v)
	}
	row("off", say(f.IdleA, "%.2f A"), say(f.IdleTop, ", at most %.2f A"))
	row("running up", say(f.StartA, "up to %.1f A"), say(f.RunUpS, ", settled after %.1f s"))
	row("running without work", say(f.RunA, "%.2f A"), say(f.RunLow, ", at least %.2f A"))
	row("brake", say(f.BrakeS, "%.1f s"))
	row("run-down", say(f.RunDown, "%.1f s by the stopwatch"))
}
