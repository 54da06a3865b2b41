package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ductwarden/config"
	"ductwarden/controller/simshop"
)

func learnVerb() *cobra.Command {
	var f benchFlags
	var asJSON bool
	var fault string
	c := &cobra.Command{
		Use:   "learn MACHINE",
		Short: "Learn what a machine's current looks like, and its run-down",
		Long: "Listens to a machine's clamp while you leave it off, start it, let it run and switch it off, and times its run-down by\n" +
			"your stopwatch. It notices a clamp round the whole cable, a dead clamp, a lamp left on, a drive, a brake and a clipped\n" +
			"input, and proposes `running`, `idle` and `run_down` with their margins. The shop file is changed only when you have\n" +
			"seen the change and said yes; comments and order stay. A running daemon is asked over its console and must be off\n" +
			"duty; it is not disturbed otherwise. Enter goes on, `a` begins again, `q` ends. A line that is a time, like 6s, waits\n" +
			"so long and then goes on: for scripts.",
		Example: "  ductwarden learn \"table saw\"\n  ductwarden learn saw --rehearse --config shop.yaml\n  ductwarden learn saw --rehearse --fault whole-cable",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if err := f.check(); err != nil {
				return err
			}
			s, err := f.loadBench()
			if err != nil {
				return err
			}
			if s.play, err = rehearsedFault(fault, f.rehearse, s.file, args[0]); err != nil {
				return err
			}
			w, err := f.open(c.Context(), s)
			if err != nil {
				return err
			}
			talk, out := c.OutOrStdout(), io.Discard
			if asJSON {
				talk, out = c.ErrOrStderr(), c.OutOrStdout()
			}
			l := learner{desk: w, typist: newTypist(c.InOrStdin()), out: talk, path: f.path(), edits: s.edits, rehearsed: f.rehearse, live: isTerminal(talk), glance: f.glance()}
			v, err := l.run(c.Context(), args[0], w.where)
			if e := w.Close(); err == nil {
				err = e
			}
			if err == nil && asJSON && v != nil {
				e := json.NewEncoder(out)
				e.SetIndent("", "  ")
				err = e.Encode(v)
			}
			if err == nil && (v == nil || v.Proposal == nil) {
				err = errNo
			}
			return err
		},
	}
	f.add(c)
	c.Flags().StringVar(&fault, "fault", "", "with --rehearse: what is wrong with the simulated machine: "+strings.Join(faultNames(), ", "))
	c.Flags().BoolVar(&asJSON, "json", false, "print what was learnt as JSON; the talk goes to stderr")
	return c
}

// faults of a simulated machine, so that a newcomer has met them before there is metal.
var faults = []struct {
	name string
	do   func(s *simshop.Shop, machine int)
}{
	{"whole-cable", func(s *simshop.Shop, m int) { s.BreakClamp(m, simshop.ClampOnCable) }},
	{"plug-out", func(s *simshop.Shop, m int) { s.BreakClamp(m, simshop.ClampUnplugged) }},
	{"frozen", func(s *simshop.Shop, m int) { s.BreakClamp(m, simshop.ClampFrozen) }},
	{"lamp", func(s *simshop.Shop, m int) { s.Lamp(m, 0.5) }},
	{"drive", func(s *simshop.Shop, m int) { s.Lamp(m, 0.12); s.Drive(m) }},
	{"brake", func(s *simshop.Shop, m int) { s.Brake(m, 3*time.Second) }},
}

func faultNames() (names []string) {
	for _, f := range faults {
		names = append(names, f.name)
	}
	return names
}

// rehearsedFault puts a fault into a rehearsal.
func rehearsedFault(name string, rehearsed bool, file *config.Shop, machine string) (scenery, error) {
	if name == "" {
		return nil, nil
	}
	if !rehearsed {
		return nil, usageError{errors.New("--fault goes with --rehearse: a real machine brings its own")}
	}
	for _, f := range faults {
		if f.name != name {
			continue
		}
		return func(sim *simshop.Shop, _ int, _ time.Duration) {
			for i := range file.Machines {
				if file.Machines[i].ID == machine || strings.EqualFold(file.Machines[i].Name, machine) {
					f.do(sim, i)
				}
			}
		}, nil
	}
	return nil, usageError{fmt.Errorf("there is no fault %q: %s", name, strings.Join(faultNames(), ", "))}
}
