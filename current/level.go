package current

import (
	"fmt"
	"time"
)

// LevelPart is the fineness of a Level's value: it is in 1/256 of a code.
const LevelPart = 256

const levelSamples = 16

// LevelSettings describe a channel with a slow voltage on it, such as a pressure transducer's.
type LevelSettings struct {
	Low, High Sample        // codes within which the voltage is plausible
	Flat      time.Duration // as in Settings
	Late      time.Duration // how old the newest sample may be; zero means DefaultLate
}

// Level smooths the samples of a slow voltage: a first-order mean over about 16 samples, on whole numbers.
type Level struct {
	set   LevelSettings
	value int64 // 1/LevelPart of a code, times levelSamples
	last  time.Duration
	seen  bool
	lost  bool
	late  bool
	code  Sample
	same  time.Duration
}

// NewLevel makes a level. Settings with no room between Low and High are an error.
func NewLevel(s LevelSettings) (*Level, error) {
	if s.Low >= s.High {
		return nil, fmt.Errorf("level: the plausible voltage runs from code %d to %d: the first must be the lower", s.Low, s.High)
	}
	if s.Late == 0 {
		s.Late = DefaultLate
	}
	return &Level{set: s}, nil
}

// Add takes one sample.
func (l *Level) Add(at time.Duration, code Sample) {
	v := int64(code) * LevelPart
	switch {
	case !l.seen || l.lost || l.late:
		l.value = v * levelSamples
	default:
		l.value += v - nearest(l.value, levelSamples)
	}
	if !l.seen || code != l.code {
		l.code, l.same = code, at
	}
	l.seen, l.lost, l.late, l.last = true, false, false, at
}

// Tick lets time pass.
func (l *Level) Tick(now time.Duration) { l.late = l.seen && now-l.last > l.set.Late }

// Fail says that the transport gave no sample.
func (l *Level) Fail(time.Duration) { l.lost = true }

// Value is the smoothed voltage in 1/LevelPart of a code, and whether it is fresh and plausible.
func (l *Level) Value() (int64, bool) { return nearest(l.value, levelSamples), l.Health() == Good }

// Health is the state of the channel.
func (l *Level) Health() Health {
	code := nearest(l.value, levelSamples*LevelPart)
	switch {
	case l.lost:
		return Lost
	case !l.seen:
		return HealthUntried
	case l.late:
		return Late
	case code < int64(l.set.Low) || code > int64(l.set.High):
		return OutOfRange
	case l.set.Flat > 0 && l.last-l.same >= l.set.Flat:
		return Flat
	}
	return Good
}
