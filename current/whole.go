package current

import "math/bits"

// root is the whole-number square root, rounded down; zero for a negative number.
func root(v int64) int64 {
	if v <= 0 {
		return 0
	}
	u := uint64(v)
	r := uint64(1) << ((bits.Len64(u) + 1) / 2) // at or above the root
	for {
		next := (r + u/r) / 2
		if next >= r {
			return int64(r)
		}
		r = next
	}
}

// nearest divides and rounds to the nearest whole number, halves away from zero. The divisor is above zero.
func nearest(a, b int64) int64 {
	if a < 0 {
		return -((-a + b/2) / b)
	}
	return (a + b/2) / b
}

// variance is the mean square less the square of the mean, from a sum, a sum of squares and a count.
func variance(sum, squares, n int64) int64 {
	if n <= 0 {
		return 0
	}
	if sum < 0 {
		sum = -sum
	}
	hi, lo := bits.Mul64(uint64(sum), uint64(sum))
	if hi >= uint64(n) {
		return 0
	}
	part, _ := bits.Div64(hi, lo, uint64(n)) // sum²/n, below the sum of squares by Cauchy and Schwarz
	return max(0, (squares-int64(part))/n)
}
