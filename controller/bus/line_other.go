//go:build !linux

package bus

import (
	"fmt"
	"runtime"
)

func openLineChip(name string) (lineChip, error) {
	return nil, fmt.Errorf("%s: lines are driven on Linux only, and this is %s: try the shop here with rehearse, and run it on the board that has the lines", name, runtime.GOOS)
}
