package simshop

import (
	"math"
	"time"
)

// noise is repeatable white noise: its value depends only on seed, channel and moment, so the order in which
// channels are read changes nothing.
type noise uint64

// at returns a value of about unit standard deviation (a sum of four uniform draws, cut at 3.5).
func (n noise) at(channel int, now time.Duration) float64 {
	x := mix(uint64(n) ^ mix(uint64(now)+uint64(channel)*0x9e3779b97f4a7c15))
	const half = 32767.5
	sum := float64(x&0xffff) + float64(x>>16&0xffff) + float64(x>>32&0xffff) + float64(x>>48) - 4*half
	return sum / (half * 2 / math.Sqrt(3)) // four uniform draws of ±half have a deviation of 2·half/√3
}

// unit returns a repeatable fraction in [0, 1) for a number, for example a motor's phase.
func (n noise) unit(k int) float64 {
	return float64(mix(uint64(n)+uint64(k)*0xbf58476d1ce4e5b9)>>11) / (1 << 53)
}

// mix is the finalizer of the splitmix64 generator (Steele, Lea, Flood 2014, from memory).
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}
