package main

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"ductwarden/config"
)

// eraseVerb removes what tells of people.
func eraseVerb() *cobra.Command {
	var path string
	var history, passwords, names, yes bool
	c := &cobra.Command{
		Use:   "erase",
		Short: "Remove the history, the passwords, the names, before a board is given away",
		Long: "Removes, while no daemon runs: --history, the journal (when somebody worked, and what they did); --passwords, the\n" +
			"page's hashes, sessions and tokens, and the broker's secret; --names, the shop file with the names in it, its fitted\n" +
			"numbers, and the list of what home automation was told. The budget of motor starts stays. A memory card keeps parts of\n" +
			"what was removed until it is written over: destroy it where that matters.",
		Example: "  ductwarden erase --history\n  ductwarden erase --history --passwords --names --yes",
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if !history && !passwords && !names {
				return usageError{errors.New("say what to erase: --history, --passwords, --names")}
			}
			s, err := config.Load(path)
			if err != nil {
				return err
			}
			if err := nobodyRuns(c.Context(), s); err != nil {
				return err
			}
			var gone []string
			for _, p := range erased(s, path, history, passwords, names) {
				if isThere(p) {
					gone = append(gone, p)
				}
			}
			out := c.OutOrStdout()
			fmt.Fprintf(out, "To be removed: %s\n", strings.Join(gone, ", "))
			if !yes {
				fmt.Fprint(out, "There is no way back but a backup. Type erase to go on: ")
				said, _ := bufio.NewReader(c.InOrStdin()).ReadString('\n')
				if strings.TrimSpace(said) != "erase" {
					return errors.New("nothing was removed")
				}
			}
			for _, p := range gone {
				if err := os.Remove(p); err != nil {
					return fmt.Errorf("erase: %w; run it as root", err)
				}
			}
			_, err = fmt.Fprintf(out, "Removed: %d\n", len(gone))
			return err
		},
	}
	c.Flags().StringVar(&path, "config", usualConfig, "the shop file")
	c.Flags().BoolVar(&history, "history", false, "the journal")
	c.Flags().BoolVar(&passwords, "passwords", false, "passwords, sessions, tokens, the broker's secret")
	c.Flags().BoolVar(&names, "names", false, "the shop file and what was made from it")
	c.Flags().BoolVar(&yes, "yes", false, "do not ask")
	return c
}

// credentialStore is where the service manager keeps the broker's secret for this service.
const credentialStore = "/etc/credstore/ductwarden.mqtt-password"

// erased lists the files of each kind.
func erased(s *config.Shop, configPath string, history, passwords, names bool) (out []string) {
	if history && s.Journal.Path != "" {
		out = append(out, s.Journal.Path, s.Journal.Path+"-wal", s.Journal.Path+"-shm")
	}
	if passwords {
		out = append(out, s.Page.Access)
		if s.MQTT != nil {
			out = append(out, credentialStore)
			if s.MQTT.PasswordFile != "" {
				out = append(out, s.MQTT.PasswordFile)
			}
		}
	}
	if names {
		out = append(out, configPath, filepath.Join(filepath.Dir(configPath), config.FittedName), publishedMemory(s))
	}
	return out
}
