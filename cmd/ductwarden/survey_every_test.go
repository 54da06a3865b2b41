package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// writeRow writes a shop with drops along one trunk, all gates moved by hand.
func writeRow(t *testing.T, drops int) string {
	t.Helper()
	text, _, _ := strings.Cut(strings.NewReplacer("UNITS", "metric", "CARRIES", "18 m/s", "TOGETHER", "").Replace(surveyShop), "ducts:")
	var ducts, ports, gates, machines strings.Builder
	for i := range drops {
		fmt.Fprintf(&ducts, "  - {name: drop %d, into: trunk, diameter: 100 mm, length: %d m, wall: galvanized}\n", i, 1+i%4)
		fmt.Fprintf(&ports, "  - {name: port %d, duct: drop %d, hood: plain}\n", i, i)
		fmt.Fprintf(&gates, "  - {name: port %d, duct: drop %d, actuator: hand}\n", i, i)
	}
	machines.WriteString("  - {name: saw, ports: [port 0], run_down: 8 s, sensors: [{contact: {line: GPIO25}}]}\n")
	text += "ducts:\n  - {name: trunk, into: collector, diameter: 150 mm, length: 4 m, wall: galvanized}\n" + ducts.String() +
		"ports:\n" + ports.String() + "gates:\n" + gates.String() + "machines:\n" + machines.String()
	path := filepath.Join(t.TempDir(), "row.yaml")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

// With more gates than the survey lists patterns of, it says what all of them come to, and lists those that carry.
// Counted over tables and searched for, they are the same: two of ten drops and three, by the width of the trunk.
func TestSurveySaysWhatEveryPatternComesTo(t *testing.T) {
	path := writeRow(t, 12)
	_, out, stderr := runSurvey(t, path, "--advice", "none")
	require.Empty(t, stderr)
	_, list, _ := runSurvey(t, path, "--patterns", "carrying")
	lines := strings.Split(strings.TrimSpace(list), "\n")
	assert.Contains(t, out, fmt.Sprintf("Of all 4096 patterns of the 12 gates, %d carry with the filter loaded", len(lines)))
	assert.Contains(t, out, "--patterns carrying lists them")
	for _, l := range lines {
		assert.Contains(t, l, "  loaded  carries  ")
	}
	_, all, _ := runSurvey(t, path, "--patterns", "all")
	assert.Equal(t, strings.Count(all, "  loaded  carries  "), len(lines))

	_, rows, _ := runSurvey(t, path, "--patterns", "carrying", "--json")
	got := readSurvey(t, `{"patterns":[`+strings.ReplaceAll(strings.TrimSpace(rows), "\n", ",")+`],"demands":[]}`)
	assert.Len(t, got.Patterns, len(lines))

	_, list, _ = runSurvey(t, writeRow(t, 26), "--patterns", "carrying")
	more := strings.Split(strings.TrimSpace(list), "\n")
	assert.Greater(t, len(more), len(lines))
	assert.Contains(t, more[0], "  loaded  carries  ")
	code, _, stderr := runSurvey(t, path, "--patterns", "some")
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, stderr, "--patterns carrying")
}
