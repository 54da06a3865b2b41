//go:build !windows

package main

import "syscall"

// errInUse is the system's word for an address that somebody else listens on.
var errInUse error = syscall.EADDRINUSE
