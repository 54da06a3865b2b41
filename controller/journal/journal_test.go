package journal

import (
	"bufio"
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
)

var long = flag.Bool("long", false, "run what takes long: 1,000 kills")

func TestMain(m *testing.M) {
	if path := os.Getenv("DUCTWARDEN_JOURNAL_CHILD"); path != "" {
		child(path)
		return
	}
	if path := os.Getenv("DUCTWARDEN_JOURNAL_NARROW"); path != "" {
		narrow(path)
		return
	}
	flag.Parse()
	os.Exit(m.Run())
}

// child records steps until it is killed, and says on its output which are on the card.
func child(path string) {
	j, err := Open(path, "test", []byte("shop: x\n"), time.Now)
	if err != nil {
		fmt.Println("error", err)
		os.Exit(1)
	}
	fmt.Println("run", j.Run())
	for seq := uint64(1); ; seq++ {
		j.Step(Step{Seq: seq, Event: controller.Event{At: controller.Instant(seq), Kind: controller.MachineSeen}, Effects: []controller.Effect{{Kind: controller.OpenGate}}})
		if seq%3 == 0 {
			if err := j.Flush(context.Background()); err != nil {
				fmt.Println("error", err)
			}
			fmt.Println("kept", seq)
		}
	}
}

func opened(t *testing.T) (*Journal, string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "journal.db")
	j, err := Open(path, "test", []byte("shop: x\n"), time.Now)
	require.NoError(t, err)
	t.Cleanup(func() { j.Close() })
	return j, path
}

// timeOut ends what hangs in a program of its own.
func timeOut() context.Context {
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	_ = cancel
	return ctx
}

func flush(t *testing.T, j *Journal) error {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	return j.Flush(ctx)
}

func (b *Book) count(t *testing.T, query string, args ...any) (n int64) {
	t.Helper()
	require.NoError(t, b.db.QueryRow(query, args...).Scan(&n))
	return n
}

func TestStepsAreKeptWithTheirEffects(t *testing.T) {
	j, path := opened(t)
	for seq := uint64(1); seq <= 100; seq++ {
		j.Step(Step{Seq: seq, Event: controller.Event{At: controller.Instant(seq * 10), Kind: controller.GateSeen, N: 3, V: 2},
			Effects: []controller.Effect{{Kind: controller.StartCollector}, {Kind: controller.CloseGate, N: 1}}, Answers: []Answer{{0, []byte("q"), []byte("a")}}})
	}
	require.NoError(t, flush(t, j))
	b, err := Read(path)
	require.NoError(t, err)
	defer b.Close()
	assert.EqualValues(t, 100, b.count(t, "SELECT count(*) FROM events WHERE run = ?", j.Run()))
	assert.EqualValues(t, 200, b.count(t, "SELECT count(*) FROM effects"))
	assert.EqualValues(t, 100, b.count(t, "SELECT count(*) FROM answers"))
	assert.EqualValues(t, 500, b.count(t, "SELECT at_ms FROM events WHERE seq = 50"))
	gaps, err := b.Gaps()
	require.NoError(t, err)
	assert.Empty(t, gaps)
}

// A card that fails makes a gap, never a wait; when it takes rows again the gap is written and a checkpoint asked for.
func TestAFailingCardMakesAGap(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal.db")
	j, err := Open(path, "test", nil, time.Now)
	require.NoError(t, err)
	defer j.Close()
	bad := make(chan bool, 1)
	bad <- true
	broken := true
	j.failHook = func() error {
		select {
		case broken = <-bad:
		default:
		}
		if broken {
			return errors.New("no space left on device")
		}
		return nil
	}
	began := time.Now()
	for seq := uint64(1); seq <= 20; seq++ {
		j.Step(Step{Seq: seq})
	}
	assert.Less(t, time.Since(began), time.Second, "recording does not wait for the card")
	require.Error(t, flush(t, j))
	assert.Contains(t, j.Failing(), "no space")
	bad <- false
	j.Step(Step{Seq: 21})
	require.NoError(t, flush(t, j))
	assert.Empty(t, j.Failing())
	assert.True(t, j.WantsCheckpoint())
	j.Checkpoint(Checkpoint{Seq: 21, At: 5, State: []byte("state")})
	assert.False(t, j.WantsCheckpoint())
	require.NoError(t, flush(t, j))
	b, err := Read(path)
	require.NoError(t, err)
	defer b.Close()
	gaps, err := b.Gaps()
	require.NoError(t, err)
	require.Len(t, gaps, 1)
	assert.EqualValues(t, 1, gaps[0].From)
	assert.EqualValues(t, 20, gaps[0].To)
	assert.Contains(t, gaps[0].Why, "no space")
	assert.EqualValues(t, 1, b.count(t, "SELECT count(*) FROM checkpoints WHERE seq = 21"))
}

func TestAFullQueueMakesAGap(t *testing.T) {
	j, path := opened(t)
	hold := make(chan struct{})
	j.failHook = func() error { <-hold; return nil }
	c := make(chan error, 1)
	j.queue <- entry{flush: c} // the writer hangs in a commit
	require.Eventually(t, func() bool { return len(j.queue) == 0 }, 10*time.Second, time.Millisecond)
	for seq := uint64(1); seq <= queueLength+10; seq++ {
		j.Step(Step{Seq: seq})
	}
	close(hold)
	require.NoError(t, <-c)
	require.NoError(t, flush(t, j))
	b, err := Read(path)
	require.NoError(t, err)
	defer b.Close()
	gaps, err := b.Gaps()
	require.NoError(t, err)
	require.Len(t, gaps, 1)
	assert.EqualValues(t, queueLength+1, gaps[0].From)
	assert.EqualValues(t, queueLength+10, gaps[0].To)
}

