package main

import (
	"bufio"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The README's first command as it stands there, built anew: the collector runs within 10 s of the build's end.
func TestReadmesFirstCommand(t *testing.T) {
	unshared(t)
	text, err := os.ReadFile(filepath.Join(root(t), "README.md"))
	require.NoError(t, err)
	line := commandLines(string(text))[0]
	require.Equal(t, "go run ./cmd/ductwarden rehearse", line)
	fields := strings.Fields(line)
	build := exec.Command(fields[0], "build", "-o", os.DevNull, fields[2])
	build.Dir = root(t)
	said, err := build.CombinedOutput()
	require.NoError(t, err, "%s", said)
	began := time.Now()
	cmd := exec.CommandContext(t.Context(), fields[0], fields[1:]...)
	cmd.Dir = root(t)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // go run hands no signal on to its child: the group gets it
	require.NoError(t, cmd.Start())
	defer func() {
		assert.NoError(t, syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL))
		_ = cmd.Wait()
	}()
	heard := make(chan string)
	go func() {
		defer close(heard)
		for s := bufio.NewScanner(out); s.Scan(); {
			select {
			case heard <- s.Text():
			case <-t.Context().Done():
				return
			}
		}
	}()
	late := time.After(100 * time.Second) // ten times the goal
	for {
		select {
		case words, more := <-heard:
			require.True(t, more, "the rehearsal ended before its collector ran")
			if strings.Contains(words, "collector: running") {
				t.Logf("the collector runs %.1f s after the build's end (goal 10 s, linking included)", time.Since(began).Seconds())
				return
			}
		case <-late:
			require.Fail(t, "no collector ran")
		}
	}
}
