package main

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What cannot be solved is refused with the place, what was found, and what to do.
func TestSurveyRefusesBadAir(t *testing.T) {
	for name, want := range map[string]string{
		"loop-in-ducts":          `:20:25: ducts\[0\]\.into: these ducts run in a loop .*accepted: into: a duct nearer to the collector`,
		"duct-without-port":      `:22:5: ducts\[2\]: no air can enter the duct lathe drop.*or leave the duct out`,
		"zero-length":            `:20:62: ducts\[0\]\.length: .*found "0 m"; accepted: 1 mm to 200 m`,
		"fan-curve-rises":        `:11:11: collectors\[0\]\.fan\.curve\[1\]: the fan's curve rises here.*leave the points left of the hump out`,
		"fan-without-pressure":   `:10:11: collectors\[0\]\.fan\.curve\[0\]: .*could not move any air.*more than 0 Pa`,
		"fan-curve-of-one-point": `needs two points at least`,
		"fan-flow-falls":         `the flow of this point does not rise`,
	} {
		path := filepath.Join(root(t), "config", "testdata", "bad", name+".yaml")
		for _, verb := range [][]string{{"survey", path}, {"survey", path, path}, {"takeoff", path}} {
			code, out, stderr := program(t, verb...)
			assert.Equal(t, exitNo, code, name)
			assert.Empty(t, out)
			assert.Regexp(t, want, stderr, name)
		}
	}
}

// A fan that is far too weak for its ducts is not refused: it is judged, and it is said that nothing mends it or what does.
func TestWeakFanIsJudged(t *testing.T) {
	path := shopWith(t, "pressure: 2400 Pa", "pressure: 12 Pa", "pressure: 2200 Pa", "pressure: 10 Pa", "pressure: 1500 Pa", "pressure: 6 Pa", "pressure: 200 Pa}\n    filter", "pressure: 1 Pa}\n    filter")
	code, out, stderr := program(t, "survey", path)
	require.Empty(t, stderr)
	assert.Equal(t, exitNo, code)
	assert.Contains(t, out, "settles")
	assert.Contains(t, out, "nothing that was tried mends it")
}
