package bus

import (
	"fmt"
	"runtime"
)

// notHere is what a system without Linux's interfaces answers where the shop asks for a bus or lines: what needs no
// chips works there. what is one of the subject's own words, as in "I2C buses are"; has is what the board has.
func notHere(path, what, has string) error {
	return fmt.Errorf("%s: %s driven on Linux only, and this is %s: try the shop here with rehearse; run it on the board that has the %s", path, what, runtime.GOOS, has)
}
