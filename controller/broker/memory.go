package broker

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// Memory keeps the list of what this program has left on the broker.
type Memory interface {
	Load() ([]byte, error) // nothing and no error when nothing is kept yet
	Save([]byte) error
}

// FileMemory keeps it in a file, written whole and renamed into place. An empty path keeps nothing.
type FileMemory string

// Load reads the file.
func (f FileMemory) Load() ([]byte, error) {
	if f == "" {
		return nil, nil
	}
	b, err := os.ReadFile(string(f))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("list of published topics: %w; check the rights of the file", err)
	}
	return b, nil
}

// Save replaces the file.
func (f FileMemory) Save(b []byte) error {
	if f == "" {
		return nil
	}
	t, err := os.CreateTemp(filepath.Dir(string(f)), ".published-*")
	if err != nil {
		return fmt.Errorf("list of published topics: %w; check the directory's rights and the disk", err)
	}
	defer os.Remove(t.Name())
	_, err = t.Write(b)
	if e := t.Sync(); err == nil {
		err = e
	}
	if e := t.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Rename(t.Name(), string(f))
	}
	if err != nil {
		return fmt.Errorf("list of published topics %s: %w; check the disk", f, err)
	}
	return nil
}
