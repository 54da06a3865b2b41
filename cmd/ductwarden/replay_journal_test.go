package main

import (
	"database/sql"
	"encoding/json"
	"flag"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/journal"
	"ductwarden/controller/loop"
)

var keepJournal = flag.String("keep-journal", "", "keep the journal of a life in this file, for a replay elsewhere")

// toldLife is a shop's life with a journal; the shop file of a rehearsal has none, so its path is set here.
func toldLife(t *testing.T, seed uint64) (l *life, path string) {
	t.Helper()
	file := troubledShop(t)
	path = filepath.Join(t.TempDir(), "journal.db")
	file.Journal.Path = path
	book := openJournal(file, slog.New(slog.DiscardHandler))
	require.NotNil(t, book)
	l = lifeOf(t, file, seed, book)
	book.follow(t.Context(), l.loop)
	return l, path
}

// played replays the newest run of a journal.
func played(t *testing.T, path string, told func(journal.Step)) *retold {
	t.Helper()
	b, err := journal.Read(path)
	require.NoError(t, err)
	defer b.Close()
	r, _, err := replayJournal(b, 0, told)
	require.NoError(t, err)
	return r
}

func TestAJournalPlayedAgainGivesTheSameEffects(t *testing.T) {
	if underRace {
		t.Skip("one goroutine lives this life; the journal's own tests run under the race detector")
	}
	l, path := toldLife(t, 3)
	l.begins()
	l.clock.Advance(t.Context(), l.clock.Now()+40*time.Minute)
	require.NoError(t, l.book.Close())

	if *keepJournal != "" {
		b, err := os.ReadFile(path)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(*keepJournal, b, 0o644))
	}
	r := played(t, path, nil)
	assert.Empty(t, r.Differs)
	assert.Empty(t, r.Gaps)
	assert.Zero(t, r.Skipped)
	assert.EqualValues(t, r.Events, r.Replayed)
	assert.Zero(t, r.PlansDiffer)
	assert.Greater(t, r.Answers, 20)
	assert.Positive(t, r.Checkpoints, "%d events", r.Events)
	t.Logf("%d events, %d effects, %d stored plans, %d checkpoints", r.Events, r.Effects, r.Answers, r.Checkpoints)

	db, err := sql.Open("sqlite", "file:"+path)
	require.NoError(t, err)
	defer db.Close()
	change := func(query string, args ...any) {
		t.Helper()
		res, err := db.Exec(query, args...)
		require.NoError(t, err)
		n, _ := res.RowsAffected()
		require.Positive(t, n, query)
	}

	// Rows taken out at random: a replay goes on at each checkpoint, and what it plays still fits.
	chance := rand.New(rand.NewPCG(7, 7))
	points := 0
	for seq := int64(checkpointEvery) / 2; seq+checkpointEvery/2 < r.Events; seq += checkpointEvery {
		from := seq + chance.Int64N(checkpointEvery/3)
		change("DELETE FROM events WHERE seq BETWEEN ? AND ?", from, from+10)
		change("INSERT INTO gaps SELECT run, ?, ?, 0, 'the card was full' FROM runs", from, from+10)
		points++
	}
	gaps := played(t, path, nil)
	assert.Empty(t, gaps.Differs)
	assert.Len(t, gaps.Gaps, points)
	assert.Positive(t, gaps.Skipped)
	assert.EqualValues(t, r.Events-int64(11*points), gaps.Replayed+gaps.Skipped)
	assert.Greater(t, gaps.Replayed, checkpointEvery, "it goes on behind the gap")

	// A step with another effect is found, and so is a plan that this program would not make.
	change("UPDATE effects SET v = v + 1 WHERE (run, seq, place) = (SELECT run, seq, place FROM effects ORDER BY seq LIMIT 1)")
	var stored []byte
	var seq int64
	require.NoError(t, db.QueryRow("SELECT seq, answer FROM answers WHERE place = 0 AND seq > ? ORDER BY seq LIMIT 1", checkpointEvery).Scan(&seq, &stored))
	var a map[string]any
	require.NoError(t, json.Unmarshal(stored, &a))
	a["Weakest"] = 77
	changed, err := json.Marshal(a)
	require.NoError(t, err)
	change("UPDATE answers SET answer = ? WHERE seq = ? AND place = 0", changed, seq)
	wrong := played(t, path, nil)
	assert.Len(t, wrong.Differs, 1)
	assert.Equal(t, 1, wrong.PlansDiffer)
	require.Len(t, wrong.Plans, 1)
	assert.EqualValues(t, seq, wrong.Plans[0].Seq)
	code, out, _ := spoken(t, t.Context(), "replay", "--journal", path)
	assert.Equal(t, exitNo, code)
	assert.Contains(t, out, "steps with other effects than the stored ones")
	assert.Contains(t, out, "1 stored plans are not this program's")
	assert.Contains(t, out, "the card was full")
}

// A journal that somebody else writes to for a while leaves a gap, which is told and followed by a checkpoint; control
// does not notice.
func TestABusyCardLeavesAGapThatReplayGoesAround(t *testing.T) {
	if underRace {
		t.Skip("see above")
	}
	l, path := toldLife(t, 4)
	l.begins()
	l.clock.Advance(t.Context(), l.clock.Now()+2*time.Minute)
	ctx := t.Context()
	require.NoError(t, l.book.journal.Flush(ctx))
	other, err := sql.Open("sqlite", "file:"+path)
	require.NoError(t, err)
	defer other.Close()
	other.SetMaxOpenConns(1)
	_, err = other.Exec("BEGIN IMMEDIATE")
	require.NoError(t, err)
	l.clock.Advance(ctx, l.clock.Now()+time.Minute)
	require.Error(t, l.book.journal.Flush(ctx))
	require.Contains(t, l.book.journal.Failing(), "locked")
	scans := l.loop.Stats().Scans
	l.clock.Advance(ctx, l.clock.Now()+time.Minute)
	assert.EqualValues(t, time.Minute/loop.Scan, l.loop.Stats().Scans-scans, "every scan is made meanwhile")
	_, err = other.Exec("ROLLBACK")
	require.NoError(t, err)
	require.NoError(t, l.book.journal.Flush(ctx))
	require.True(t, l.book.journal.WantsCheckpoint())
	l.clock.Advance(ctx, l.clock.Now()+5*time.Minute)
	require.NoError(t, l.book.Close())
	r := played(t, path, nil)
	assert.Empty(t, r.Differs)
	require.Len(t, r.Gaps, 1)
	assert.Contains(t, r.Gaps[0].Why, "locked")
	assert.Positive(t, r.Checkpoints)
	assert.Greater(t, r.Replayed, int(r.Gaps[0].From), "it goes on behind the gap")
	t.Logf("gap %d to %d; %d of %d events played, %d skipped", r.Gaps[0].From, r.Gaps[0].To, r.Replayed, r.Events, r.Skipped)
}
