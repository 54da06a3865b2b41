package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/panel/api"
)

// usualSocket is where the daemon's console socket is unless its shop file says otherwise.
const usualSocket = "/run/ductwarden/console.sock"

// consoleFlags say which daemon is meant.
type consoleFlags struct {
	socket, config string
	json           bool
}

func (f *consoleFlags) add(c *cobra.Command) {
	c.Flags().StringVar(&f.socket, "socket", "", "the daemon's console socket (default "+usualSocket+")")
	c.Flags().StringVar(&f.config, "config", "", "the daemon's shop file, which names its socket")
	c.Flags().BoolVar(&f.json, "json", false, "print the answer as JSON")
}

// client finds the daemon.
func (f *consoleFlags) client() (*api.Client, error) {
	switch {
	case f.socket != "":
		return api.Dial(f.socket), nil
	case f.config != "":
		s, err := config.Load(f.config)
		if err != nil {
			return nil, err
		}
		return api.Dial(s.Console.Socket), nil
	}
	return api.Dial(usualSocket), nil
}

// askVerb is a verb that sends one request to the daemon.
func askVerb(action, use, short, long, done string) *cobra.Command {
	var f consoleFlags
	c := &cobra.Command{
		Use: use, Short: short, Long: long, Args: cobra.NoArgs,
		Example: "  ductwarden " + action,
		RunE: func(c *cobra.Command, _ []string) error {
			return f.send(c, api.Request{Action: action}, done)
		},
	}
	f.add(c)
	return c
}

func readyVerb() *cobra.Command {
	return askVerb("ready", "ready", "Go on duty: the automatic may move gates and start the collector",
		"Go on duty, as the Ready button does. Look first that nobody has a hand in a gate or in the collector:\nboth may move at any time from then on.",
		"on duty")
}

func haltVerb() *cobra.Command {
	return askVerb("halt", "halt", "Stop the collector at once and latch; Ready is needed afterwards",
		"Stop the collector at once, leave the gates as they are, and latch. This is no emergency stop: use the one\nat the machine. `ductwarden ready` goes on duty again.",
		"halted: the start lines are off; a wheel that turns takes a while to stop")
}

func finishVerb() *cobra.Command {
	return askVerb("finish", "finish", "Clear the ducts and stop the collector now; stay on duty",
		"Clear the ducts and stop the collector now instead of lingering. The automatic stays on duty.",
		"finishing: the collector stops when the ducts are clear")
}

func acknowledgeVerb() *cobra.Command {
	return askVerb("acknowledge", "acknowledge", "Acknowledge all alarms",
		"Acknowledge all alarms. What is still wrong stays on the list; what is latched is let go once its cause is gone.",
		"acknowledged")
}

func statusVerb() *cobra.Command {
	var f consoleFlags
	c := &cobra.Command{
		Use: "status", Short: "Show what the running daemon does now, and why", Args: cobra.NoArgs,
		Example: "  ductwarden status\n  ductwarden status --json",
		RunE: func(c *cobra.Command, _ []string) error {
			client, err := f.client()
			if err != nil {
				return err
			}
			s, err := client.Snapshot(c.Context())
			if err != nil {
				return err
			}
			if f.json {
				e := json.NewEncoder(c.OutOrStdout())
				e.SetIndent("", "  ")
				return e.Encode(s)
			}
			printStatus(c.OutOrStdout(), s)
			return nil
		},
	}
	f.add(c)
	return c
}

// printStatus writes the state as plain lines.
func printStatus(w io.Writer, s *controller.Snapshot) {
	fmt.Fprintf(w, "%s: %s\n", s.Shop, orMode(s))
	for i := range s.Collectors {
		c := &s.Collectors[i]
		fmt.Fprintf(w, "%-18s %s\n", c.Name, collectorLine(c))
	}
	for i := range s.Machines {
		m := &s.Machines[i]
		fmt.Fprintf(w, "%-18s %s\n", m.Name, machineLine(m))
	}
	for i := range s.Gates {
		g := &s.Gates[i]
		fmt.Fprintf(w, "gate %-13s %s\n", g.Name, gateLine(g))
	}
	for i := range s.Alarms {
		a := &s.Alarms[i]
		fmt.Fprintf(w, "alarm (%s, %s): %s. To do: %s. [%s]\n", a.Priority, a.State, a.Text, a.ToDo, a.Key)
	}
	for i := range s.Shelved {
		a := &s.Shelved[i]
		fmt.Fprintf(w, "shelved for %s (%s): %s. [%s]\n", countdown(a.LeftMS), a.Reason, a.Text, a.Key)
	}
}

// orMode is what the automatic does, or at least its mode.
func orMode(s *controller.Snapshot) string {
	if s.Why == "" {
		return plainWord(s.Mode)
	}
	return s.Why
}

// plainWord is a word of the snapshot as a person reads it.
func plainWord(w string) string { return strings.ReplaceAll(w, "_", " ") }

func collectorLine(c *controller.CollectorSnapshot) string {
	parts := []string{plainWord(c.Phase)}
	if c.LeftMS > 0 {
		parts[0] += " for " + countdown(c.LeftMS)
	}
	if c.Why != "" {
		parts = append(parts, c.Why)
	}
	if c.Margin != nil {
		parts = append(parts, fmt.Sprintf("%s, margin %+.0f %%", c.Transport, *c.Margin*100))
	}
	if c.StartsHour > 0 {
		parts = append(parts, fmt.Sprintf("%d of %d starts left this hour", c.StartsLeft, c.StartsHour))
	}
	if c.RestMS > 0 {
		parts = append(parts, "may start in "+countdown(c.RestMS))
	}
	return strings.Join(parts, "; ")
}

func machineLine(m *controller.MachineSnapshot) string {
	parts := []string{plainWord(m.State)}
	if m.LeftMS > 0 {
		parts[0] += " for " + countdown(m.LeftMS)
	}
	if m.CurrentA != nil {
		parts = append(parts, fmt.Sprintf("%.1f A", *m.CurrentA))
	}
	if m.Share != nil {
		parts = append(parts, fmt.Sprintf("%.0f %% of its air", *m.Share*100))
	}
	if m.Unserved {
		parts = append(parts, "makes dust without its air")
	}
	if m.Health != "" && m.Health != "good" {
		parts = append(parts, "sensor "+plainWord(m.Health))
	}
	return strings.Join(parts, ", ")
}

func gateLine(g *controller.GateSnapshot) string {
	line := plainWord(g.State)
	switch {
	case g.Proved:
		line += " (seen by its switch)"
	case g.Hand:
		line += " (slid by hand)"
	}
	if g.Role != "" {
		line += ", " + g.Role
	}
	if g.Selector != "automatic" {
		line += ", " + plainWord(g.Selector)
	}
	return line
}

// countdown writes a remaining time: 42 s, 3:05 min.
func countdown(ms int64) string {
	s := (ms + 999) / 1000
	if s < 100 {
		return fmt.Sprintf("%d s", s)
	}
	return fmt.Sprintf("%d:%02d min", s/60, s%60)
}
