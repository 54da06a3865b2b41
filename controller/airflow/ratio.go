package airflow

import "math"

// Ratio is a fraction in 1/10000 (500 = 5 %), rounded once where a verdict leaves this package. Everything
// that decides compares ratios, never floats, so that it decides alike on every processor.
type Ratio int32

// NoRatio marks a ratio that is undefined: no carrying duct, a port without a wanted airflow, air not judged.
const NoRatio Ratio = math.MinInt32

// RatioOf rounds x to the nearest 1/10000, halves upwards, and clips what does not fit. NaN is NoRatio.
func RatioOf(x float64) Ratio {
	y := math.Floor(float64(x*1e4) + 0.5)
	switch {
	case math.IsNaN(y):
		return NoRatio
	case y > math.MaxInt32:
		return math.MaxInt32
	case y <= math.MinInt32:
		return math.MinInt32 + 1
	}
	return Ratio(y)
}

// Float is the ratio as a fraction; NaN when it is undefined.
func (r Ratio) Float() float64 {
	if r == NoRatio {
		return math.NaN()
	}
	return float64(r) / 1e4
}

// Grade says how the carrying ducts move what the machines throw into them.
type Grade uint8

// The grades, best first.
const (
	Carries   Grade = iota // at or above the transport speed with its margin in every carrying duct
	Creeps                 // somewhere below that, nowhere below the settling speed
	Settles                // somewhere below the settling speed
	NotJudged              // no ducts, no fan curve, or nothing demanded
)

// String is the grade's word in reports and in JSON.
func (g Grade) String() string {
	switch g {
	case Carries:
		return "carries"
	case Creeps:
		return "creeps"
	case Settles:
		return "settles"
	}
	return "not_judged"
}
