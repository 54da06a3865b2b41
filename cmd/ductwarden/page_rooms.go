package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/bench"
	"ductwarden/controller/cautions"
	"ductwarden/controller/journal"
	"ductwarden/controller/panel/access"
	"ductwarden/controller/panel/api"
)

// rooms are what page and console show beside the loop.
type rooms struct {
	store   *access.Store
	air     *airRoom
	history api.History
	file    api.File
	witness api.Witness
	read    []string // cautions to be read before Ready
}

// shopText is a shop file as a whole: one on disk, or a rehearsal's in memory.
type shopText interface {
	bench.File
	text() ([]byte, error)
	replace(text []byte) error
}

// furnish makes the rooms of a daemon. book is nil where no journal is kept.
func (d *daemon) furnish(store *access.Store, file shopText, book *scribe) {
	d.rooms = rooms{store: store, file: editedFile{file}, air: newAirRoom(d.file, file)}
	if book != nil {
		d.rooms.witness, d.rooms.history = book, bookHistory{d.file.Journal.Path}
	}
}

// askCautions has every caution ticked before Ready is taken from the page.
func (d *daemon) askCautions() {
	for _, c := range cautions.At(cautions.Page) {
		d.rooms.read = append(d.rooms.read, c.Key)
	}
}

// api is what page and console serve under /api/v1.
func (d *daemon) api(by controller.Source) *api.Server {
	s := &api.Server{Live: pageLive{d.loop}, Desk: reloadDesk{pageDesk{d.loop, d.shop, by}, d.reload}, Recent: pageRecent{d.loop, words{d.shop}}, Bench: d.bench,
		History: d.rooms.history, File: d.rooms.file, Store: d.rooms.store, Witness: d.rooms.witness, MustRead: d.rooms.read}
	if d.rooms.air != nil { // a nil of that type would not be a nil interface
		s.Air = d.rooms.air
	}
	return s
}

// Done implements api.Witness.
func (s *scribe) Done(what, role string) {
	s.journal.Change(journal.Change{What: "request", Name: what, Was: role, Now: "accepted"})
}

func (f keptFile) text() ([]byte, error) {
	b, err := os.ReadFile(f.path)
	if err != nil {
		return nil, fmt.Errorf("the shop file cannot be read: %w", err)
	}
	return b, nil
}

func (f keptFile) replace(text []byte) error { return replaceFile(f.path, text) }

// editedFile is the shop file in the page's editor.
type editedFile struct{ shopText }

// Text implements api.File.
func (f editedFile) Text() ([]byte, error) { return f.text() }

// Replace implements api.File.
func (f editedFile) Replace(text []byte) error { return f.replace(text) }

// Check implements api.File.
func (f editedFile) Check(text []byte) []api.Problem {
	_, err := config.Parse("shop.yaml", bytes.NewReader(text))
	if err == nil {
		return nil
	}
	var all config.Problems
	if !errors.As(err, &all) {
		return []api.Problem{{Problem: err.Error()}}
	}
	out := make([]api.Problem, 0, len(all))
	for _, p := range all {
		out = append(out, api.Problem{Line: p.Line, Column: p.Column, Path: p.Path, Problem: p.Problem, Found: p.Found, Accepted: p.Accepted})
	}
	return out
}
