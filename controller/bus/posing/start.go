//go:build linux && (amd64 || arm64)

package posing

import (
	"os"
	"testing"
)

// Start mounts posing files for the length of a test. Where the kernel or the user cannot, the test is skipped
// with a sentence; under CI it fails.
func Start(t testing.TB) *Files {
	t.Helper()
	if err := Possible(); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("%v, and under CI that may not be missing", err)
		}
		t.Skip(err)
	}
	dir, err := os.MkdirTemp("", "pose") // short: a shop file takes no long names
	if err != nil {
		t.Fatal(err)
	}
	f, err := Mount(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := f.Close(); err != nil {
			t.Errorf("the posing files did not unmount: %v", err)
			return
		}
		_ = os.Remove(dir)
	})
	return f
}

// StartI2C poses one bus for the length of a test and returns it with its path.
func StartI2C(t testing.TB) (*Bus, string) {
	t.Helper()
	f, b := Start(t), NewBus()
	return b, f.I2C("i2c-91", b)
}

// StartLines poses one GPIO chip of 32 lines, named GPIO0 to GPIO31, for the length of a test.
func StartLines(t testing.TB) (*Lines, string) {
	t.Helper()
	f, c := Start(t), NewLines("posing", "GPIO", 32)
	return c, f.Lines("gpiochip91", c)
}
