package current

import (
	"math"
	"math/big"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

func TestRoot(t *testing.T) {
	for _, v := range []int64{-5, 0, 1, 2, 3, 4, 8, 9, 15, 16, 17, 1<<40 - 1, 1 << 40, math.MaxInt64} {
		r := root(v)
		if v <= 0 {
			assert.Zero(t, r)
			continue
		}
		assert.LessOrEqual(t, new(big.Int).Mul(big.NewInt(r), big.NewInt(r)).Cmp(big.NewInt(v)), 0, "%d", v)
		assert.Positive(t, new(big.Int).Mul(big.NewInt(r+1), big.NewInt(r+1)).Cmp(big.NewInt(v)), "%d", v)
	}
	rapid.Check(t, func(t *rapid.T) {
		r := rapid.Int64Range(1, 3_037_000_498).Draw(t, "r")
		if root(r*r) != r || root(r*r-1) != r-1 || root(r*r+2*r) != r {
			t.Fatalf("root near %d squared", r)
		}
	})
}

func TestNearest(t *testing.T) {
	for _, c := range [][3]int64{{7, 2, 4}, {-7, 2, -4}, {6, 4, 2}, {-6, 4, -2}, {5, 4, 1}, {-5, 4, -1}, {0, 3, 0}} {
		assert.Equal(t, c[2], nearest(c[0], c[1]), "%d / %d", c[0], c[1])
	}
}

func TestVariance(t *testing.T) {
	assert.Zero(t, variance(5, 25, 0))
	assert.Zero(t, variance(100, 0, 10), "sums that cannot be are no variance")
	assert.Zero(t, variance(math.MaxInt64, 1, 2), "nor do they overflow")
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.Int64Range(-MaxCurrent, MaxCurrent), 1, 5000).Draw(t, "values")
		sum, squares := int64(0), int64(0)
		for _, v := range values {
			sum += v
			squares += v * v
		}
		n := int64(len(values))
		mean := new(big.Rat).SetFrac64(sum, n)
		exact := new(big.Rat).Sub(new(big.Rat).SetFrac64(squares, n), mean.Mul(mean, mean))
		got := new(big.Rat).SetInt64(variance(sum, squares, n))
		apart := got.Sub(got, exact)
		if apart.Abs(apart).Cmp(big.NewRat(1, 1)) > 0 {
			t.Fatalf("variance is off by %v", apart)
		}
	})
}
