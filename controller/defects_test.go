package controller_test

import (
	"context"
	"encoding/json"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var defects = flag.Bool("defects", false, "put every defect of testdata/defects.txt into the core, and see the tests fail")

// defect is one change for the worse.
type defect struct {
	name, file, old, new string
	equal                string // why no test can tell
}

func readDefects(t *testing.T) (out []defect) {
	text, err := os.ReadFile(filepath.Join("testdata", "defects.txt"))
	require.NoError(t, err)
	for _, block := range strings.Split(string(text), "\n\n") {
		var d defect
		var old, new []string
		for _, l := range strings.Split(strings.Trim(block, "\n"), "\n") {
			key, rest, _ := strings.Cut(l, " ")
			switch key {
			case "defect:":
				d.name = rest
			case "file:":
				d.file = rest
			case "equal:":
				d.equal = rest
			case "-":
				old = append(old, rest)
			case "+":
				new = append(new, rest)
			default:
				require.True(t, strings.HasPrefix(key, "#"), "%q begins no line of defects.txt", l)
			}
		}
		if d.name == "" {
			continue
		}
		d.old, d.new = strings.Join(old, "\n"), strings.Join(new, "\n")
		out = append(out, d)
	}
	return out
}

// Every defect still has its place in the source, so that the list cannot rot.
func TestDefectsHaveTheirPlace(t *testing.T) {
	list := readDefects(t)
	require.GreaterOrEqual(t, len(list), 40)
	for _, d := range list {
		source, err := os.ReadFile(filepath.Join("..", d.file))
		require.NoError(t, err)
		assert.Contains(t, string(source), d.old, "%s: the source has changed; put the defect where it belongs now", d.name)
		assert.NotEqual(t, d.old, d.new, d.name)
	}
}

// The tests kill what is wrong: each defect alone is put into the build by an overlay, and some test must fail.
func TestDefectsAreKilled(t *testing.T) {
	if !*defects {
		t.Skip("run with -defects; it takes minutes")
	}
	root, err := filepath.Abs("..")
	require.NoError(t, err)
	list := readDefects(t)
	var mu sync.Mutex
	killed, equal := 0, 0
	work := make(chan defect)
	var wg sync.WaitGroup
	for range 2 {
		wg.Go(func() {
			for d := range work {
				out, err := testWith(t, root, d)
				mu.Lock()
				switch {
				case strings.Contains(out, "build failed"), strings.Contains(out, "setup failed"):
					t.Errorf("%s: does not build: %s", d.name, out)
				case strings.Contains(out, "--- FAIL"), strings.Contains(out, "panic:"):
					killed++
					t.Logf("killed: %s", d.name)
				case err != nil:
					t.Errorf("%s: the tests did not run: %v: %s", d.name, err, out)
				case d.equal != "":
					equal++
					t.Logf("no test can tell: %s: %s", d.name, d.equal)
				default:
					t.Errorf("%s: no test fails", d.name)
				}
				mu.Unlock()
			}
		})
	}
	for _, d := range list {
		work <- d
	}
	close(work)
	wg.Wait()
	t.Logf("%d defects: %d killed, %d equal", len(list), killed, equal)
	assert.GreaterOrEqual(t, killed*100, (len(list)-equal)*95, "95 %% are to be killed")
}

// testWith runs the core's tests with one defect in place.
func testWith(t *testing.T, root string, d defect) (string, error) {
	dir := t.TempDir()
	source, err := os.ReadFile(filepath.Join(root, d.file))
	if err != nil {
		return "", err
	}
	wrong := filepath.Join(dir, "wrong.go")
	if err := os.WriteFile(wrong, []byte(strings.Replace(string(source), d.old, d.new, 1)), 0o600); err != nil {
		return "", err
	}
	overlay, err := json.Marshal(map[string]map[string]string{"Replace": {filepath.Join(root, d.file): wrong}})
	if err != nil {
		return "", err
	}
	list := filepath.Join(dir, "overlay.json")
	if err := os.WriteFile(list, overlay, 0o600); err != nil {
		return "", err
	}
	ctx, stop := context.WithTimeout(t.Context(), 3*time.Minute)
	defer stop()
	c := exec.CommandContext(ctx, "go", "test", "-vet=off", "-short", "-skip", "Defects", "-overlay", list, "./controller", "./gates", "./controller/alarm")
	c.Dir = root
	out, err := c.CombinedOutput()
	return string(out), err
}
