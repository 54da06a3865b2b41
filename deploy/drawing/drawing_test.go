package drawing

import (
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/starter/chargepump"
)

var update = flag.Bool("update", false, "write the drawings anew")

func TestDrawingsStandBesideTheirSource(t *testing.T) {
	for name, svg := range All() {
		path := filepath.Join("..", name)
		if *update {
			require.NoError(t, os.WriteFile(path, []byte(svg), 0o644))
		}
		got, err := os.ReadFile(path)
		require.NoError(t, err)
		assert.Equal(t, svg, string(got), "%s: run go test ./deploy/drawing -update, and look at it", name)
		for d := xml.NewDecoder(strings.NewReader(svg)); ; {
			if _, err := d.Token(); errors.Is(err, io.EOF) {
				break
			} else {
				require.NoError(t, err, name)
			}
		}
		assert.Contains(t, svg, "licensed electrician, local code", name)
		assert.NotRegexp(t, `\b(120|230|240|400) ?V\b`, svg, "%s: extra-low voltage only", name)
	}
	assert.Contains(t, All()["wiring-whole.svg"], "HAND SWITCH")
}

// The circuit that is drawn does what the program and its simulation count on.
func TestPumpDropsOutInTime(t *testing.T) {
	p := Usual
	short, long := p.DropOut()
	assert.Less(t, long, chargepump.UsualDropOut.Seconds(), "the simulated pump is the slower one")
	assert.Greater(t, short, 2/p.Rate, "a pulse that comes late does not drop the collector")
	assert.Less(t, p.step(0), p.Least, "one stray pulse starts nothing")
	assert.Greater(t, p.decay(p.Peak(), 1/p.Rate), p.Most, "it holds between two pulses")
	assert.LessOrEqual(t, p.Rises(), 2*chargepump.UsualCharge)
	// the formula against small steps of the same circuit
	v, at := p.Peak(), 0.0
	for ; v > p.Least; at += 1e-5 {
		v -= v * 1e-5 / (p.Bleed * p.Store)
	}
	assert.InDelta(t, at*(1+p.CapTolerance)*(1+p.BleedTolerance), long, 1e-3)
}
