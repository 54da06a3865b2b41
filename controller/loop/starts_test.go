package loop

import (
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// fakeBoot is a BootClock that a test turns.
type fakeBoot struct {
	boot byte
	now  time.Duration
}

func (f *fakeBoot) Boot() [16]byte           { return [16]byte{f.boot} }
func (f *fakeBoot) SinceBoot() time.Duration { return f.now }

var oneCollector = []Budgeted{{ID: "collector", Limit: 8}}

func restore(t *testing.T, m Medium, c BootClock) (*Starts, Restored) {
	t.Helper()
	s, r, err := RestoreStarts(m, c, oneCollector)
	require.NoError(t, err)
	return s, r
}

func TestNoFileCountsAsSpent(t *testing.T) {
	_, r := restore(t, &Memory{}, &fakeBoot{boot: 1, now: time.Hour})
	assert.Equal(t, make([]time.Duration, 8), r.Ages[0], "eight starts of age zero")
	assert.False(t, r.Unclean, "nothing ran before")
	assert.Contains(t, r.Why, "no file of starts")
}

func TestAgesAreCarriedWithinABoot(t *testing.T) {
	m, c := &Memory{}, &fakeBoot{boot: 1, now: 2 * time.Hour}
	s, _ := restore(t, m, c)
	c.now = 4 * time.Hour // the eight assumed starts are out of the hour
	require.NoError(t, s.Started(0))
	c.now += 10 * time.Minute
	require.NoError(t, s.Started(0))
	require.NoError(t, s.Mark(OrderlyEnd))
	c.now += 5 * time.Minute

	_, r := restore(t, m, c)
	assert.Equal(t, []time.Duration{15 * time.Minute, 5 * time.Minute}, r.Ages[0])
	assert.False(t, r.Unclean)
	assert.Empty(t, r.Why)

	c.now += 50 * time.Minute
	_, r = restore(t, m, c)
	assert.Equal(t, []time.Duration{55 * time.Minute}, r.Ages[0], "the older one is out of the hour")
}

func TestAnotherBootCountsEachAsJustMade(t *testing.T) {
	m, c := &Memory{}, &fakeBoot{boot: 1, now: 4 * time.Hour}
	s, _ := restore(t, m, c)
	c.now += 2 * time.Hour
	require.NoError(t, s.Started(0))
	c.now += 59 * time.Minute
	require.NoError(t, s.Started(0))
	c.now += 2 * time.Minute
	require.NoError(t, s.Started(0)) // the first is now known to be older than the hour
	require.NoError(t, s.Mark(OrderlyEnd))

	for name, next := range map[string]*fakeBoot{
		"another boot":             {boot: 2, now: 5 * time.Hour},
		"a boot without a name":    {boot: 0, now: 8 * time.Hour},
		"a clock that ran back":    {boot: 1, now: time.Hour},
		"another boot, long after": {boot: 2, now: 500 * time.Hour},
	} {
		copied := &Memory{b: append([]byte(nil), m.b...)}
		_, r := restore(t, copied, next)
		assert.Equal(t, []time.Duration{0, 0}, r.Ages[0], name)
		assert.False(t, r.Unclean, name)
	}
}

func TestEndings(t *testing.T) {
	for _, c := range []struct {
		name    string
		mark    Ending
		boot    byte
		unclean bool
	}{
		{"orderly, same boot", OrderlyEnd, 1, false},
		{"orderly, other boot", OrderlyEnd, 2, false},
		{"killed at rest, same boot", StillOff, 1, true},
		{"mains cut at rest in the evening", StillOff, 2, false},
		{"killed while the collector ran", StillOn, 1, true},
		{"mains cut while the collector ran", StillOn, 2, true},
	} {
		m, clock := &Memory{}, &fakeBoot{boot: 1, now: time.Hour}
		s, _ := restore(t, m, clock)
		require.NoError(t, s.Mark(c.mark))
		clock.boot, clock.now = c.boot, clock.now+time.Minute
		_, r := restore(t, m, clock)
		assert.Equal(t, c.unclean, r.Unclean, c.name)
		assert.Equal(t, c.unclean, r.Why != "", c.name)
	}
}

func TestOtherCollectorsKeepTheirOwnStarts(t *testing.T) {
	m, c := &Memory{}, &fakeBoot{boot: 1, now: 10 * time.Hour}
	two := []Budgeted{{"large", 8}, {"vacuum", 2}}
	s, _, err := RestoreStarts(m, c, two)
	require.NoError(t, err)
	c.now += 2 * time.Hour
	require.NoError(t, s.Started(1))
	require.NoError(t, s.Mark(OrderlyEnd))
	_, r, err := RestoreStarts(m, c, []Budgeted{{"vacuum", 2}, {"new", 3}, {"large", 8}})
	require.NoError(t, err)
	assert.Equal(t, [][]time.Duration{{0}, {0, 0, 0}, nil}, r.Ages, "by id, not by place; a new one counts as spent")
}

// A write that a power cut tears at any byte leaves the state before it or the state after it.
func TestTornWrites(t *testing.T) {
	m, c := &Memory{}, &fakeBoot{boot: 1, now: 10 * time.Hour}
	s, _ := restore(t, m, c)
	c.now += 2 * time.Hour
	require.NoError(t, s.Started(0))
	before := append([]byte(nil), m.b...)
	c.now += time.Minute
	require.NoError(t, s.Started(0))
	after := m.b
	rng := rand.New(rand.NewPCG(1, 2))
	seen := map[int]bool{}
	for cut := 0; cut <= len(after); cut++ {
		torn := append([]byte(nil), before...)
		for len(torn) < len(after) {
			torn = append(torn, 0)
		}
		if rng.IntN(2) == 0 { // from the front, or from the back
			copy(torn[:cut], after[:cut])
		} else {
			copy(torn[len(after)-cut:], after[len(after)-cut:])
		}
		_, r := restore(t, &Memory{b: torn}, c)
		n := len(r.Ages[0])
		assert.Contains(t, []int{1, 2}, n, "cut at %d", cut)
		seen[n] = true
	}
	assert.Len(t, seen, 2, "both outcomes were reached")
}

func TestDamagedFileCountsAsSpentAndUnclean(t *testing.T) {
	for name, damage := range map[string]func(b []byte) []byte{
		"noise":     func(b []byte) []byte { return []byte("not a file of starts at all") },
		"two flips": func(b []byte) []byte { b[20] ^= 1; b[slotStride+20] ^= 1; return b },
		"truncated": func(b []byte) []byte { return b[:30] },
	} {
		m, c := &Memory{}, &fakeBoot{boot: 1, now: 10 * time.Hour}
		s, _ := restore(t, m, c)
		require.NoError(t, s.Mark(OrderlyEnd))
		m.b = damage(m.b)
		_, r := restore(t, m, c)
		assert.Len(t, r.Ages[0], 8, name)
		assert.True(t, r.Unclean, name)
		assert.Contains(t, r.Why, "damaged", name)
		_, r = restore(t, m, c)
		assert.NotContains(t, r.Why, "damaged", "%s: mended by the first restart", name)
	}
}

// fullDisk fails every write.
type fullDisk struct{ Memory }

func (*fullDisk) WriteAt([]byte, int64) (int, error) { return 0, errors.New("no space left on device") }

func TestUnwritableFileStillCounts(t *testing.T) {
	s, r, err := RestoreStarts(&fullDisk{}, &fakeBoot{boot: 1}, oneCollector)
	require.ErrorContains(t, err, "no space left on device")
	assert.Len(t, r.Ages[0], 8)
	assert.ErrorContains(t, s.Started(0), "cannot be written")
}

func TestStartsOnARealFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "starts")
	c := &fakeBoot{boot: 1, now: 10 * time.Hour}
	for i := range 3 {
		f, err := OpenStarts(path)
		require.NoError(t, err)
		s, r := restore(t, f, c)
		if i > 0 {
			assert.Len(t, r.Ages[0], i)
		}
		c.now += 5 * time.Minute
		if i == 0 {
			c.now += time.Hour
		}
		require.NoError(t, s.Started(0))
		require.NoError(t, s.Mark(OrderlyEnd))
		require.NoError(t, f.Close())
	}
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, int64(slotStride+slotSize), info.Size(), "written in place: it does not grow")
	_, err = OpenStarts(filepath.Join(path, "below a file"))
	assert.ErrorContains(t, err, "file of starts cannot be opened")
}

func TestMostStartsKept(t *testing.T) {
	m, c := &Memory{}, &fakeBoot{boot: 1, now: 10 * time.Hour}
	s, _ := restore(t, m, c)
	for range 2 * MaxStored {
		c.now += time.Second
		require.NoError(t, s.Started(0))
	}
	_, r := restore(t, m, c)
	assert.Len(t, r.Ages[0], MaxStored)
	assert.Zero(t, r.Ages[0][MaxStored-1])
}

func TestMachineClock(t *testing.T) {
	var c MachineClock
	assert.Equal(t, c.Boot(), c.Boot())
	a := c.SinceBoot()
	assert.GreaterOrEqual(t, c.SinceBoot(), a)
}

func FuzzDecodeSlot(f *testing.F) {
	s := slot{seq: 7, kept: []kept{{id: 1, starts: []int64{1, 2, 3}}}}
	f.Add(s.encode())
	f.Fuzz(func(t *testing.T, b []byte) {
		if got, ok := decodeSlot(b); ok {
			again, ok := decodeSlot(got.encode())
			assert.True(t, ok)
			assert.Equal(t, got, again)
		}
	})
}
