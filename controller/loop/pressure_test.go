package loop

import (
	"testing"
	"time"

	"ductwarden/current/currenttest"
)

// A fan's pressure is a meter as any other.
func TestPressureMeterIsAMeter(t *testing.T) {
	currenttest.Run(t, func(*testing.T) currenttest.Bench {
		pa, whole, read := 0.0, true, false
		return currenttest.Bench{
			Meter:   NewPressureMeter("corner suction", func() (float64, bool) { return pa, whole && read }, 120),
			Machine: func(_ time.Duration, running bool) { pa = map[bool]float64{true: 400, false: 3}[running] },
			Wire:    func(_ time.Duration, w bool) { whole = w },
			Feed:    func(time.Duration) { read = true },
			Start:   10 * time.Millisecond, End: 10 * time.Millisecond, Notice: 10 * time.Millisecond,
		}
	})
}
