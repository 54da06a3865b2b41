//go:build !linux && !windows

package bus

import "syscall"

// errnoRemoteIO is Linux's number. Other kernels have no such error and never answer it.
const errnoRemoteIO = syscall.Errno(121)
