package main

import (
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// written is what this program has given to the kernel to write, in bytes.
func written(t *testing.T) (n int64) {
	t.Helper()
	b, err := os.ReadFile("/proc/self/io")
	if err != nil {
		t.Skipf("this kernel does not count what a program writes: %v", err)
	}
	for line := range strings.Lines(string(b)) {
		if _, err := fmt.Sscanf(line, "wchar: %d", &n); err == nil {
			return n
		}
	}
	t.Skip("this kernel does not count what a program writes")
	return 0
}

// A card wears by what is written. Half an hour of a shop with 60 starts of machines a day (a shop-year's day), and one
// of a shop where everything fails all the time, are lived on a virtual clock that the journal's own timers follow; a
// working day is 8 h.
func TestAWorkingDayWritesLittle(t *testing.T) {
	if underRace {
		t.Skip("what is written does not hang on the race detector")
	}
	for name, c := range map[string]struct {
		most  float64 // MB a day
		begin func(*life)
	}{
		"ordinary": {10, func(l *life) {
			l.putRight()
			for i := range 60 {
				m := []int{0, 2, 4, 5}[i%4]
				l.later(time.Duration(i)*8*time.Minute+time.Minute, func() { l.sim.Switch(m, true) })
				l.later(time.Duration(i)*8*time.Minute+3*time.Minute, func() { l.sim.Switch(m, false) })
			}
		}},
		"everything fails": {30, (*life).begins},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				file := troubledShop(t)
				file.Journal.Path = filepath.Join(t.TempDir(), "journal.db")
				book := openJournal(file, slog.New(slog.DiscardHandler))
				require.NotNil(t, book)
				l := lifeOf(t, file, 5, book)
				book.follow(t.Context(), l.loop)
				c.begin(l)
				pass := func(d time.Duration) {
					for end := l.clock.Now() + d; l.clock.Now() < end; {
						l.clock.Advance(t.Context(), l.clock.Now()+250*time.Millisecond)
						time.Sleep(250 * time.Millisecond)
					}
				}
				pass(5 * time.Minute) // makes the file's pages
				before := written(t)
				pass(32 * time.Minute)
				day := float64(written(t)-before) * 15 / 1e6
				require.NoError(t, book.Close())
				cameTo(t, "a working day of 8 h, %s, writes %.2f MB to the journal (goal of an ordinary one 10; %d rows in 37 minutes)", name, day, book.journal.Written())
				assert.Less(t, day, c.most)
				assert.Positive(t, day)
			})
		})
	}
}
