package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
)

// workshop is a folder with everything that the guides' commands speak of.
type workshop struct{ dir, socket string }

func newWorkshop(t *testing.T) workshop {
	t.Helper()
	w := workshop{t.TempDir(), testSocket(t)}
	text, err := os.ReadFile(filepath.Join(root(t), "testdata", "shops", "pear-yard.yaml"))
	require.NoError(t, err)
	put := func(name, text string) {
		require.NoError(t, os.WriteFile(filepath.Join(w.dir, name), []byte(text), 0o600))
	}
	put("shop.yaml", string(text)+strings.ReplaceAll(`
console: {socket: DIR/console.sock}
starts: {path: DIR/starts}
page: {listen: "127.0.0.1:8480", access: DIR/access.json}
journal: {path: DIR/journal.db}
`, "DIR", w.dir))
	put("texts.json", `{"nav.shop": "Werkstatt"}`)
	put("day.txt", "shop shop.yaml\nat 1s restart clean\n...\n")
	s, err := config.Load(filepath.Join(w.dir, "shop.yaml"))
	require.NoError(t, err)
	put("readings.csv", fmt.Sprintf("open,place,quantity,value\n%s,%s,speed,15 m/s\n", s.Gates[0].Name, s.Ports[0].Name))
	fillJournal(t, filepath.Join(w.dir, "journal.db"))
	return w
}

// answersNo are verbs whose answer is no here, and what they then say: no board, and air that is only invented.
var answersNo = map[string]string{"doctor": " -> ", "survey": "settles"}

// speaksToDaemon are verbs that take --socket.
var speaksToDaemon = map[string]bool{"ready": true, "finish": true, "halt": true, "acknowledge": true, "status": true}

// args turns a line of a guide into arguments for this folder.
func (w workshop) args(t *testing.T, line string) []string {
	t.Helper()
	line, _, _ = strings.Cut(line, " #")
	fields := strings.Fields(strings.TrimPrefix(line, "ductwarden "))
	for i, f := range fields {
		switch {
		case f == "/etc/ductwarden/shop.yaml":
			fields[i] = filepath.Join(w.dir, "shop.yaml")
		case f == "/usr/share/doc/ductwarden/examples/shop.yaml":
			fields[i] = filepath.Join(root(t), "cmd", "ductwarden", "rehearse_shop.yaml")
		case strings.HasPrefix(f, "testdata/"), strings.HasPrefix(f, "config/"):
			fields[i] = filepath.Join(root(t), f)
		case i > 0 && regexp.MustCompile(`^[a-z-]+\.(txt|csv|zip|json|yaml|tar\.gz)$`).MatchString(f):
			fields[i] = filepath.Join(w.dir, f)
		}
	}
	switch verb := fields[0]; {
	case speaksToDaemon[verb]:
		fields = append(fields, "--socket", w.socket)
	case map[string]bool{"doctor": true, "paths": true, "backup": true, "restore": true, "erase": true, "diagnostics": true}[verb]:
		fields = append(fields, "--config", filepath.Join(w.dir, "shop.yaml"))
	}
	return fields
}

// typed is how a line begins that a person types.
var typed = regexp.MustCompile(`^(ductwarden|sudo|go|journalctl|systemctl|deploy/\S+|\.ci/\S+|sha256sum|gpg)\b`)

// commandLines are the lines of a guide's code blocks that a person types.
func commandLines(text string) (out []string) {
	inside, shell := false, false
	for line := range strings.Lines(text) {
		line = strings.TrimSpace(line)
		if kind, fence := strings.CutPrefix(line, "```"); fence {
			inside = !inside
			shell = inside && (kind == "" || kind == "sh")
			continue
		}
		if line, _, _ = strings.Cut(line, " #"); shell && typed.MatchString(line) {
			out = append(out, strings.TrimSpace(line))
		}
	}
	return out
}

func TestCommandLinesAreFoundBetweenOtherBlocks(t *testing.T) {
	got := commandLines("go on\n```yaml\ngates: []\nductwarden: no\n```\nductwarden prose\n```sh\nductwarden check a.yaml   # 2 s\n```\ngo home\n```\ngo test ./...\n```\n")
	assert.Equal(t, []string{"ductwarden check a.yaml", "go test ./..."}, got)
}

// Every command in the README and beside the packages does what it says: those of the program are executed here,
// those of the system where the package is tried.
func TestEveryCommandInTheGuides(t *testing.T) {
	unshared(t)
	elsewhere, err := os.ReadFile(filepath.Join(root(t), ".ci", "package"))
	require.NoError(t, err)
	release, err := os.ReadFile(filepath.Join(root(t), "deploy", "release"))
	require.NoError(t, err)
	seen := 0
	for _, path := range guides(t) {
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		w := newWorkshop(t)
		for _, line := range commandLines(string(text)) {
			seen++
			name := filepath.Base(path) + ": " + line
			switch {
			case line == "go test -timeout 30m ./...", line == "go test ./deploy/drawing", line == "go run ./cmd/ductwarden rehearse",
				strings.Contains(string(release), "&& "+line+")"):
				continue // this very command, one of its packages, what TestReadmesFirstCommand does; what a release does itself
			case !strings.HasPrefix(line, "ductwarden "):
				assert.Contains(t, string(elsewhere), "said '"+line+"'", "%s: try it in .ci/package", name)
				continue
			}
			if line == "ductwarden rehearse" || line == "ductwarden rehearse shop.yaml" {
				line += " --speed 0"
			}
			args := w.args(t, line)
			ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
			code, out, stderr := spoken(t, ctx, args...)
			cancel()
			no := answersNo[args[0]]
			assert.True(t, code == exitDone || code == exitNo && no != "" && strings.Contains(out, no), "%s: %d\n%s%s", name, code, out, stderr)
		}
	}
	assert.Greater(t, seen, 20, "the guides have lost their commands")
}

// deed is the end of a sentence that says what to do: an order.
var deed = regexp.MustCompile(`; (did you mean|keep|write|give|remove|mend|close|indent|save|use|take|choose) `)

// A person who reads a problem of a shop file knows what to do: what is accepted stands in it.
func TestEveryConfigProblemSaysWhatIsAccepted(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(root(t), "config", "testdata", "bad", "*.yaml"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, path := range files {
		_, err := config.Load(path)
		var problems config.Problems
		require.ErrorAs(t, err, &problems, path)
		for _, p := range problems {
			assert.True(t, p.Accepted != "" || deed.MatchString(p.Problem), "%s: %q says neither what is accepted nor what to do", filepath.Base(path), p.Problem)
		}
	}
}

// What the documents link to is there.
func TestGuidesLinkToWhatExists(t *testing.T) {
	for _, path := range guides(t) {
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		for _, m := range regexp.MustCompile(`\]\(([^)#:]+)\)`).FindAllStringSubmatch(string(text), -1) {
			assert.True(t, isThere(filepath.Join(filepath.Dir(path), m[1])), "%s links to %s", filepath.Base(path), m[1])
		}
	}
}

// unshared skips, under the race detector, what shares no memory that another test does not share too.
func unshared(t *testing.T) {
	t.Helper()
	if underRace {
		t.Skip("it shares nothing: it runs in the plain tests")
	}
}
