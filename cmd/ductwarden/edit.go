package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"

	"ductwarden/config"
	"ductwarden/controller/bench"
)

// keptFile is the person's shop file. It is read anew each time: the person may have an editor open beside.
type keptFile struct{ path string }

// Preview implements bench.File.
func (f keptFile) Preview(changes []bench.Change) (before, after []byte, err error) {
	if before, err = os.ReadFile(f.path); err != nil {
		return nil, nil, fmt.Errorf("the shop file cannot be read: %w", err)
	}
	after, err = spliced(f.path, before, changes)
	return before, after, err
}

// Keep implements bench.File.
func (f keptFile) Keep(changes []bench.Change) error {
	_, after, err := f.Preview(changes)
	if err != nil {
		return err
	}
	return replaceFile(f.path, after)
}

// spliced makes the changes in a text and checks what comes out.
func spliced(name string, text []byte, changes []bench.Change) ([]byte, error) {
	var err error
	for _, c := range changes {
		if text, err = config.Splice(text, c.Path, c.To); err != nil {
			return nil, err
		}
	}
	if _, err := config.Parse(name, bytes.NewReader(text)); err != nil {
		return nil, fmt.Errorf("with these changes the file would no longer be in order: %w", err)
	}
	return text, nil
}

// paperFile is a shop file in memory: a rehearsal's, which writes nothing.
type paperFile struct {
	mu    sync.Mutex // the bench and the page's editor both change it
	sheet []byte
}

func (f *paperFile) text() ([]byte, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.sheet, nil
}

func (f *paperFile) replace(text []byte) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.sheet = text
	return nil
}

// Preview implements bench.File.
func (f *paperFile) Preview(changes []bench.Change) (before, after []byte, err error) {
	before, err = f.text()
	if err == nil {
		after, err = spliced("the rehearsed shop", before, changes)
	}
	return before, after, err
}

// Keep implements bench.File.
func (f *paperFile) Keep(changes []bench.Change) error {
	_, after, err := f.Preview(changes)
	if err != nil {
		return err
	}
	return f.replace(after)
}

// replaceFile writes a file anew and swaps it in, so that a cut leaves the old one. Its mode stays; a link is followed.
func replaceFile(path string, text []byte) error {
	mode := fs.FileMode(0o644)
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real
	}
	if info, err := os.Stat(path); err == nil {
		mode = info.Mode().Perm()
	}
	tmp, err := os.CreateTemp(filepath.Dir(path), ".ductwarden-*")
	if errors.Is(err, fs.ErrPermission) {
		return fmt.Errorf("%s may not be written by this user, nor its folder: run the command as its owner, or copy the changes into it by hand", path)
	}
	if err != nil {
		return fmt.Errorf("%s: %w; the folder must be writable", path, err)
	}
	defer os.Remove(tmp.Name())
	_, err = tmp.Write(text)
	if err == nil {
		err = tmp.Sync()
	}
	if e := tmp.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Chmod(tmp.Name(), mode)
	}
	if err == nil {
		err = os.Rename(tmp.Name(), path)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return nil
}
