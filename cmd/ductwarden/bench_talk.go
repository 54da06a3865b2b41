package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"ductwarden/controller/bench"
)

// typist gives what a person types, line by line.
type typist struct {
	lines chan string
}

func newTypist(r io.Reader) *typist {
	t := &typist{lines: make(chan string)}
	go func() {
		defer close(t.lines)
		s := bufio.NewScanner(r)
		for s.Scan() {
			t.lines <- strings.TrimSpace(s.Text())
		}
	}()
	return t
}

// errInputEnded says that nobody types any more.
var errInputEnded = errors.New("the input has ended before the question was answered; nothing was written")

// errInterrupted says that a person has ended it.
var errInterrupted = errors.New("ended before its end; nothing was written")

// line waits for a line.
func (t *typist) line(ctx context.Context) (string, error) {
	select {
	case <-ctx.Done():
		return "", errInterrupted
	case l, ok := <-t.lines:
		if !ok {
			return "", errInputEnded
		}
		return l, nil
	}
}

// yes asks a question that is answered with y or n.
func (t *typist) yes(ctx context.Context, w io.Writer, question string) (bool, error) {
	for {
		fmt.Fprintf(w, "%s [y/n] ", question)
		l, err := t.line(ctx)
		if err != nil {
			fmt.Fprintln(w)
			return false, err
		}
		switch strings.ToLower(l) {
		case "y", "yes":
			return true, nil
		case "n", "no":
			return false, nil
		}
	}
}

// printCautions writes cautions as a list.
func printCautions(w io.Writer, all []string) {
	for _, c := range all {
		fmt.Fprintln(w, wrapped("  ! ", c, 100))
	}
}

// wrapped breaks a text at spaces, with its first line led in and the others indented.
func wrapped(lead, text string, width int) string {
	var b strings.Builder
	b.WriteString(lead)
	n := len(lead)
	for i, word := range strings.Fields(text) {
		if i > 0 && n+1+len(word) > width {
			b.WriteString("\n" + strings.Repeat(" ", len(lead)))
			n = len(lead)
		} else if i > 0 {
			b.WriteByte(' ')
			n++
		}
		b.WriteString(word)
		n += len(word)
	}
	return b.String()
}

// keep asks whether the changes are to be written, and writes them.
func keep(ctx context.Context, t *typist, w io.Writer, path, diff string, rehearsed bool, changes []bench.Change, to bench.File) (bool, error) {
	fmt.Fprintf(w, "\nWhat would change in %s:\n\n%s\n", path, diff)
	if rehearsed {
		fmt.Fprintln(w, "These figures are a simulated shop's: write them only into a file that you practise with.")
	}
	ok, err := t.yes(ctx, w, "Write it?")
	if err != nil || !ok {
		if err == nil {
			fmt.Fprintln(w, "Not written.")
		}
		return false, err
	}
	if err := to.Keep(changes); err != nil {
		return false, err
	}
	if rehearsed {
		fmt.Fprintf(w, "Written to %s.\n", path)
		return true, nil
	}
	fmt.Fprintf(w, "Written to %s. A running daemon takes it in when it is started again.\n", path)
	return true, nil
}
