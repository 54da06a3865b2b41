package current

import (
	"errors"
	"fmt"
	"time"
)

// Scale turns codes into milliamperes: one code is Milliamperes/Codes milliamperes. Both are whole numbers, so
// that a scale of 33.3 mV/A on a step of 125 uV is exactly 125000/33300.
type Scale struct {
	Milliamperes int64
	Codes        int64
}

// Unit is the scale of a recorded trace: one code is one milliampere.
var Unit = Scale{Milliamperes: 1, Codes: 1}

// Settings describe one watched channel: what its codes mean, when its machine runs, and what a plausible
// channel looks like. The zero value of a time takes its default.
type Settings struct {
	Scale   Scale
	Running int32 // true RMS in mA from which the machine runs
	Idle    int32 // true RMS in mA below which it is idle; less than Running

	// Period is the usual time between two samples; the true one is taken from their time stamps.
	Period time.Duration
	// Shared says that the converter looks at several channels in turn: evidence ends with each visit, and
	// readings are put together from several visits.
	Shared bool

	// Low and High are the codes at the converter's rails; equal means that it has none.
	Low, High Sample
	// BiasLow and BiasHigh bound the code of no current; equal means that any is plausible.
	BiasLow, BiasHigh Sample
	// Bias is the code of no current where it is known beforehand (a recorded trace: 0); else it is learnt.
	Bias      Sample
	BiasKnown bool

	// Flat is how long the same code may come again and again before the channel counts as frozen; zero means
	// for ever, which is right for a coarse converter and for a recorded trace.
	Flat time.Duration
	// Late is how old the newest sample may be.
	Late time.Duration
	// Hold is how long a machine still counts as running after its current has ended, so that a bounce of its
	// contactor or a changeover of its windings is not an end.
	Hold time.Duration
	// Brake is how long after an end current may be that of the motor's brake, which is no start; zero means that
	// there is none. What still flows afterwards is a start.
	Brake time.Duration
	// Quiet is the idle level known beforehand, true RMS in mA; zero means that it is learnt from nothing.
	Quiet int32
}

// Defaults of the times in Settings: common practice, chosen with the figures of the detection benchmark.
const (
	DefaultPeriod = time.Millisecond
	DefaultLate   = 500 * time.Millisecond
	DefaultHold   = 400 * time.Millisecond
)

// Bounds of Settings.
const (
	MaxCurrent = 1_000_000 // mA; no clamp of a shop reads more
	MaxPeriod  = 5 * time.Millisecond
	maxTime    = time.Minute
)

// TraceSettings are the settings for a recorded trace of instantaneous current in mA at any rate from 200
// samples a second. Running and idle are true RMS in mA.
func TraceSettings(running, idle int32) Settings {
	return Settings{Scale: Unit, Running: running, Idle: idle, BiasKnown: true}
}

// withDefaults fills in what was left zero.
func (s Settings) withDefaults() Settings {
	if s.Scale == (Scale{}) {
		s.Scale = Unit
	}
	if s.Period == 0 {
		s.Period = DefaultPeriod
	}
	if s.Late == 0 {
		s.Late = DefaultLate
	}
	if s.Hold == 0 {
		s.Hold = DefaultHold
	}
	return s
}

// Check says everything that is wrong with the settings, joined into one error; nil when they can be used.
func (s Settings) Check() error {
	s = s.withDefaults()
	var all []error
	bad := func(format string, args ...any) { all = append(all, fmt.Errorf(format, args...)) }
	if s.Running < 1 || s.Running > MaxCurrent {
		bad("running is %d mA: give a level from 1 mA to %d A", s.Running, MaxCurrent/1000)
	}
	if s.Idle < 1 || s.Idle >= s.Running {
		bad("idle is %d mA and running is %d mA: idle must be above zero and below running", s.Idle, s.Running)
	}
	if s.Scale.Milliamperes < 1 || s.Scale.Codes < 1 || s.Scale.Milliamperes > 1e10 || s.Scale.Codes > 1e10 {
		bad("the scale is %d mA for %d codes: both must be above zero", s.Scale.Milliamperes, s.Scale.Codes)
	} else if s.Running > 0 && s.Scale.Milliamperes/s.Scale.Codes > int64(s.Running) {
		bad("one step of the converter is %d mA and running is %d mA: it cannot tell them apart; use a finer range or more turns through the clamp",
			s.Scale.Milliamperes/s.Scale.Codes, s.Running)
	}
	if s.Period < time.Microsecond || s.Period > MaxPeriod {
		bad("the time between samples is %v: give 1 us to %v", s.Period, MaxPeriod)
	}
	if s.Low > s.High || s.BiasLow > s.BiasHigh {
		bad("a lower bound of the codes is above its upper bound")
	}
	for _, t := range []time.Duration{s.Flat, s.Late, s.Hold, s.Brake} {
		if t < 0 || t > maxTime {
			bad("a time of the detection is %v: give 0 to %v", t, maxTime)
		}
	}
	if s.Quiet < 0 || s.Quiet >= s.Running {
		bad("the idle level is %d mA and running is %d mA: it must be below; learn it again with the machine off", s.Quiet, s.Running)
	}
	return errors.Join(all...)
}
