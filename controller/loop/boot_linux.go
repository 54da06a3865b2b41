package loop

import (
	"encoding/hex"
	"os"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// MachineClock is the BootClock of this machine: the kernel's random boot id and CLOCK_MONOTONIC. Time in
// suspend does not count, so an age is never overstated.
type MachineClock struct{}

// Boot implements BootClock.
func (MachineClock) Boot() [16]byte {
	text, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return [16]byte{}
	}
	return parseBootID(string(text))
}

// SinceBoot implements BootClock.
func (MachineClock) SinceBoot() time.Duration {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &ts); err != nil {
		return 0
	}
	return time.Duration(ts.Nano())
}

// parseBootID reads the kernel's form of 128 random bits; all zero when it is another.
func parseBootID(text string) (id [16]byte) {
	raw, err := hex.DecodeString(strings.ReplaceAll(strings.TrimSpace(text), "-", ""))
	if err != nil || len(raw) != len(id) {
		return [16]byte{}
	}
	return [16]byte(raw)
}
