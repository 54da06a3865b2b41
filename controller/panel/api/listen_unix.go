//go:build unix

package api

import (
	"net"
	"sync"
	"syscall"
)

// maskMu: the umask belongs to the whole process.
var maskMu sync.Mutex

// listenPrivately makes the socket with no rights for others from its first moment.
func listenPrivately(path string) (net.Listener, error) {
	maskMu.Lock()
	defer maskMu.Unlock()
	old := syscall.Umask(0o117)
	defer syscall.Umask(old)
	return net.Listen("unix", path)
}
