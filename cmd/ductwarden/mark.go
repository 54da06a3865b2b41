package main

import (
	"crypto/rand"
	"encoding/json"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"ductwarden/controller/panel/api"
)

// send asks the daemon for one thing and says what became of it.
func (f *consoleFlags) send(c *cobra.Command, r api.Request, done string) error {
	client, err := f.client()
	if err != nil {
		return err
	}
	r.Key = rand.Text()
	a, err := client.Ask(c.Context(), r)
	switch {
	case err != nil:
		return err
	case f.json:
		if err := json.NewEncoder(c.OutOrStdout()).Encode(a); err != nil {
			return err
		}
		if !a.Accepted {
			return errNo
		}
	case !a.Accepted:
		return fmt.Errorf("refused: %s", a.Reason)
	default:
		fmt.Fprintln(c.OutOrStdout(), done)
	}
	return nil
}

// markVerb tells the journal what a person has done.
func markVerb() *cobra.Command {
	var f consoleFlags
	var collector, note string
	c := &cobra.Command{
		Use:   "mark bin_emptied|filter_cleaned|filter_replaced",
		Short: "Tell the journal that the bin was emptied, or the filter cleaned or replaced",
		Long: "Writes what was done, with its time, into the journal of the running daemon, as the button beside the collector\n" +
			"and the page do. Reminders count from it. Bin and filter are opened with the disconnect switched off and locked,\n" +
			"when the wheel stands.",
		Example:   "  ductwarden mark bin_emptied\n  ductwarden mark filter_cleaned --collector collector --note \"shaken, a litre of dust\"",
		Args:      cobra.MatchAll(cobra.ExactArgs(1), cobra.OnlyValidArgs),
		ValidArgs: []string{"bin_emptied", "filter_cleaned", "filter_replaced"},
		RunE: func(c *cobra.Command, args []string) error {
			return f.send(c, api.Request{Action: args[0], Target: collector, Value: note}, "noted: "+strings.ReplaceAll(args[0], "_", " "))
		},
	}
	c.Flags().StringVar(&collector, "collector", "", "its id, where there are several")
	c.Flags().StringVar(&note, "note", "", "anything worth keeping")
	f.add(c)
	return c
}

// shelveVerb puts an alarm away for a while.
func shelveVerb() *cobra.Command {
	var f consoleFlags
	var length, reason string
	c := &cobra.Command{
		Use:   "shelve ALARM --for TIME --reason WHY",
		Short: "Put an alarm away for a while, with a reason",
		Long: "An alarm that is known and cannot be mended now is put away: it no longer sounds and no longer stands first, is\n" +
			"counted meanwhile, and comes back by itself after the time (8 h at most). What it blocks stays blocked.\n" +
			"`ductwarden status` lists the alarms with their keys.",
		Example: "  ductwarden shelve filter_loaded/collector --for 2h --reason \"the new filter comes at noon\"",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return f.send(c, api.Request{Action: "shelve", Target: args[0], Value: length + " " + reason}, "put away for "+length)
		},
	}
	c.Flags().StringVar(&length, "for", "1h", "how long, up to 8h")
	c.Flags().StringVar(&reason, "reason", "", "why; needed")
	f.add(c)
	return c
}
