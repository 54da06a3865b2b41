package plan

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/gates"
)

// Against a map, over many searches of very different sizes.
func TestIndexFindsWhatItHolds(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	var x index
	for range 300 {
		x.empty()
		var rows []row
		known := map[gates.Set]int32{}
		for range r.IntN(1 << r.IntN(12)) {
			extra := gates.Of(r.IntN(40), r.IntN(40), r.IntN(6))
			want, ok := known[extra]
			if !ok {
				want = -1
			}
			require.Equal(t, want, x.row(extra, rows))
			if !ok {
				rows = append(rows, row{extra: extra})
				known[extra] = int32(len(rows) - 1)
				x.keep(known[extra], rows)
			}
		}
	}
	x.round = 1<<32 - 1
	x.empty()
	assert.EqualValues(t, -1, x.row(0, nil), "the count of rounds begins again")
	assert.EqualValues(t, 1, x.round)
}
