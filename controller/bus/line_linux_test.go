package bus_test

import (
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/bus"
	"ductwarden/controller/bus/posing"
)

func lines(t *testing.T, path string) *bus.LineChip {
	t.Helper()
	c, err := bus.OpenLines(path)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, c.Close()) })
	return c
}

func TestAnOutputNeverHasAnotherLevelThanItsFirst(t *testing.T) {
	for _, c := range []struct {
		name               string
		activeLow, initial bool
		high               bool
	}{
		{"active high, off", false, false, false},
		{"active high, on", false, true, true},
		{"active low, off", true, false, true},
		{"active low, on", true, true, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			pose, path := posing.StartLines(t)
			chip := lines(t, path)
			o, err := chip.Output(bus.OutputLine{Offset: 17, Name: "start", ActiveLow: c.activeLow, Initial: c.initial})
			require.NoError(t, err)
			defer o.Close()
			log := pose.Look(17).Log
			require.Len(t, log, 1, "one act from input to its level")
			assert.True(t, log[0].Output)
			assert.Equal(t, c.high, log[0].High)
			for range 5 {
				level, err := o.Level()
				require.NoError(t, err)
				assert.Equal(t, c.initial, level)
			}
			assert.Len(t, pose.Look(17).Log, 1, "reading changes neither level nor direction")
			assert.Equal(t, "ductwarden start", pose.Look(17).Consumer)
		})
	}
}

func TestAnOutputIsSet(t *testing.T) {
	pose, path := posing.StartLines(t)
	chip := lines(t, path)
	o, err := chip.Output(bus.OutputLine{Offset: 4, ActiveLow: true})
	require.NoError(t, err)
	defer o.Close()
	for _, level := range []bool{true, true, false, true} {
		require.NoError(t, o.Set(level))
		assert.Equal(t, !level, pose.Look(4).High)
		got, err := o.Level()
		require.NoError(t, err)
		assert.Equal(t, level, got)
	}
	assert.Equal(t, "gpiochip91 line 4", o.String())
}

func TestInputsOfAllSortsAreReadTogether(t *testing.T) {
	pose, path := posing.StartLines(t)
	chip := lines(t, path)
	in, err := chip.Inputs([]bus.InputLine{
		{Offset: 6, Name: "ready", ActiveLow: true, Bias: bus.PullUp, Debounce: 20 * time.Millisecond},
		{Offset: 23, Name: "planer open", Bias: bus.PullDown},
		{Offset: 5, Name: "halt", ActiveLow: true, Bias: bus.PullUp, Debounce: 20 * time.Millisecond},
		{Offset: 24, Name: "planer closed", Bias: bus.NoPull},
		{Offset: 25, Name: "bandsaw"},
	})
	require.NoError(t, err)
	defer in.Close()
	assert.Equal(t, 20*time.Millisecond, pose.Look(6).Debounce)
	assert.Equal(t, posing.Up, pose.Look(6).Pull)
	assert.Equal(t, posing.Down, pose.Look(23).Pull)
	assert.Equal(t, posing.None, pose.Look(24).Pull)
	assert.Equal(t, posing.AsIs, pose.Look(25).Pull)
	info, err := chip.Line(6)
	require.NoError(t, err)
	assert.Equal(t, bus.LineInfo{Offset: 6, Name: "GPIO6", Consumer: "ductwarden ready halt", Used: true, ActiveLow: true, Bias: bus.PullUp, Debounce: 20 * time.Millisecond}, info)

	read := func() uint64 {
		b, err := in.Read()
		require.NoError(t, err)
		return b
	}
	assert.Zero(t, read(), "a wire that hangs open reads as not active")
	pose.Drive(5, false)
	pose.Drive(25, true)
	assert.Equal(t, uint64(1<<2|1<<4), read())
	pose.Drive(6, false)
	pose.Drive(25, false)
	assert.Equal(t, uint64(1<<2|1<<0), read())
	for _, o := range []int{5, 6, 23, 24, 25} {
		assert.False(t, pose.Look(o).Output)
	}
}

