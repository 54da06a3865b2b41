package takeoff

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// fewest is the plain answer: every way to put the pieces into bars.
func fewest(size []int, room int) int {
	best := len(size)
	var free []int
	var try func(i int)
	try = func(i int) {
		if len(free) >= best {
			return
		}
		if i == len(size) {
			best = len(free)
			return
		}
		for b := range free {
			if free[b] >= size[i] {
				free[b] -= size[i]
				try(i + 1)
				free[b] += size[i]
			}
		}
		free = append(free, room-size[i])
		try(i + 1)
		free = free[:len(free)-1]
	}
	try(0)
	return best
}

func sound(t *testing.T, pieces []Piece, bars []Bar, stock, kerf int) {
	t.Helper()
	want, got := 0, 0
	for _, p := range pieces {
		want += p.Length
	}
	for _, b := range bars {
		used := 0
		for _, p := range b.Pieces {
			used += p.Length
			got += p.Length
		}
		require.LessOrEqual(t, used+kerf*(len(b.Pieces)-1), stock)
		require.GreaterOrEqual(t, b.Offcut, 0)
	}
	require.Equal(t, want, got, "nothing is lost")
}

func TestFewestBarsAgainstBruteForce(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 5))
	for range 3000 {
		stock, kerf := 1000+r.IntN(2000), r.IntN(6)
		pieces := make([]Piece, 1+r.IntN(9))
		var size []int
		for i := range pieces {
			pieces[i].Length = 50 + r.IntN(stock-50)
			size = append(size, pieces[i].Length+kerf)
		}
		bars, couplings, proved := Pack(pieces, stock, kerf)
		require.True(t, proved)
		require.Zero(t, couplings)
		require.Equal(t, fewest(size, stock+kerf), len(bars))
		sound(t, pieces, bars, stock, kerf)
	}
}

func TestFortyPiecesAreProved(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 11))
	unproved, most := 0, 0
	for range 300 {
		pieces := make([]Piece, 40)
		for i := range pieces {
			pieces[i].Length = 10 * (20 + r.IntN(260)) // runs of 0.2 to 2.8 m, to the centimetre
		}
		bars, _, proved := Pack(pieces, 3000, 3)
		sound(t, pieces, bars, 3000, 3)
		most = max(most, len(bars))
		if !proved {
			unproved++
		}
	}
	t.Logf("300 lists of 40 pieces, up to %d bars: %d not proved", most, unproved)
	assert.Zero(t, unproved)
}

func TestLongRunsAreCoupled(t *testing.T) {
	bars, couplings, proved := Pack([]Piece{{7500, "trunk"}, {500, "drop"}}, 3000, 3)
	assert.True(t, proved)
	assert.Equal(t, 2, couplings)
	require.Len(t, bars, 3)
	assert.Equal(t, 3000-1500-3-500-3, bars[2].Offcut)
	bars, _, _ = Pack([]Piece{{1500, "a"}, {1497, "b"}}, 3000, 3)
	assert.Len(t, bars, 1, "two pieces need one cut")
	bars, _, _ = Pack([]Piece{{1500, "a"}, {1498, "b"}}, 3000, 3)
	assert.Len(t, bars, 2, "a saw takes its kerf")
	_, _, proved = Pack(nil, 0, 3)
	assert.False(t, proved)
}

// The hardest lists known: bars that are filled to the last millimetre by three pieces each, and pieces that lie
// around a third or a quarter of a bar. Forty pieces at most, and each list is proved.
func TestHardListsAreProved(t *testing.T) {
	r := rand.New(rand.NewPCG(13, 17))
	for n := range 75 {
		var pieces []Piece
		exact := 0
		switch n % 3 {
		case 0: // thirteen full bars
			for exact = 0; exact < 13; exact++ {
				a := 900 + r.IntN(550)
				b := 750 + r.IntN((3000-a-750)/2)
				pieces = append(pieces, Piece{Length: a}, Piece{Length: b}, Piece{Length: 3000 - a - b})
			}
		case 1:
			for range 40 {
				pieces = append(pieces, Piece{Length: 800 + r.IntN(500)})
			}
		default:
			for range 40 {
				pieces = append(pieces, Piece{Length: 600 + r.IntN(300)})
			}
		}
		r.Shuffle(len(pieces), func(i, j int) { pieces[i], pieces[j] = pieces[j], pieces[i] })
		bars, _, proved := Pack(pieces, 3000, 0)
		sound(t, pieces, bars, 3000, 0)
		if !assert.True(t, proved, "list %d of kind %d: %d bars", n, n%3, len(bars)) {
			continue
		}
		if exact > 0 {
			assert.Len(t, bars, exact)
		}
	}
}
