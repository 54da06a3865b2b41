package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"golang.org/x/term"

	"ductwarden/controller/bench"
)

// ctrlC is what a terminal sends for Ctrl-C while it takes single keys.
const ctrlC = 3

// keyboard switches the terminal to single keys; nil where the input is no terminal.
func (j *jogger) keyboard(in io.Reader) (keys <-chan string, restore func()) {
	f, ok := in.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) || !isTerminal(j.out) {
		return nil, func() {}
	}
	old, err := term.MakeRaw(int(f.Fd()))
	if err != nil {
		return nil, func() {}
	}
	j.raw, j.out = true, returning{j.out}
	out := make(chan string)
	go func() { // ends with the program: a read from a terminal cannot be called back
		defer close(out)
		b := make([]byte, 16)
		for {
			n, err := f.Read(b)
			if err != nil {
				return
			}
			out <- string(b[:n])
		}
	}()
	return out, func() {
		if j.raw {
			_ = term.Restore(int(f.Fd()), old)
			j.raw = false
		}
	}
}

// returning ends each line with a return of its own, as a terminal wants it while it takes single keys.
type returning struct{ w io.Writer }

// Write implements io.Writer.
func (r returning) Write(b []byte) (int, error) {
	if _, err := r.w.Write(bytes.ReplaceAll(b, []byte("\n"), []byte("\r\n"))); err != nil {
		return 0, err
	}
	return len(b), nil
}

// keyHelp says what the keys do.
func keyHelp(s *bench.JogSession) string {
	if s.Kind == "servo" {
		return "  right/left or +/-  10 us to either side      up/down  50 us\n" +
			"  o  it is just open: mark     c  it is just closed: mark\n" +
			"  O  go to the open end        C  go to the closed end\n" +
			"  space  release               w  see what would be written     q, Ctrl-C  release and end"
	}
	return "  right/left or +/-  200 ms towards open or closed\n" +
		"  O  let it go to the open end       o  it has just arrived there: mark\n" +
		"  C  let it go to the closed end     c  it has just arrived there: mark\n" +
		"  space  stop          w  see what would be written     q, Ctrl-C  stop and end"
}

// keyOrder is the order of a key; "" for none.
func keyOrder(key string, servo bool) (action, value string) {
	small, large := "10", "50"
	if !servo {
		small, large = "200ms", "500ms"
	}
	switch key {
	case "+", "=", "\x1b[C", "\x1bOC":
		return bench.ActStep, "+" + small
	case "-", "\x1b[D", "\x1bOD":
		return bench.ActStep, "-" + small
	case "\x1b[A", "\x1bOA":
		return bench.ActStep, "+" + large
	case "\x1b[B", "\x1bOB":
		return bench.ActStep, "-" + large
	case "o":
		return bench.ActMark, "open"
	case "c":
		return bench.ActMark, "closed"
	case "O":
		return bench.ActGo, "open"
	case "C":
		return bench.ActGo, "closed"
	case " ":
		return bench.ActRelease, ""
	}
	return "", ""
}

// byKey jogs with single keys.
func (j *jogger) byKey(ctx context.Context, keys <-chan string, last **bench.JogSession) error {
	j.print("\nPress any key when you have read this and no hand is at the gate; q ends.")
	tick := time.NewTicker(j.glance)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return errInterrupted
		case key, ok := <-keys:
			accepted := (*last).Step != bench.StepCaution
			action, value := keyOrder(key, (*last).Kind == "servo")
			switch {
			case !ok || key == "q" || key == "Q" || strings.ContainsRune(key, ctrlC):
				j.print("Released. Nothing was written.")
				return nil
			case !accepted:
				action, value = bench.ActAccept, ""
				j.print("\n" + keyHelp(*last))
			case key == "w":
				if err := j.write(ctx, typedFrom(ctx, keys, j.out), last); err != nil {
					return err
				}
				continue
			case action == "":
				j.print(keyHelp(*last))
				continue
			}
			if err := j.order(ctx, action, value, last); err != nil {
				return err
			}
		case <-tick.C:
			if err := j.look(ctx, last); err != nil {
				return err
			}
		}
		if (*last).Step == bench.StepCaution {
			continue
		}
		if (*last).Say != j.said {
			j.said = (*last).Say
			j.print("\n" + wrapped("> ", j.said, 100))
		}
		fmt.Fprintf(j.out, "\r\x1b[K  %s", state(*last))
	}
}

// typedFrom lets single keys answer questions: each key is a line.
func typedFrom(ctx context.Context, keys <-chan string, w io.Writer) *typist {
	t := &typist{lines: make(chan string)}
	go func() {
		defer close(t.lines)
		for {
			select {
			case <-ctx.Done():
				return
			case key, ok := <-keys:
				if !ok || strings.ContainsRune(key, ctrlC) {
					return
				}
				fmt.Fprintln(w, key)
				select {
				case t.lines <- key:
				case <-ctx.Done():
					return
				}
				if key == "y" || key == "n" {
					return
				}
			}
		}
	}()
	return t
}

// byLine jogs by lines: for scripts and for terminals that cannot take single keys.
func (j *jogger) byLine(ctx context.Context, in io.Reader, last **bench.JogSession) error {
	t := newTypist(in)
	j.print("\nEnter when you have read this and no hand is at the gate; q ends.")
	for {
		line, err := t.line(ctx)
		if err != nil {
			return err
		}
		word, value, _ := strings.Cut(line, " ")
		action := ""
		switch {
		case word == "q":
			j.print("Released. Nothing was written.")
			return nil
		case (*last).Step == bench.StepCaution:
			action, value = bench.ActAccept, ""
		case word == "w" || word == "write":
			if err := j.write(ctx, t, last); err != nil {
				return err
			}
			continue
		case word == "go", word == "mark", word == "release":
			action = word
		case strings.HasPrefix(word, "+"), strings.HasPrefix(word, "-"):
			action, value = bench.ActStep, word
		case word == "":
		default:
			j.print(fmt.Sprintf("  %q is not known here: +10, -50, go open, go closed, mark open, mark closed, release, write, q", line))
			continue
		}
		if action != "" {
			if err := j.order(ctx, action, value, last); err != nil {
				return err
			}
		}
		if err := j.settle(ctx, action, last); err != nil {
			return err
		}
		j.print("  " + state(*last))
		if (*last).Say != j.said {
			j.said = (*last).Say
			j.print(wrapped("> ", j.said, 100))
		}
	}
}

// settle waits until the gate has followed an order.
func (j *jogger) settle(ctx context.Context, action string, last **bench.JogSession) error {
	from := int64(-1)
	for {
		v, err := j.desk.View(ctx, j.session)
		if err != nil {
			return err
		}
		if err := j.look(ctx, last); err != nil {
			return err
		}
		if from < 0 {
			from = v.AtMS
		}
		// a simulated blade follows its pulse; it takes a moment
		if s := *last; !s.Moves && (v.AtMS-from >= 600 || action == bench.ActAccept) {
			return nil
		}
		select {
		case <-ctx.Done():
			return errInterrupted
		case <-time.After(j.glance / 10):
		}
	}
}
