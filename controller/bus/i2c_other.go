//go:build !linux

package bus

import (
	"fmt"
	"runtime"
)

func openAdapter(path string, _ Settings) (adapter, error) {
	return nil, fmt.Errorf("%s: I2C buses are driven on Linux only, and this is %s: try the shop here with rehearse, and run it on the board that has the bus", path, runtime.GOOS)
}
