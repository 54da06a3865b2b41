package broker

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
)

// Secret is where a password lies: in a file, or in the directory of credentials that the service manager
// hands to the program. It is read anew at every connection, so that it can be changed without a restart,
// and it is never logged.
type Secret struct {
	File       string // absolute path; "" looks for Credential
	Credential string // file name in $CREDENTIALS_DIRECTORY; "" is mqtt-password
}

// longestSecret bounds what is read of a file that somebody has mixed up with another.
const longestSecret = 4096

// Read gives the password without the newline at its end. "" and no error means that none is set up.
func (s Secret) Read() (string, error) {
	if s.File != "" {
		return readSecret(s.File)
	}
	dir := os.Getenv("CREDENTIALS_DIRECTORY")
	if dir == "" {
		return "", nil
	}
	name := s.Credential
	if name == "" {
		name = "mqtt-password"
	}
	text, err := readSecret(filepath.Join(dir, name))
	if errors.Is(err, fs.ErrNotExist) && s.Credential == "" {
		return "", nil
	}
	return text, err
}

func readSecret(path string) (string, error) {
	if err := private(path); err != nil {
		return "", err
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return "", fmt.Errorf("secret %s: %w; check the path and that the program's user may read it", path, err)
	}
	if len(b) > longestSecret {
		return "", fmt.Errorf("secret %s has %d bytes; a password has %d at most, so it is some other file", path, len(b), longestSecret)
	}
	text := strings.TrimRight(string(b), "\r\n")
	if text == "" {
		return "", fmt.Errorf("secret %s is empty; write the password into it", path)
	}
	return text, nil
}

// private refuses a secret that every user of the machine may read. On Windows the bits say nothing.
func private(path string) error {
	info, err := os.Stat(path)
	if err != nil {
		return fmt.Errorf("secret %s: %w; check the path", path, err)
	}
	if info.IsDir() {
		return fmt.Errorf("secret %s is a directory; name the file", path)
	}
	if runtime.GOOS != "windows" && info.Mode().Perm()&0o007 != 0 {
		return fmt.Errorf("secret %s may be read by everybody (mode %04o); run: chmod 0600 %s", path, info.Mode().Perm(), path)
	}
	return nil
}
