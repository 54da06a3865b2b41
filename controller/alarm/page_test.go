package alarm

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
)

var update = flag.Bool("update", false, "write deploy/alarms.md anew")

func TestThePageIsTheList(t *testing.T) {
	path := filepath.Join("..", "..", "deploy", "alarms.md")
	if *update {
		require.NoError(t, os.WriteFile(path, []byte(Page()), 0o644))
	}
	have, err := os.ReadFile(path)
	require.NoError(t, err, "write it with `go test ./controller/alarm -update`")
	assert.Equal(t, Page(), string(have), "the page is not of this list: write it with `go test ./controller/alarm -update`")
	for _, c := range controller.Conditions() {
		assert.Equal(t, 1, strings.Count(string(have), "### `"+c.String()+"`"), c.String())
	}
	for _, e := range List {
		for _, s := range []string{e.Text, e.Cause, e.Consequence, e.ToDo} {
			assert.NotEmpty(t, s, e.Is.String())
		}
		assert.Equal(t, e.Priority == Urgent, e.Horn, "%s: whoever must act within seconds must hear or see it", e.Is)
	}
}
