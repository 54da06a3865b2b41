package main

import (
	"archive/tar"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ductwarden/config"
	"ductwarden/controller/panel/api"
)

// mostArchived bounds each part of an archive: a journal of decades is smaller.
const mostArchived = 4 << 30

// restoreVerb brings an archive back.
func restoreVerb() *cobra.Command {
	var path string
	var over bool
	c := &cobra.Command{
		Use:   "restore ARCHIVE",
		Short: "Bring back shop file, fitted numbers and history from an archive",
		Long: "Brings back what `backup` has put away, while no daemon runs. What is there already is left alone and named, unless\n" +
			"--over is given. Onto another board it asks for each gate to be jogged again before Ready: the ends of a servo's way\n" +
			"depend on the board's oscillator. Passwords are set anew.",
		Example: "  ductwarden restore shop.tar.gz\n  ductwarden restore shop.tar.gz --config /etc/ductwarden/shop.yaml --over",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return restore(c.Context(), args[0], path, over, c.OutOrStdout())
		},
	}
	c.Flags().StringVar(&path, "config", usualConfig, "where the shop file goes")
	c.Flags().BoolVar(&over, "over", false, "replace what is there")
	return c
}

func restore(ctx context.Context, archive, configPath string, over bool, out io.Writer) error {
	if err := os.MkdirAll(filepath.Dir(configPath), 0o750); err != nil {
		return fmt.Errorf("restore: %w", err)
	}
	work, err := os.MkdirTemp(filepath.Dir(configPath), ".restore-*")
	if err != nil {
		return fmt.Errorf("restore: %w; run it as a user who may write there, such as root", err)
	}
	defer os.RemoveAll(work)
	from, err := unpack(archive, work)
	if err != nil {
		return fmt.Errorf("%s is no whole archive of `ductwarden backup`: %w; take another copy of it", archive, err)
	}
	s, err := config.Load(filepath.Join(work, archiveShop))
	if err != nil {
		return fmt.Errorf("the shop file in the archive: %w", err)
	}
	if err := nobodyRuns(ctx, s); err != nil {
		return err
	}
	moves := [][2]string{{archiveShop, configPath}, {archiveFitted, filepath.Join(filepath.Dir(configPath), config.FittedName)}, {archiveJournal, s.Journal.Path}}
	var inTheWay []string
	for _, m := range moves {
		if isThere(filepath.Join(work, m[0])) && m[1] != "" && isThere(m[1]) {
			inTheWay = append(inTheWay, m[1])
		}
	}
	if len(inTheWay) > 0 && !over {
		return fmt.Errorf("there already: %s; move them away, or restore with --over", strings.Join(inTheWay, ", "))
	}
	for _, m := range moves {
		if part := filepath.Join(work, m[0]); isThere(part) && m[1] != "" {
			if err := putBack(part, m[1]); err != nil {
				return fmt.Errorf("restore: %w", err)
			}
			fmt.Fprintf(out, "%s\n", m[1])
		}
	}
	return tellRestored(out, s, from)
}

// tellRestored says what the archive was, and what a person does before Ready.
func tellRestored(out io.Writer, s *config.Shop, from about) error {
	fmt.Fprintf(out, "%s, put away on %s by version %s.\n", from.Shop, from.Made.Format(time.DateOnly), from.Version)
	if here := boardHash(); here == "" || here != from.Board {
		var jogged []string
		for _, g := range s.Gates {
			if g.Actuator.Servo != nil || g.Actuator.Relay != nil {
				jogged = append(jogged, "  ductwarden jog "+g.ID)
			}
		}
		if len(jogged) > 0 {
			fmt.Fprintf(out, "This is another board. Before Ready, jog each gate to both ends again:\n%s\n", strings.Join(jogged, "\n"))
			if s.Duty.OnDutyAfterPowerUp {
				fmt.Fprintln(out, "The file goes on duty by itself after power-up: write duty: {after_power_up: wait} until that is done.")
			}
		}
	}
	_, err := fmt.Fprintln(out, "Then: ductwarden doctor")
	return err
}

// nobodyRuns refuses while a daemon writes what would be replaced.
func nobodyRuns(ctx context.Context, s *config.Shop) error {
	ctx, cancel := context.WithTimeout(ctx, 2*time.Second)
	defer cancel()
	if _, err := api.Dial(s.Console.Socket).Snapshot(ctx); err == nil {
		return errors.New("the daemon runs: end it first (sudo systemctl stop ductwarden)")
	}
	return nil
}

// putBack moves a file to its place. It belongs to whoever the folder belongs to, so that the service can read it.
func putBack(from, to string) error {
	if err := os.MkdirAll(filepath.Dir(to), 0o750); err != nil {
		return err
	}
	for _, side := range []string{to + "-wal", to + "-shm"} { // of a journal that was there
		if err := os.Remove(side); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	f, err := os.CreateTemp(filepath.Dir(to), ".restore-*")
	if err != nil {
		return err
	}
	_, err = io.Copy(f, in)
	if err := errors.Join(err, f.Chmod(0o640), f.Sync(), f.Close(), ownedAsFolder(f.Name())); err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return os.Rename(f.Name(), to)
}

// unpack reads the known parts of an archive into a folder; anything else in it is an error.
func unpack(archive, folder string) (about, error) {
	var a about
	f, err := os.Open(archive)
	if err != nil {
		return a, err
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		return a, err
	}
	known := map[string]bool{archiveAbout: true, archiveShop: true, archiveFitted: true, archiveJournal: true}
	for t := tar.NewReader(z); ; {
		h, err := t.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return a, err
		}
		if !known[h.Name] || h.Typeflag != tar.TypeReg || h.Size > mostArchived {
			return a, fmt.Errorf("%q does not belong into it", h.Name)
		}
		known[h.Name] = false // each once
		part, err := os.OpenFile(filepath.Join(folder, h.Name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		if err != nil {
			return a, err
		}
		_, err = io.Copy(part, t)
		if err := errors.Join(err, part.Close()); err != nil {
			return a, err
		}
	}
	note, err := os.ReadFile(filepath.Join(folder, archiveAbout))
	if err != nil {
		return a, errors.New("it does not say where it comes from")
	}
	if err := json.Unmarshal(note, &a); err != nil {
		return a, err
	}
	if a.Format != 1 {
		return a, fmt.Errorf("format %d is newer than this program; install the version that made it", a.Format)
	}
	return a, nil
}
