package current

import (
	"fmt"
	"time"
)

// Clamp describes a current clamp on an input of a converter, in whole numbers.
type Clamp struct {
	Microvolts int64         // for one ampere: 33_300 for 33.3 mV/A
	Running    int32         // true RMS in mA
	Idle       int32         // true RMS in mA
	Hold       time.Duration // see Settings; zero means its default
	Brake      time.Duration // the same; zero means no brake
	Quiet      int32         // the same, in mA; zero means not known
	Supply     int64         // of the converter, in microvolts; zero means 3.3 V
	Bias       int64         // at the input without current, in microvolts; zero means half the supply
}

// usualSupply is that of a small board's converters, in microvolts.
const usualSupply = 3_300_000

// WithDefaults fills in the voltages that were left zero.
func (k Clamp) WithDefaults() Clamp {
	if k.Supply == 0 {
		k.Supply = usualSupply
	}
	if k.Bias == 0 {
		k.Bias = k.Supply / 2
	}
	return k
}

// Settings are those of the detection on a converter with the given step. Rails, flatness, period and what a
// plausible bias is are the converter's affair.
func (k Clamp) Settings(step Step) (Settings, error) {
	if k.Microvolts <= 0 {
		return Settings{}, fmt.Errorf("a clamp of %d uV/A: give its volts for one ampere", k.Microvolts)
	}
	a, b := 1000*step.Microvolts, step.Codes*k.Microvolts // a code is so many milliamperes: uV over uV/mA
	g := divisor(a, b)
	return Settings{
		Scale:   Scale{Milliamperes: a / g, Codes: b / g},
		Running: k.Running, Idle: k.Idle, Hold: k.Hold, Brake: k.Brake, Quiet: k.Quiet,
	}, nil
}

// divisor is the greatest common divisor of two numbers above zero.
func divisor(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
