package main

import (
	"archive/zip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"time"

	"github.com/spf13/cobra"

	"ductwarden/config"
	"ductwarden/controller/journal"
	"ductwarden/controller/panel/api"
)

// diagnosticsVerb puts into one archive what somebody who helps wants to see, and no secret.
func diagnosticsVerb() *cobra.Command {
	var path string
	c := &cobra.Command{
		Use:   "diagnostics ARCHIVE",
		Short: "Put what a helper wants to see into one archive, without secrets",
		Long: "Writes one archive with the version, what doctor finds, the shop file, the state now, the latest events and the\n" +
			"service's latest lines. Passwords, tokens, keys and set-up codes are taken out, also where they were written into a\n" +
			"comment. Names of the shop and its machines and the times of work stay: look through it before you give it away.",
		Example: "  ductwarden diagnostics help.zip",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			held, err := bundle(c.Context(), path, args[0], serviceLines)
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(c.OutOrStdout(), "%s holds %d parts. Look through it before you give it away.\n", args[0], held)
			return err
		},
	}
	c.Flags().StringVar(&path, "config", usualConfig, "the shop file")
	return c
}

// serviceLines are the service's latest lines, where the service manager keeps them.
func serviceLines(ctx context.Context) []byte {
	out, err := exec.CommandContext(ctx, "journalctl", "--unit=ductwarden", "--lines=500", "--no-pager", "--output=short-iso").CombinedOutput()
	if err != nil {
		return fmt.Appendf(out, "journalctl: %v\n", err)
	}
	return out
}

// mostEventsTold bounds the events in a bundle.
const mostEventsTold = 500

// bundle writes the archive. Every part passes the same cleaning.
func bundle(ctx context.Context, configPath, to string, lines func(context.Context) []byte) (parts int, err error) {
	ctx, cancel := context.WithTimeout(ctx, 30*time.Second)
	defer cancel()
	s, loadErr := config.Load(configPath)
	f, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return 0, fmt.Errorf("diagnostics: %w; choose a name that is not there yet", err)
	}
	defer f.Close()
	z := zip.NewWriter(f)
	clean := cleaner(s)
	put := func(name string, text []byte) {
		if err != nil || len(text) == 0 {
			return
		}
		var w io.Writer
		if w, err = z.Create(name); err == nil {
			_, err = w.Write(clean(text))
			parts++
		}
	}
	put("version.txt", fmt.Appendf(nil, "ductwarden %s, %s, %s/%s, made %s\n", version, runtime.Version(), runtime.GOOS, runtime.GOARCH, time.Now().UTC().Format(time.RFC3339)))
	put("doctor.json", marshalled(examine(ctx, newPatient(configPath))))
	if loadErr != nil {
		put("check.txt", []byte(loadErr.Error()+"\n"))
	}
	shop, _ := os.ReadFile(configPath)
	put("shop.yaml", shop)
	fitted, _ := os.ReadFile(filepath.Join(filepath.Dir(configPath), config.FittedName))
	put("fitted.yaml", fitted)
	if s != nil {
		if now, err := api.Dial(s.Console.Socket).Snapshot(ctx); err == nil {
			put("state.json", marshalled(now))
		}
		put("events.json", latestEvents(s))
	}
	put("service.txt", lines(ctx))
	return parts, errors.Join(err, z.Close(), f.Close())
}

func marshalled(v any) []byte {
	b, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return []byte(err.Error())
	}
	return b
}

// latestEvents are the latest of the journal, without words that people typed.
func latestEvents(s *config.Shop) []byte {
	if s.Journal.Path == "" || !isThere(s.Journal.Path) {
		return nil
	}
	book, err := journal.Read(s.Journal.Path)
	if err != nil {
		return []byte(err.Error())
	}
	defer book.Close()
	changes, err := book.Changes("", time.Now().AddDate(0, -1, 0), time.Now(), mostEventsTold)
	if err != nil {
		return []byte(err.Error())
	}
	return marshalled(changes)
}
