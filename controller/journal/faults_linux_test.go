package journal

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// narrow records in a program whose files the kernel lets grow no further for a while: its writes fail, as on a card
// that breaks.
func narrow(path string) {
	signal.Ignore(syscall.SIGXFSZ)
	say := func(err error) {
		if err != nil {
			fmt.Println("error", err)
			os.Exit(1)
		}
	}
	limit := func(bytes uint64) {
		var was unix.Rlimit
		say(unix.Getrlimit(unix.RLIMIT_FSIZE, &was))
		was.Cur = min(bytes, was.Max)
		say(unix.Setrlimit(unix.RLIMIT_FSIZE, &was))
	}
	j, err := Open(path, "test", nil, time.Now)
	say(err)
	for seq := uint64(1); seq <= 100; seq++ {
		j.Step(Step{Seq: seq})
	}
	say(j.Flush(timeOut()))
	limit(8 << 10)
	for seq := uint64(101); seq <= 400; seq++ {
		j.Step(Step{Seq: seq})
	}
	fmt.Println("refused:", j.Flush(timeOut()) != nil, j.Failing() != "")
	limit(1 << 40)
	j.Step(Step{Seq: 401})
	say(j.Flush(timeOut()))
	fmt.Println("resumed:", j.Failing() == "", j.WantsCheckpoint())
	say(j.Close())
}

func TestWritesThatFailInTheKernel(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal.db")
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), "DUCTWARDEN_JOURNAL_NARROW="+path)
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	require.NoError(t, cmd.Run(), "%s", &out)
	assert.Equal(t, "refused: true true\nresumed: true true\n", out.String())
	b, err := Read(path)
	require.NoError(t, err)
	defer b.Close()
	gaps, err := b.Gaps()
	require.NoError(t, err)
	require.Len(t, gaps, 1)
	assert.EqualValues(t, 101, gaps[0].From)
	assert.EqualValues(t, 400, gaps[0].To)
	assert.EqualValues(t, 101, b.count(t, "SELECT count(*) FROM events"))
	assert.EqualValues(t, 1, b.count(t, "SELECT count(*) FROM pragma_integrity_check WHERE integrity_check = 'ok'"))
}
