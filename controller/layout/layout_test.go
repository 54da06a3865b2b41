package layout

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestPlace(t *testing.T) {
	// trunk with two drops, one of them with a port halfway, and a second collector with a hose
	p := Place([]Duct{{Into: -1}, {Into: 0, Port: true}, {Into: 0, Port: true}, {Into: 2, Port: true}, {Into: -1, Collector: 1, Port: true}}, 2)
	assert.Equal(t, []int{1, 2, 2, 3, 1}, p.Depth)
	assert.Equal(t, []float64{1, 0, 2, 1, 3}, p.Row, "the trunk in the middle of its drops, a port halfway in a row of its own")
	assert.Equal(t, 4, p.Rows)
	assert.Equal(t, 3, p.Deepest)
	assert.Equal(t, 1.0, p.CollectorRow(0))
	assert.Equal(t, 3.0, p.CollectorRow(1))
	seen := map[float64]int{}
	for i := range p.Row {
		if i != 0 && i != 2 {
			seen[p.Row[i]]++
		}
	}
	for row, n := range seen {
		assert.Equal(t, 1, n, "row %g", row)
	}
	assert.Zero(t, Place(nil, 0).CollectorRow(0))
}

func TestShortAndStroke(t *testing.T) {
	assert.Equal(t, "planer", Short("planer", 6))
	assert.Equal(t, "plan…", Short("planer", 5))
	last := 0
	for _, d := range []float64{0, 0.08, 0.1, 0.125, 0.16} {
		assert.GreaterOrEqual(t, Stroke(d), last)
		last = Stroke(d)
	}
}

func TestWrap(t *testing.T) {
	assert.Equal(t, []string{"the big", "collector in", "the lean-to"}, Wrap("the big collector in the lean-to", 13, 4))
	assert.Equal(t, []string{"the big", "collector i…"}, Wrap("the big collector in the lean-to", 12, 2))
	assert.Equal(t, []string{"Späneabsauga…"}, Wrap("Späneabsauganlage", 13, 2))
	assert.Empty(t, Wrap("  ", 13, 2))
}
