//go:build unix

package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
)

// lockBuses makes this program the only one of its kind on the computer's buses, until it ends. The file lies where
// the service's folder is, or among the temporary files where there is none.
func lockBuses() (*os.File, error) {
	path := "/run/ductwarden/buses.lock"
	if _, err := os.Stat(filepath.Dir(path)); err != nil {
		path = filepath.Join(os.TempDir(), "ductwarden-buses.lock")
	}
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|syscall.O_NOFOLLOW, 0o660) // it is written to: no link leads elsewhere
	if err != nil {
		return nil, fmt.Errorf("the lock file of the buses cannot be opened: %w; run as the service's user", err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, fmt.Errorf("another ductwarden uses this computer's buses (%s is held): end it first, or ask it over its console", path)
		}
		return nil, fmt.Errorf("the lock file of the buses %s: %w", path, err)
	}
	return f, nil
}
