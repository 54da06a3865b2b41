package journal

import (
	"database/sql"
	"embed"
	"fmt"
	"io/fs"
	"net/url"
	"path"
	"slices"
	"strconv"
	"strings"

	_ "modernc.org/sqlite" // the driver: SQLite in plain Go, so that it builds for every board
)

//go:embed schema/*.sql
var schema embed.FS

// openFile opens or makes the file and brings its schema up to date. readOnly opens an existing one beside a
// running daemon.
func openFile(file string, readOnly bool) (*sql.DB, error) {
	u := url.URL{Scheme: "file", Opaque: (&url.URL{Path: file}).EscapedPath()}
	q := url.Values{"_pragma": {"busy_timeout(1000)", "foreign_keys(1)"}, "_txlock": {"immediate"}}
	if readOnly {
		q.Set("mode", "ro")
	} else {
		// Small pages: a commit touches a few rows in each of many tables, and a card wears by what is written.
		// Full synchronisation: a commit that has returned survives a power cut; with the few commits of a shop
		// day it costs nothing that anybody would notice.
		q["_pragma"] = append([]string{"page_size(1024)"}, append(q["_pragma"], "journal_mode(wal)", "synchronous(full)", "wal_autocheckpoint(1000)")...)
	}
	u.RawQuery = q.Encode()
	db, err := sql.Open("sqlite", u.String())
	if err != nil {
		return nil, fmt.Errorf("journal %s: %w", file, err)
	}
	db.SetMaxOpenConns(1) // one writer; SQLite would make a second wait anyhow
	if readOnly {
		if err := db.Ping(); err != nil {
			db.Close()
			return nil, fmt.Errorf("journal %s: %w; is the path right, and has the daemon run once?", file, err)
		}
		return db, nil
	}
	if err := migrate(db); err != nil {
		db.Close()
		return nil, fmt.Errorf("journal %s: %w; check the folder's permissions and the space on the card, or move a damaged file away to begin a new one", file, err)
	}
	return db, nil
}

// migrate applies the numbered files that the journal has not seen, each in a transaction of its own.
func migrate(db *sql.DB) error {
	var have int
	if err := db.QueryRow("PRAGMA user_version").Scan(&have); err != nil {
		return err
	}
	names, err := fs.Glob(schema, "schema/*.sql")
	if err != nil {
		return err
	}
	slices.Sort(names)
	if have > len(names) {
		return fmt.Errorf("it was written by a newer version of this program (schema %d, this one knows %d)", have, len(names))
	}
	for _, name := range names {
		n, err := strconv.Atoi(strings.TrimSuffix(path.Base(name), ".sql"))
		if err != nil {
			return err
		}
		if n <= have {
			continue
		}
		text, err := schema.ReadFile(name)
		if err != nil {
			return err
		}
		tx, err := db.Begin()
		if err != nil {
			return err
		}
		if _, err := tx.Exec(string(text)); err != nil {
			tx.Rollback()
			return fmt.Errorf("schema %d: %w", n, err)
		}
		if _, err := tx.Exec("PRAGMA user_version = " + strconv.Itoa(n)); err != nil {
			tx.Rollback()
			return err
		}
		if err := tx.Commit(); err != nil {
			return err
		}
	}
	return nil
}
