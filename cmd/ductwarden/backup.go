package main

import (
	"archive/tar"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/hex"
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
	"ductwarden/controller/journal"
)

// Names inside an archive.
const (
	archiveAbout   = "about.json"
	archiveShop    = "shop.yaml"
	archiveFitted  = config.FittedName
	archiveJournal = "journal.db"
)

// about says where an archive comes from. It holds no secret: the board is a hash.
type about struct {
	Format  int       `json:"format"` // 1
	Version string    `json:"version"`
	Made    time.Time `json:"made"`
	Shop    string    `json:"shop"`
	Board   string    `json:"board"` // hash of the machine's id; empty: unknown
}

// boardHash names this computer without giving its id away. Variable for tests: two boards in one computer.
var boardHash = func() string {
	for _, path := range []string{"/etc/machine-id", "/var/lib/dbus/machine-id"} {
		if id, err := os.ReadFile(path); err == nil && len(strings.TrimSpace(string(id))) > 0 {
			sum := sha256.Sum256([]byte("ductwarden board " + strings.TrimSpace(string(id))))
			return hex.EncodeToString(sum[:8])
		}
	}
	return ""
}

// backupVerb puts into one archive what cannot be made again.
func backupVerb() *cobra.Command {
	var path string
	c := &cobra.Command{
		Use:   "backup ARCHIVE",
		Short: "Put shop file, fitted numbers and history into one archive",
		Long: "Writes one archive with the shop file, the fitted numbers and a whole copy of the journal, also while the daemon\n" +
			"runs. Passwords, tokens and the broker's secret are not in it; names and working hours are. `restore` brings it back.",
		Example: "  ductwarden backup shop.tar.gz",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			s, err := config.Load(path)
			if err != nil {
				return err
			}
			held, err := makeArchive(c.Context(), s, path, args[0])
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(c.OutOrStdout(), "%s holds: %s\nNot in it: passwords, tokens, the broker's secret. Keep it on another device.\n", args[0], strings.Join(held, ", "))
			return err
		},
	}
	c.Flags().StringVar(&path, "config", usualConfig, "the shop file")
	return c
}

// makeArchive writes the archive beside its name first, so that a name is either a whole archive or not there.
func makeArchive(ctx context.Context, s *config.Shop, configPath, to string) (held []string, err error) {
	if _, err := os.Stat(to); err == nil {
		return nil, fmt.Errorf("%s is there already: move it away, or choose another name", to)
	}
	work, err := os.MkdirTemp(filepath.Dir(to), ".backup-*")
	if err != nil {
		return nil, fmt.Errorf("backup: %w", err)
	}
	defer os.RemoveAll(work)
	whole := filepath.Join(work, "whole")
	f, err := os.OpenFile(whole, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return nil, fmt.Errorf("backup: %w", err)
	}
	defer f.Close()
	z := gzip.NewWriter(f)
	t := tar.NewWriter(z)
	note, err := json.Marshal(about{Format: 1, Version: version, Made: time.Now().UTC().Truncate(time.Second), Shop: s.Name, Board: boardHash()})
	if err != nil {
		return nil, err
	}
	put := func(name string, text []byte) error {
		held = append(held, name)
		return putEntry(t, name, int64(len(text)), strings.NewReader(string(text)))
	}
	if err := errors.Join(put(archiveAbout, note), put(archiveShop, s.Text)); err != nil {
		return nil, fmt.Errorf("backup: %w", err)
	}
	if fitted, err := os.ReadFile(filepath.Join(filepath.Dir(configPath), config.FittedName)); err == nil {
		if err := put(archiveFitted, fitted); err != nil {
			return nil, fmt.Errorf("backup: %w", err)
		}
	}
	if s.Journal.Path != "" && isThere(s.Journal.Path) {
		copied := filepath.Join(work, archiveJournal)
		if err := copyJournal(ctx, s.Journal.Path, copied); err != nil {
			return nil, err
		}
		if err := putFile(t, archiveJournal, copied); err != nil {
			return nil, fmt.Errorf("backup: %w", err)
		}
		held = append(held, archiveJournal)
	}
	if err := errors.Join(t.Close(), z.Close(), f.Sync(), f.Close(), os.Rename(whole, to)); err != nil {
		return nil, fmt.Errorf("backup: %w", err)
	}
	return held, nil
}

func copyJournal(ctx context.Context, from, to string) error {
	book, err := journal.Read(from)
	if err != nil {
		return err
	}
	defer book.Close()
	return book.CopyTo(ctx, to)
}

func putFile(t *tar.Writer, name, path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return err
	}
	return putEntry(t, name, st.Size(), f)
}

func putEntry(t *tar.Writer, name string, size int64, from io.Reader) error {
	if err := t.WriteHeader(&tar.Header{Name: name, Mode: 0o600, Size: size, ModTime: time.Now()}); err != nil {
		return err
	}
	_, err := io.Copy(t, from)
	return err
}
