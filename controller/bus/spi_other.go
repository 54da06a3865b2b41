//go:build !linux

package bus

import (
	"fmt"
	"runtime"
)

func canOpen(what, path, _, _, _ string) error {
	return fmt.Errorf("%s: an %s is driven on Linux only, and this is %s: try the shop here with rehearse, and run it on the board that has the bus", path, what, runtime.GOOS)
}
