package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestScript(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "shed.yaml"), demoShop, 0o600))
	day := filepath.Join(dir, "day.txt")
	write := func(text string) { require.NoError(t, os.WriteFile(day, []byte(text), 0o600)) }
	const plain = "# a day\nshop shed.yaml\nat 1s restart clean\nat 2m press ready\nat 2m1s machine router idle\nat 2m10s machine router running\nuntil 2m12s\n"
	write(plain)
	code, out, stderr := spoken(t, t.Context(), "rehearse", "--script", day)
	require.Equal(t, exitDone, code, stderr)
	assert.Contains(t, out, "at 2m10s machine router running\n-> open gate router")
	same, err := os.ReadFile(day)
	require.NoError(t, err)
	assert.Equal(t, plain, string(same), "nothing is written unless asked for")

	code, _, stderr = spoken(t, t.Context(), "rehearse", "--script", day, "--update")
	require.Equal(t, exitDone, code, stderr)
	code, said, stderr := spoken(t, t.Context(), "rehearse", "--script", day)
	require.Equal(t, exitDone, code, stderr)
	assert.Contains(t, said, "does what the script says")

	write(strings.Replace(out, "-> open gate router", "-> open gate lathe", 1))
	code, said, stderr = spoken(t, t.Context(), "rehearse", "--script", day)
	assert.Equal(t, exitNo, code)
	assert.Contains(t, said, "expected\n    -> open gate lathe")
	assert.Contains(t, stderr, "does otherwise in 1 of")

	for _, c := range []struct{ text, says string }{
		{"shop nowhere.yaml\n", "no such file"},
		{"shop shed.yaml\nat 1s machine kettle running\n", "kettle"},
		{"dance\n", "begins no line"},
	} {
		write(c.text)
		code, _, stderr := spoken(t, t.Context(), "rehearse", "--script", day)
		assert.Equal(t, exitNo, code)
		assert.Contains(t, stderr, c.says)
	}
	code, _, _ = spoken(t, t.Context(), "rehearse", "--script", filepath.Join(dir, "none.txt"))
	assert.Equal(t, exitNo, code)
	code, _, _ = spoken(t, t.Context(), "rehearse", "--update")
	assert.Equal(t, exitUsage, code)
}
