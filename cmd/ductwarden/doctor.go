package main

import (
	"encoding/json"
	"fmt"
	"io"

	"github.com/skip2/go-qrcode"
	"github.com/spf13/cobra"
)

// How a finding stands.
const (
	findingGood = "good"
	findingNote = "note" // works, and a person should know
	findingBad  = "bad"
)

// finding is one thing that doctor has looked at. Whatever is not good carries what to do next.
type finding struct {
	Area  string `json:"area"`
	Level string `json:"level"`
	What  string `json:"what"`
	Next  string `json:"next,omitempty"`
}

// findings are what an examination has found, in the order of looking.
type findings struct {
	List []finding `json:"findings"`
	URL  string    `json:"page,omitempty"` // where other devices find the page
}

func (f *findings) good(area, format string, a ...any) {
	f.List = append(f.List, finding{Area: area, Level: findingGood, What: fmt.Sprintf(format, a...)})
}

func (f *findings) note(area, next, format string, a ...any) {
	f.List = append(f.List, finding{Area: area, Level: findingNote, What: fmt.Sprintf(format, a...), Next: next})
}

func (f *findings) bad(area, next, format string, a ...any) {
	f.List = append(f.List, finding{Area: area, Level: findingBad, What: fmt.Sprintf(format, a...), Next: next})
}

func (f *findings) count(level string) (n int) {
	for _, one := range f.List {
		if one.Level == level {
			n++
		}
	}
	return n
}

// doctorVerb looks at everything that the shop needs and says what to do about what is not right.
func doctorVerb() *cobra.Command {
	var path string
	var asJSON bool
	c := &cobra.Command{
		Use:   "doctor",
		Short: "Look at board, buses, chips, lines, disk, broker and page, and say what to do",
		Long: "Looks at everything that a shop file needs on this computer: the file, the board, its buses and whether the chips\n" +
			"answer, lines, rights, clock, supply, disk, broker, and the page's address. It reads only: nothing moves and no line\n" +
			"is driven. While the daemon runs, the buses are its own, and its alarms are shown in their place. Each finding that is\n" +
			"not good ends with what to do next. Exit code 0: nothing bad; 1: something is.",
		Example: "  ductwarden doctor\n  ductwarden doctor --config shop.yaml --json",
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			f := examine(c.Context(), newPatient(path))
			out := c.OutOrStdout()
			if asJSON {
				e := json.NewEncoder(out)
				e.SetIndent("", "  ")
				if err := e.Encode(f); err != nil {
					return err
				}
			} else if err := tellFindings(out, f, isTerminal(out)); err != nil {
				return err
			}
			if f.count(findingBad) > 0 {
				return errNo
			}
			return nil
		},
	}
	c.Flags().StringVar(&path, "config", usualConfig, "the shop file")
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	return c
}

// tellFindings prints what was found, a line each and its next step below; on a terminal also the page's address as
// a code that a telephone reads.
func tellFindings(w io.Writer, f *findings, terminal bool) error {
	for _, one := range f.List {
		fmt.Fprintf(w, "%-5s %-11s %s\n", one.Level, one.Area, one.What)
		if one.Next != "" {
			fmt.Fprintf(w, "%17s -> %s\n", "", one.Next)
		}
	}
	if f.URL != "" && terminal {
		code, err := qrcode.New(f.URL, qrcode.Low)
		if err != nil {
			return fmt.Errorf("the page's address as a code: %w", err)
		}
		fmt.Fprintf(w, "\n%s%s\n", code.ToSmallString(false), f.URL)
	}
	_, err := fmt.Fprintf(w, "\n%d good, %d to know, %d bad\n", f.count(findingGood), f.count(findingNote), f.count(findingBad))
	return err
}