func TestReadOnlyFolderAndDamagedFileSayWhatToDo(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal.db")
	require.NoError(t, os.WriteFile(path, []byte(strings.Repeat("not a database ", 100)), 0o600))
	_, err := Open(path, "test", nil, time.Now)
	assert.ErrorContains(t, err, "move a damaged file away")
	_, err = Open(filepath.Join(t.TempDir(), "no", "such", "journal.db"), "test", nil, time.Now)
	assert.ErrorContains(t, err, "permissions")
	_, err = Read(filepath.Join(t.TempDir(), "none.db"))
	assert.ErrorContains(t, err, "has the daemon run once")
}

func TestWatcherCountsHoursStartsAndMoves(t *testing.T) {
	wall := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	path := filepath.Join(t.TempDir(), "journal.db")
	j, err := Open(path, "test", nil, func() time.Time { return wall })
	require.NoError(t, err)
	defer j.Close()
	w := j.Watcher()
	suction := 1800.0
	snap := func(at int64, machine, gate, phase string, alarms ...controller.AlarmSnapshot) {
		wall = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC).Add(time.Duration(at) * time.Millisecond)
		w.Note(&controller.Snapshot{AtMS: at, Mode: "on_duty", Machines: []controller.MachineSnapshot{{ID: "lathe", Name: "lathe", State: machine}},
			Gates: []controller.GateSnapshot{{ID: "lathe", Name: "lathe", State: gate}}, Collectors: []controller.CollectorSnapshot{{ID: "c", Name: "collector", Phase: phase, SuctionPa: &suction}}, Alarms: alarms})
	}
	plug := controller.AlarmSnapshot{Key: "plug/c", Text: "a plug", Active: true}
	snap(0, "idle", "closed", "off")
	snap(1000, "running", "opening", "off")
	snap(1700, "running", "open", "starting")
	snap(61400, "running", "open", "running", plug)
	snap(61900, "running_down", "open", "running", plug)
	snap(62900, "idle", "open", "clearing")
	snap(92900, "idle", "open", "lingering")
	snap(192900, "idle", "open", "coasting")
	j.Mark(Mark{"bin_emptied", "c", "duty", ""})
	require.NoError(t, flush(t, j))
	b, err := Read(path)
	require.NoError(t, err)
	defer b.Close()
	got, err := b.Tallies(wall, wall)
	require.NoError(t, err)
	sums := map[string]int64{}
	for _, g := range got {
		sums[g.What] = g.Value
	}
	assert.Equal(t, map[string]int64{MachineStarts: 1, MachineSeconds: 60, GateMoves: 1, CollectorStarts: 1, CollectorSeconds: 191, LingerSeconds: 100, AlarmsRaised: 1}, sums)
	alarms, err := b.Changes("alarm", wall.Add(-time.Hour), wall.Add(time.Hour), 10)
	require.NoError(t, err)
	require.Len(t, alarms, 2)
	assert.Equal(t, "gone", alarms[0].Now)
	marks, err := b.Marks(wall.Add(-time.Hour), wall.Add(time.Hour))
	require.NoError(t, err)
	require.Len(t, marks, 1)
	assert.EqualValues(t, 1800, b.count(t, "SELECT CAST(mean AS INTEGER) FROM readings WHERE what = 'suction_pa' LIMIT 1"))
}

// A killed program keeps every row that it was told is on the card, and the file opens again.
func TestKilledAtRandomMoments(t *testing.T) {
	kills := 300
	if *long {
		kills = 1000
	}
	if testing.Short() {
		kills = 10
	}
	path := filepath.Join(t.TempDir(), "journal.db")
	r := rand.New(rand.NewPCG(1, 2))
	rows := 0
	for i := range kills {
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), "DUCTWARDEN_JOURNAL_CHILD="+path)
		out, err := cmd.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, cmd.Start())
		lines := bufio.NewScanner(out)
		run, kept, want := int64(0), int64(0), r.IntN(8)
		for lines.Scan() {
			word, value, _ := strings.Cut(lines.Text(), " ")
			n, _ := strconv.ParseInt(value, 10, 64)
			switch word {
			case "run":
				run = n
			case "kept":
				kept = n
			default:
				require.Fail(t, "the child says", lines.Text())
			}
			if run > 0 && int(kept) >= want*3 {
				break
			}
		}
		for range r.IntN(2000) { // some time more, at no fixed moment
			if i%2 == 0 {
				_ = r.Uint64()
			}
		}
		require.NoError(t, cmd.Process.Kill())
		for lines.Scan() { // what it said before the kill reached it counts too
			if v, ok := strings.CutPrefix(lines.Text(), "kept "); ok {
				kept, _ = strconv.ParseInt(v, 10, 64)
			}
		}
		cmd.Wait()
		b, err := Read(path)
		require.NoError(t, err)
		have := b.count(t, "SELECT coalesce(max(seq), 0) FROM events WHERE run = ?", run)
		n := b.count(t, "SELECT count(*) FROM events WHERE run = ?", run)
		b.Close()
		require.GreaterOrEqual(t, have, kept, "kill %d", i)
		require.Equal(t, have, n, "no hole before the last row")
		rows += int(n)
	}
	t.Logf("%d kills, %d rows kept, none of those told to be on the card lost", kills, rows)
}