func TestEdgesCarryTheirTimes(t *testing.T) {
	pose, path := posing.StartLines(t)
	chip := lines(t, path)
	in, err := chip.Inputs([]bus.InputLine{
		{Offset: 25},
		{Offset: 26, ActiveLow: true, Edges: bus.BothEdges},
		{Offset: 16, ActiveLow: true, Edges: bus.BothEdges},
		{Offset: 12, Edges: bus.Rising},
	})
	require.NoError(t, err)
	defer in.Close()
	buf := make([]bus.Edge, 64)
	n, err := in.Edges(buf)
	require.NoError(t, err)
	assert.Zero(t, n, "nothing has happened, and nothing is waited for")

	pose.Drive(16, true)
	pose.Drive(26, true)
	pose.Drive(16, false)
	pose.Drive(12, true)
	pose.Drive(12, false)
	n, err = in.Edges(buf)
	require.NoError(t, err)
	require.Equal(t, 4, n)
	for i, want := range []bus.Edge{{Line: 2, Rising: false}, {Line: 1, Rising: false}, {Line: 2, Rising: true}, {Line: 3, Rising: true}} {
		assert.Positive(t, buf[i].At)
		buf[i].At = 0
		assert.Equal(t, want, buf[i])
	}

	for range 40 { // more than the kernel keeps
		pose.Drive(12, true)
		pose.Drive(12, false)
	}
	n, err = in.Edges(buf)
	require.NoError(t, err)
	require.Equal(t, 16, n)
	assert.True(t, buf[0].Missed, "lost edges are told")
	assert.False(t, buf[1].Missed)
	n, err = in.Edges(buf[:0])
	assert.NoError(t, err)
	assert.Zero(t, n)
}

func TestLineSentences(t *testing.T) {
	pose, path := posing.StartLines(t)
	chip := lines(t, path)
	pose.Take(17, "w1 bus")
	_, err := chip.Output(bus.OutputLine{Offset: 17})
	assert.EqualError(t, err, `gpiochip91 line 17 (GPIO17) is in use by "w1 bus" (device or resource busy): stop that, remove its overlay, or take another line`)
	require.ErrorIs(t, err, syscall.EBUSY)
	_, err = chip.Inputs([]bus.InputLine{{Offset: 16}, {Offset: 17}})
	assert.ErrorContains(t, err, "gpiochip91 line 17 (GPIO17) is in use")
	assert.Empty(t, pose.Look(16).Consumer, "all of a set or none")
	_, err = chip.Output(bus.OutputLine{Offset: 54})
	assert.EqualError(t, err, "gpiochip91 has no line 54: its lines are 0 to 31")
	_, err = chip.Inputs([]bus.InputLine{{Offset: -1}})
	assert.ErrorContains(t, err, "has no line -1")
	_, err = chip.Inputs([]bus.InputLine{{Offset: 3, Name: "a"}, {Offset: 3, Name: "b"}})
	assert.ErrorContains(t, err, `asked for twice, as "a" and as "b"`)
	_, err = chip.Inputs(make([]bus.InputLine, 65))
	assert.ErrorContains(t, err, "more than the 64")

	o, err := chip.Find("GPIO22")
	require.NoError(t, err)
	assert.Equal(t, 22, o)
	_, err = chip.Find("GPIO99")
	assert.ErrorContains(t, err, "give its number instead")
	assert.Equal(t, bus.ChipInfo{Path: path, Name: "gpiochip91", Label: "posing", Lines: 32}, chip.ChipInfo)
}

func TestLinesAreGivenBack(t *testing.T) {
	pose, path := posing.StartLines(t)
	chip := lines(t, path)
	o, err := chip.Output(bus.OutputLine{Offset: 1, Initial: true})
	require.NoError(t, err)
	in, err := chip.Inputs([]bus.InputLine{{Offset: 2}})
	require.NoError(t, err)
	require.NoError(t, o.Close())
	require.NoError(t, in.Close())
	require.Eventually(t, func() bool { return pose.Look(1).Consumer == "" && pose.Look(2).Consumer == "" }, 10*time.Second, time.Millisecond)
	assert.Error(t, o.Set(false))
}
