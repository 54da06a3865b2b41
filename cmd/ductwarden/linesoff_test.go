package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A shop whose parts are all on the network has no line to drive off, and that is no error: the service manager calls
// the helper after every end.
func TestLinesOffWithoutLines(t *testing.T) {
	if isThere("/run/ductwarden") {
		t.Skip("a daemon is installed here: its lock is not touched")
	}
	t.Setenv("TMPDIR", t.TempDir())
	text, err := os.ReadFile(filepath.Join("testdata", "remote.yaml"))
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "shop.yaml")
	require.NoError(t, os.WriteFile(path, text, 0o600))
	code, out, stderr := spoken(t, t.Context(), "lines-off", "--config", path)
	assert.Equal(t, exitDone, code, stderr)
	assert.Empty(t, out)
}
