package journal

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
)

// A full card and one that has become read-only: SQLite's own refusals, not invented ones. Recording goes on at once
// and never waits, what was lost is told, what people did is kept, and writing resumes.
func TestACardThatTakesNothing(t *testing.T) {
	for name, c := range map[string]struct{ begin, end, says string }{
		"full":      {"PRAGMA max_page_count = 1", "PRAGMA max_page_count = 1000000", "full"},
		"read-only": {"PRAGMA query_only = 1", "PRAGMA query_only = 0", "readonly"},
	} {
		t.Run(name, func(t *testing.T) {
			j, path := opened(t)
			j.Step(Step{Seq: 1})
			require.NoError(t, flush(t, j))
			_, err := j.db.Exec(c.begin)
			require.NoError(t, err)
			began := time.Now()
			for seq := uint64(2); seq <= 3000; seq++ {
				j.Step(Step{Seq: seq, Event: controller.Event{At: controller.Instant(seq)}, Effects: make([]controller.Effect, 4)})
			}
			j.Mark(Mark{"bin_emptied", "c", "button", ""})
			assert.Less(t, time.Since(began), time.Second, "nobody waits")
			require.Error(t, flush(t, j))
			assert.Contains(t, j.Failing(), c.says)
			_, err = j.db.Exec(c.end)
			require.NoError(t, err)
			j.Step(Step{Seq: 3001})
			require.NoError(t, flush(t, j))
			assert.Empty(t, j.Failing(), "and it says that it writes again")
			assert.True(t, j.WantsCheckpoint())
			b, err := Read(path)
			require.NoError(t, err)
			defer b.Close()
			gaps, err := b.Gaps()
			require.NoError(t, err)
			require.NotEmpty(t, gaps)
			held := map[uint64]bool{}
			for s, err := range b.Steps(j.Run()) {
				require.NoError(t, err)
				held[s.Seq] = true
			}
			for seq := uint64(1); seq <= 3001; seq++ {
				told := false
				for _, g := range gaps {
					told = told || g.From <= seq && seq <= g.To
				}
				assert.True(t, held[seq] || told, "step %d is neither there nor told to be missing", seq)
			}
			assert.Contains(t, gaps[0].Why, c.says)
			marks, err := b.Marks(time.Now().Add(-time.Hour), time.Now().Add(time.Hour))
			require.NoError(t, err)
			assert.Len(t, marks, 1, "what a person did is not lost")
		})
	}
}

func TestStepsComeBackAsTheyWere(t *testing.T) {
	j, path := opened(t)
	var want []Step
	for seq := uint64(1); seq <= 2*stepsAtOnce+7; seq++ {
		s := Step{Seq: seq, Event: controller.Event{At: controller.Instant(seq), Kind: controller.GateSeen, By: controller.FromSensor, N: 3, V: -2, Ref: 9}}
		for i := range seq % 3 {
			s.Effects = append(s.Effects, controller.Effect{Kind: controller.CloseGate, N: uint8(i), Why: controller.BecauseHeld, Ref: 4, V: -7})
		}
		if seq%50 == 0 {
			s.Answers = []Answer{{1, []byte("q"), []byte("a")}}
		}
		j.Step(s)
		want = append(want, s)
	}
	j.Checkpoint(Checkpoint{Seq: 40, At: 41, State: []byte("s")})
	require.NoError(t, flush(t, j))
	b, err := Read(path)
	require.NoError(t, err)
	defer b.Close()
	var got []Step
	for s, err := range b.Steps(j.Run()) {
		require.NoError(t, err)
		got = append(got, s)
	}
	assert.Equal(t, want, got)
	points, err := b.Checkpoints(j.Run())
	require.NoError(t, err)
	assert.Equal(t, []Checkpoint{{40, 41, []byte("s")}}, points)
	r, err := b.Run(0)
	require.NoError(t, err)
	assert.EqualValues(t, len(want), r.Events)
	assert.Equal(t, "shop: x\n", string(r.Shop))
	_, err = b.Run(99)
	assert.ErrorContains(t, err, "no run 99")
}

// Old events go as the shop file says, whole runs at a time; hours, starts and marks stay.
func TestOldEventsAreForgotten(t *testing.T) {
	_, path := opened(t)
	day := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	for i := range 3 {
		wall := day.AddDate(0, 0, 10*i)
		j, err := Open(path, "test", nil, func() time.Time { return wall })
		require.NoError(t, err)
		j.Step(Step{Seq: 1})
		j.Change(Change{What: "mode", Now: "on_duty"})
		j.Mark(Mark{"bin_emptied", "c", "page", ""})
		j.put(entry{wall: wall, sums: []sum{{wall.Format(hourLayout), MachineStarts, "saw", "saw", 1}}})
		require.NoError(t, j.Close())
	}
	wall := day.AddDate(0, 0, 30)
	j, err := Open(path, "test", nil, func() time.Time { return wall })
	require.NoError(t, err)
	defer j.Close()
	j.Forget(15 * 24 * time.Hour)
	j.Step(Step{Seq: 1})
	require.NoError(t, flush(t, j))
	b, err := Read(path)
	require.NoError(t, err)
	defer b.Close()
	assert.EqualValues(t, 2, b.count(t, "SELECT count(*) FROM events WHERE run IN (SELECT run FROM runs WHERE began_wall_ms >= 0 AND began_wall_ms < ?)", wall.UnixMilli()), "the run of the 12th still went on on the 17th")
	assert.EqualValues(t, 1, b.count(t, "SELECT count(*) FROM changes"))
	assert.EqualValues(t, 3, b.count(t, "SELECT count(*) FROM marks"))
	assert.EqualValues(t, 3, b.count(t, "SELECT sum(value) FROM tallies"))
}
