//go:build unix

package main

import (
	"os"
	"path/filepath"
	"syscall"
)

// ownedAsFolder gives a file to whoever its folder belongs to, where this user may.
func ownedAsFolder(path string) error {
	st, err := os.Stat(filepath.Dir(path))
	if err != nil || os.Geteuid() != 0 {
		return err
	}
	s, ok := st.Sys().(*syscall.Stat_t)
	if !ok {
		return nil
	}
	return os.Chown(path, int(s.Uid), int(s.Gid))
}
