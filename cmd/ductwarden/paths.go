package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"ductwarden/config"
)

// place is one file or folder that the program uses.
type place struct {
	What  string `json:"what"`
	Path  string `json:"path"`
	Holds string `json:"holds"`
	There bool   `json:"there"`
}

// places lists what a shop's daemon reads and writes.
func places(s *config.Shop, configPath string) []place {
	var out []place
	add := func(what, path, holds string) {
		if path == "" {
			return
		}
		_, err := os.Stat(path)
		out = append(out, place{what, path, holds, err == nil})
	}
	add("shop file", configPath, "the shop; the one thing that you write")
	add("fitted numbers", filepath.Join(filepath.Dir(configPath), config.FittedName), "the air model brought to readings")
	add("journal", s.Journal.Path, "history: hours, starts, faults, what people did")
	add("starts", s.Starts, "when motors were started, so that a restart forgets none")
	add("page access", s.Page.Access, "hashes of passwords, sessions and tokens")
	if s.MQTT != nil {
		add("broker password", s.MQTT.PasswordFile, "a secret")
		add("published", publishedMemory(s), "what home automation was told, so that it can be cleared")
	}
	add("console socket", s.Console.Socket, "how ready, status and the others speak to the daemon")
	return out
}

// publishedMemory is where the broker's part keeps what it has announced.
func publishedMemory(s *config.Shop) string {
	return filepath.Join(filepath.Dir(s.Starts), "published")
}

// pathsVerb says where everything is.
func pathsVerb() *cobra.Command {
	var path string
	var asJSON bool
	c := &cobra.Command{
		Use: "paths", Short: "Show which files the shop's daemon reads and writes", Args: cobra.NoArgs,
		Example: "  ductwarden paths\n  ductwarden paths --config shop.yaml --json",
		RunE: func(c *cobra.Command, _ []string) error {
			s, err := config.Load(path)
			if _, none := os.Stat(path); errors.Is(none, fs.ErrNotExist) { // before there is a shop file: what one without paths of its own means
				s, err = config.Parse(path, strings.NewReader("gates: [{name: gate, actuator: hand}]"))
			}
			if err != nil {
				return err
			}
			all := places(s, path)
			if asJSON {
				return json.NewEncoder(c.OutOrStdout()).Encode(map[string]any{"version": version, "paths": all})
			}
			for _, p := range all {
				not := ""
				if !p.There {
					not = " (not there yet)"
				}
				fmt.Fprintf(c.OutOrStdout(), "%-15s %s%s\n%16s%s\n", p.What, p.Path, not, "", p.Holds)
			}
			return nil
		},
	}
	c.Flags().StringVar(&path, "config", usualConfig, "the shop file")
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	return c
}
