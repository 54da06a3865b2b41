//go:build linux && (amd64 || arm64)

package posing_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	adc "ductwarden/current/ads1115/chip"
	pwm "ductwarden/gates/pca9685/chip"
)

// other is a chip that is none of ours: every register reads the same.
type other byte

func (o other) Tx(_ time.Duration, _, r []byte) error {
	for i := range r {
		r[i] = byte(o)
	}
	return nil
}

// says waits until the program's log has one line with all the parts.
func (s *shop) says(parts ...string) {
	s.t.Helper()
	s.until("the log says "+strings.Join(parts, ", "), func() bool {
		for line := range strings.Lines(s.log.String()) {
			has := true
			for _, p := range parts {
				has = has && strings.Contains(line, p)
			}
			if has {
				return true
			}
		}
		return false
	})
}

// What is wrong on the wires is told in one sentence: bus, address, likely cause, next step.
func TestTheBuiltProgramSaysWhatIsWrong(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name  string
		spoil func(*shop)
		says  []string
		ends  bool
	}{
		{"the servo board at another address", func(s *shop) {
			s.bus.Attach(0x40, nil)
			s.bus.Attach(0x41, pwm.New(0x41, 25_000_000))
		}, []string{"i2c-91 0x40", "no pca9685 answers", "chips answer at 0x41", "check the address jumpers"}, false},
		{"the servo board without a supply", func(s *shop) { s.bus.Attach(0x40, nil) }, []string{"pca9685@0x40", "check the board's supply"}, false},
		{"another chip at the servo board's address", func(s *shop) { s.bus.Attach(0x40, other(0xFF)) },
			[]string{"what answers at 0x40", "i2c-91", "is no pca9685", "check the address jumpers"}, false},
		{"another chip at the converter's address", func(s *shop) { s.bus.Attach(0x48, other(0x5A)) },
			[]string{"ads1115@0x48", "another chip answers at this address"}, false},
		{"no chip at all", func(s *shop) {
			s.bus.Attach(0x40, nil)
			s.bus.Attach(0x48, nil)
		}, []string{"i2c-91 0x40", "no other chip on this bus does", "check the supply"}, false},
		{"a driver of the kernel has the converter", func(s *shop) { s.bus.TakenByKernel(0x48) },
			[]string{"i2c-91 0x48", "a driver of the kernel has this address", "remove the overlay"}, true},
		{"the start line in use", func(s *shop) { s.pins.Take(startLine, "lamp") },
			[]string{"line 17", `in use by "lamp"`, "take another line"}, true},
		{"a clamp's input shorted", func(s *shop) {
			s.bus.Attach(0x48, adc.New(func(int, time.Duration) float64 { return 0.01 }, adc.Options{}))
		}, []string{"ads1115@0x48/0 on bus main", "look at plug"}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := openSpoilt(t, c.spoil)
			s.says(c.says...)
			if !c.ends {
				assert.False(t, s.program.Ended(), "the rest of the shop is worked")
				return
			}
			require.Error(t, s.program.Wait())
			assert.Equal(t, 1, s.program.ProcessState.ExitCode())
			assert.Empty(t, s.pins.Look(startLine).Log, "no line was touched")
		})
	}
}
