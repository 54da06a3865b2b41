package ads1115_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"time"

	"periph.io/x/conn/v3/physic"

	"ductwarden/current/ads1115/chip"
)

var errNoise = errors.New("arbitration lost")

// board is a bus with one chip on it, in virtual time, with clamps at its four inputs.
type board struct {
	now    *time.Duration
	chip   *chip.Chip
	addr   uint16
	amps   [4]func(at time.Duration) float64 // A, instantaneous; nil is no current
	bias   [4]float64                        // V
	noise  *rand.Rand
	fail   int // transfers that fail from now on
	broken bool
	count  int
	turns  []time.Duration // when a config was written
}

const voltsPerAmpere = 0.0333

func newBoard(now *time.Duration, opt chip.Options) *board {
	b := &board{now: now, addr: 0x48, noise: rand.New(rand.NewPCG(1, 2))}
	for i := range b.bias {
		b.bias[i] = 1.65 + 0.01*float64(i)
	}
	b.chip = chip.New(func(pin int, at time.Duration) float64 {
		v := b.bias[pin] + 0.0005*b.noise.NormFloat64()
		if b.amps[pin] != nil {
			v += voltsPerAmpere * b.amps[pin](at)
		}
		return v
	}, opt)
	return b
}

func (b *board) String() string                  { return "test bus" }
func (b *board) SetSpeed(physic.Frequency) error { return nil }

func (b *board) Tx(addr uint16, w, r []byte) error {
	b.count++
	switch {
	case b.fail > 0:
		b.fail--
		return errNoise
	case b.broken, addr != b.addr:
		return chip.ErrNoAnswer
	}
	if len(w) == 3 {
		b.turns = append(b.turns, *b.now)
	}
	return b.chip.Tx(*b.now, w, r)
}

func sine(rms, hz, phase float64) func(time.Duration) float64 {
	return func(at time.Duration) float64 {
		return rms * math.Sqrt2 * math.Sin(2*math.Pi*hz*at.Seconds()+phase)
	}
}
