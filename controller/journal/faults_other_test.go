//go:build !linux

package journal

// narrow needs a limit that only Linux is asked for here.
func narrow(string) {}
