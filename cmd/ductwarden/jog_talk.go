package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"ductwarden/controller/bench"
)

// jogger lets a person jog.
type jogger struct {
	desk      bench.Desk
	out       io.Writer
	path      string
	edits     bench.File
	rehearsed bool
	glance    time.Duration

	session string
	said    string
	found   string // told last
	raw     bool   // the terminal takes single keys: lines end with a return of their own
}

// errDone ends jogging after an answer was given.
var errDone = errors.New("done")

// run lets a person jog until they write or end.
func (j *jogger) run(ctx context.Context, in io.Reader, gate, where string) (*bench.JogSession, error) {
	v, err := j.desk.Do(ctx, bench.Order{Action: bench.ActJog, Target: gate})
	if err != nil {
		return nil, err
	}
	j.session = v.Jog.Session
	last := v.Jog
	defer func() {
		_, _ = j.desk.Do(context.WithoutCancel(ctx), bench.Order{Action: bench.ActEnd, Session: j.session})
	}()
	fmt.Fprintf(j.out, "Jogging the gate %q on %s. Used: %s.\n\nBefore anything moves:\n", v.Jog.Gate, v.Jog.Actuator, where)
	printCautions(j.out, v.Jog.Cautions)
	keys, restore := j.keyboard(in)
	defer restore()
	if keys != nil {
		err = j.byKey(ctx, keys, &last)
	} else {
		err = j.byLine(ctx, in, &last)
	}
	if errors.Is(err, errDone) {
		err = nil
	}
	return last, err
}

// order carries one order out and waits until the gate has followed.
func (j *jogger) order(ctx context.Context, action, value string, last **bench.JogSession) error {
	v, err := j.desk.Do(ctx, bench.Order{Action: action, Value: value, Session: j.session})
	var no *bench.Refusal
	if err != nil && (errors.As(err, &no) || ctx.Err() == nil) {
		j.print("  " + err.Error() + ".")
		return nil
	}
	if err != nil {
		return err
	}
	*last = v.Jog
	return nil
}

// look takes in what is to see and tells news.
func (j *jogger) look(ctx context.Context, last **bench.JogSession) error {
	v, err := j.desk.View(ctx, j.session)
	if err != nil {
		return err
	}
	if v.Jog == nil || v.Jog.Session != j.session || v.Jog.Step == bench.StepEnded {
		if v.Jog != nil && len(v.Jog.Findings) > 0 {
			return errors.New(v.Jog.Findings[len(v.Jog.Findings)-1].Text)
		}
		return errors.New("the bench has ended this session: nobody had looked at it for a while")
	}
	*last = v.Jog
	worst := ""
	if n := len(v.Jog.Findings); n > 0 {
		worst = v.Jog.Findings[n-1].Text
	}
	if worst != j.found && worst != "" {
		j.print(wrapped("  stop: ", worst+".", 100))
	}
	j.found = worst
	return nil
}

// print writes a line over the live one.
func (j *jogger) print(text string) {
	if j.raw {
		text = "\r\x1b[K" + text
	}
	fmt.Fprintln(j.out, text)
}

// state is the gate as one line.
func state(s *bench.JogSession) string {
	parts := []string{}
	if s.Kind == "servo" {
		at := "nothing sent yet"
		if s.PulseUS > 0 {
			at = fmt.Sprintf("%d us", s.PulseUS)
		}
		parts = append(parts, fmt.Sprintf("%s (limits %d to %d)", at, s.LeastUS, s.MostUS))
	}
	if s.On {
		parts = append(parts, "pushing")
	} else {
		parts = append(parts, "released")
	}
	for _, end := range s.Marked {
		switch {
		case s.Kind != "servo":
			parts = append(parts, end+" timed")
		case end == "open":
			parts = append(parts, fmt.Sprintf("open %d us", s.OpenUS))
		default:
			parts = append(parts, fmt.Sprintf("closed %d us", s.ClosedUS))
		}
	}
	if s.Blade != nil {
		parts = append(parts, fmt.Sprintf("simulated blade %.0f %% open", *s.Blade*100))
	}
	return strings.Join(parts, ", ")
}

// write proposes, asks and writes.
func (j *jogger) write(ctx context.Context, t *typist, last **bench.JogSession) error {
	if err := j.order(ctx, bench.ActPropose, "", last); err != nil {
		return err
	}
	s := *last
	for _, f := range s.Findings {
		j.print(wrapped("  stop: ", f.Text+".", 100))
	}
	if s.Step != bench.StepDone || len(s.Changes) == 0 {
		return nil
	}
	done, err := keep(ctx, t, j.out, j.path, s.Diff, j.rehearsed, s.Changes, j.edits)
	if err != nil {
		return err
	}
	s.Written = done
	return errDone
}
