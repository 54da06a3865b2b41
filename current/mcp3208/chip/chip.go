// Package chip is a model of the MCP3208 (Microchip DS21298): what its data line answers to one selected
// transfer. Drivers are tested against it and the simulated shop is built of it.
package chip

import (
	"math"
	"time"
)

// Input gives the voltage at an input, 0 to 7, in volts against ground at a time.
type Input func(channel int, at time.Duration) float64

// Chip is one converter. The reference is its supply, 3.3 V unless set.
type Chip struct {
	In     Input
	Supply float64 // volts; zero means 3.3
	Dead   bool    // unpowered: nothing drives the data line, which a pull-up holds high
}

// Tx answers one transfer between two edges of the select line; r is as long as w.
func (c *Chip) Tx(now time.Duration, w, r []byte) {
	for i := range r {
		r[i] = 0xff
	}
	if c.Dead {
		return
	}
	bit := func(n int) int {
		if n/8 >= len(w) {
			return 0
		}
		return int(w[n/8]>>(7-n%8)) & 1
	}
	start := 0
	for start < 8*len(w) && bit(start) == 0 {
		start++
	}
	single := bit(start+1) == 1
	channel := bit(start+2)<<2 | bit(start+3)<<1 | bit(start+4)
	code := c.code(now, single, channel)
	// one clock to sample, then a null bit, then twelve bits, highest first (figure 5-1)
	set := func(n, v int) {
		if n/8 < len(r) {
			r[n/8] = r[n/8]&^(1<<(7-n%8)) | byte(v)<<(7-n%8)
		}
	}
	set(start+6, 0)
	for i := range 12 {
		set(start+7+i, code>>(11-i)&1)
	}
}

func (c *Chip) code(now time.Duration, single bool, channel int) int {
	supply := c.Supply
	if supply == 0 {
		supply = 3.3
	}
	v := max(0, min(supply, c.In(channel, now)))
	if !single { // pseudo-differential: even pin plus, odd pin minus, or the other way round
		v -= max(0, min(supply, c.In(channel^1, now)))
	}
	return int(max(0, min(4095, math.Floor(v/supply*4096))))
}
