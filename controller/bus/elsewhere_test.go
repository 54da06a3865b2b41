package bus

import (
	"go/build"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// On a system without these interfaces every way to a bus or a line ends in one sentence that sends to the board. The
// sentence is read here; that nothing else stands in its place there is read from what such a build is made of.
func TestElsewhereOneSentenceSendsToTheBoard(t *testing.T) {
	said := notHere("/dev/i2c-1", "I2C buses are", "bus").Error()
	assert.Equal(t, "/dev/i2c-1: I2C buses are driven on Linux only, and this is "+runtime.GOOS+": try the shop here with rehearse; run it on the board that has the bus", said)
	assert.NotContains(t, said, "\n")

	for _, system := range []string{"windows", "darwin"} {
		ctx := build.Default
		ctx.GOOS, ctx.CgoEnabled = system, false
		pkg, err := ctx.ImportDir(".", 0)
		require.NoError(t, err)
		doors := 0
		for _, name := range pkg.GoFiles {
			if !strings.HasSuffix(name, "_other.go") || name == "errno_other.go" {
				continue
			}
			text, err := os.ReadFile(filepath.Join(".", name))
			require.NoError(t, err)
			assert.Contains(t, string(text), "notHere(", "%s on %s", name, system)
			doors++
		}
		assert.Equal(t, 3, doors, "buses, lines and SPI on %s", system)
	}
}
