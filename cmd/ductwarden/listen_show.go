package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"time"

	"ductwarden/controller/bench"
)

// show prints the inputs again and again.
func (f *listenFlags) show(ctx context.Context, w *workbench, chip string, out io.Writer, hand *typist) error {
	live := isTerminal(out) && !f.asJSON
	var enter <-chan string // with --add: go on
	if live && len(f.add) > 0 {
		enter = hand.lines
	}
	lasts := f.lasts
	if lasts == 0 && !live {
		lasts = 3 * time.Second
	}
	if !f.asJSON {
		fmt.Fprintf(out, "Listening to %s. Used: %s.\n", chip, w.where)
		printCautions(out, bench.ListenCautions())
		fmt.Fprintln(out)
		switch {
		case enter != nil:
			fmt.Fprintln(out, "Enter: go on to the shop file. Ctrl-C: end.")
		case live && f.lasts == 0:
			fmt.Fprintln(out, "Ctrl-C ends.")
		}
	}
	begin, drawn := int64(-1), 0
	for {
		v, err := w.View(ctx, "")
		if err != nil {
			return err
		}
		if begin < 0 {
			begin = v.AtMS
		}
		over := lasts > 0 && v.AtMS-begin >= lasts.Milliseconds()
		here := onlyOn(v.Channels, chip)
		if len(here) == 0 {
			return fmt.Errorf("nothing is read from %s here: the running daemon's shop file has no clamp on it", chip)
		}
		switch {
		case f.asJSON:
			if err := json.NewEncoder(out).Encode(here); err != nil {
				return err
			}
		case live:
			if drawn > 0 {
				fmt.Fprintf(out, "\x1b[%dA", drawn)
			}
			drawn = printChannels(out, here, "\x1b[K")
		case over:
			printChannels(out, here, "")
		}
		if over {
			return nil
		}
		select {
		case <-ctx.Done():
			if len(f.add) > 0 {
				return errInterrupted
			}
			return nil // Ctrl-C is how listening ends
		case _, ok := <-enter:
			if !ok {
				return errInputEnded
			}
			return nil
		case <-time.After(3 * f.glance()):
		}
	}
}

// onlyOn keeps the inputs of one chip.
func onlyOn(all []bench.Channel, chip string) []bench.Channel {
	out := []bench.Channel{}
	for _, c := range all {
		if strings.HasPrefix(strings.ToLower(c.Name), strings.ToLower(chip)+"/") || strings.HasPrefix(c.Name, "mcp3208") && chip == "mcp3208" {
			out = append(out, c)
		}
	}
	return out
}

// printChannels writes a line or two an input and counts them.
func printChannels(w io.Writer, all []bench.Channel, ending string) (n int) {
	for _, c := range all {
		now := "       -"
		if c.CurrentA != nil {
			now = fmt.Sprintf("%6.2f A", *c.CurrentA)
		}
		fmt.Fprintf(w, "  %-18s %s  %-14s %s%s\n", c.Name, now, c.Health, strings.Join(c.Watches, ", "), ending)
		n++
		if c.Words != "" {
			text := wrapped("      ", c.Words+".", 100)
			for line := range strings.SplitSeq(text, "\n") {
				fmt.Fprintf(w, "%s%s\n", line, ending)
				n++
			}
		}
	}
	return n
}
