//go:build linux && !amd64 && !arm64

package posing

import (
	"testing"
	"time"
)

const why = "posing files need a 64-bit processor: the file system library in use builds for no other"

// StartI2C skips.
func StartI2C(t testing.TB) (*Bus, string) { t.Helper(); t.Skip(why); return nil, "" }

// StartLines skips.
func StartLines(t testing.TB) (*Lines, string) { t.Helper(); t.Skip(why); return nil, "" }

type grant struct{}

func (*grant) happened(int, bool, time.Duration) {}
