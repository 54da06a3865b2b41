package simshop

import (
	"math"
	"time"
)

// Where a gate's end switches make, as shares of its stroke.
const (
	madeClosed = 0.03
	madeOpen   = 0.97
)

// blade is one gate's slide: 0 is closed, 1 is open.
type blade struct {
	at     float64
	travel time.Duration
	stuck  bool
	moves  int // strokes begun towards another end
	toward int // direction of the present stroke
}

// push moves the blade towards a place for a step of time. It stops at the ends of its slide.
func (b *blade) push(place float64, step time.Duration) {
	place = min(max(place, 0), 1)
	dir := 0
	switch {
	case place > b.at+1e-9:
		dir = 1
	case place < b.at-1e-9:
		dir = -1
	}
	if dir != 0 && dir != b.toward {
		b.moves++
	}
	b.toward = dir
	if dir == 0 || b.stuck {
		return
	}
	most := float64(step) / float64(max(b.travel, time.Millisecond))
	b.at += math.Copysign(min(most, math.Abs(place-b.at)), float64(dir))
}

// rest is a step without drive: friction holds the blade.
func (b *blade) rest() { b.toward = 0 }

// isOpen and isClosed are what the end switches see.
func (b *blade) isOpen() bool   { return b.at >= madeOpen }
func (b *blade) isClosed() bool { return b.at <= madeClosed }
