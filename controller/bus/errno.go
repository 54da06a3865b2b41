//go:build linux || windows

package bus

import "syscall"

const errnoRemoteIO = syscall.EREMOTEIO
