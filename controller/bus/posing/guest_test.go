//go:build linux && (amd64 || arm64)

package posing_test

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/bus"
	"ductwarden/controller/bus/posing"
)

const programEnv = "POSING_TEST_PROGRAM"

func TestMain(m *testing.M) {
	posing.Main()
	if path := os.Getenv(programEnv); path != "" {
		if err := program(path); err != nil {
			fmt.Println("failed:", err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// program is another program than the test: it switches a lamp by a button until its input ends.
func program(path string) error {
	chip, err := bus.OpenLines(path)
	if err != nil {
		return err
	}
	lamp, err := chip.Output(bus.OutputLine{Offset: 19, Name: "lamp", ActiveLow: true})
	if err != nil {
		return err
	}
	button, err := chip.Inputs([]bus.InputLine{{Offset: 6, Name: "button", ActiveLow: true, Bias: bus.PullUp, Edges: bus.BothEdges}})
	if err != nil {
		return err
	}
	_, err = chip.Output(bus.OutputLine{Offset: 19})
	fmt.Println("refused:", err)
	buf := make([]bus.Edge, 4)
	for {
		n, err := button.Edges(buf)
		if err != nil {
			return err
		}
		for _, e := range buf[:n] {
			if err := lamp.Set(e.Rising); err != nil {
				return err
			}
		}
		time.Sleep(time.Millisecond)
	}
}

func TestAnotherProgramUsesTheLines(t *testing.T) {
	files := posing.Start(t)
	pins := posing.NewLines("posing", "GPIO", 32)
	path := files.Lines("gpiochip91", pins)
	t.Setenv(programEnv, path)
	self, err := os.Executable()
	require.NoError(t, err)
	g, err := files.Command(self)
	require.NoError(t, err)
	g.Env = append(g.Env, programEnv+"="+path)
	out, err := g.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, g.Start())
	said := bufio.NewScanner(out)
	require.True(t, said.Scan())
	assert.Contains(t, said.Text(), `refused: gpiochip91 line 19 (GPIO19) is in use by "ductwarden lamp"`)

	assert.True(t, pins.Look(19).Output)
	assert.True(t, pins.Look(19).High, "off is high on this lamp, from its first moment")
	assert.Len(t, pins.Look(19).Log, 1)
	for _, pressed := range []bool{true, false, true} {
		pins.Drive(6, !pressed)
		require.Eventually(t, func() bool { return pins.Look(19).High == !pressed }, 10*time.Second, time.Millisecond)
	}
	require.NoError(t, g.Process.Kill())
	var exit *exec.ExitError
	assert.ErrorAs(t, g.Wait(), &exit)
	require.Eventually(t, func() bool { return pins.Look(19).Consumer == "" }, 10*time.Second, time.Millisecond)
	assert.False(t, pins.Look(19).High, "the line keeps its level when the program dies")
}
