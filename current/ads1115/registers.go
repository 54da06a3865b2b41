package ads1115

import (
	"time"

	"ductwarden/current"
)

// Registers and bits of the ADS1115 (TI data sheet SBAS444E, register tables).
const (
	regConversion = 0x00
	regConfig     = 0x01

	configReset  = 0x8583 // after power-up or a general-call reset
	configDone   = 0x8000 // read: no conversion running; write: start a single one
	configFull   = 0x00e0 // 860 samples a second
	configNoComp = 0x0003 // comparator off
)

// Input is what the multiplexer connects: the MUX bits of the config register.
type Input uint8

// The inputs. A differential input takes the converter's own middle as its second pin.
const (
	Between0And1 Input = iota
	Between0And3
	Between1And3
	Between2And3
	Ain0 // against ground
	Ain1
	Ain2
	Ain3
)

// String names the input as the data sheet does.
func (i Input) String() string {
	return [...]string{"0-1", "0-3", "1-3", "2-3", "0", "1", "2", "3"}[i&7]
}

// Differential reports whether the input is measured between two pins.
func (i Input) Differential() bool { return i < Ain0 }

// signal is the pin that the signal comes to; two inputs may share the other one, the middle.
func (i Input) signal() uint8 { return [...]uint8{0, 0, 1, 2, 0, 1, 2, 3}[i&7] }

// Range is the full scale of the amplifier: the PGA bits of the config register.
type Range uint8

// The ranges.
const (
	Volts6144 Range = iota // ±6.144 V, 187.5 uV a code
	Volts4096              // ±4.096 V, 125 uV a code
	Volts2048              // ±2.048 V, 62.5 uV a code
	Volts1024              // ±1.024 V, 31.25 uV a code
	Volts0512              // ±0.512 V, 15.625 uV a code
	Volts0256              // ±0.256 V, 7.8125 uV a code
)

// tenthNanovolts is the size of one code in tenths of a nanovolt: a whole number for every range.
func (r Range) tenthNanovolts() int64 {
	return [...]int64{1_875_000, 1_250_000, 625_000, 312_500, 156_250, 78_125}[min(r, Volts0256)]
}

func (r Range) step() current.Step {
	return current.Step{Microvolts: r.tenthNanovolts(), Codes: 10_000}
}

// Microvolts is the full scale.
func (r Range) Microvolts() int64 { return r.tenthNanovolts() * 32768 / 10_000 }

// codes is how many codes the given microvolts are, rounded down.
func (r Range) codes(microvolts int64) int64 { return microvolts * 10_000 / r.tenthNanovolts() }

// Rate of conversions: 860 a second, ±10 % (SBAS444E, data rate variation).
const (
	samplePeriod = time.Second / 860
	// stayPeriod is a little shorter, for as long as evidence is gathered on one channel: a chip that is 10 % quick would
	// else lose each seventh sample, and that beat falls in step with the crests of a 60 Hz current for tens of ms.
	stayPeriod = 1110 * time.Microsecond
	// settleTime lets the conversion that ran while the multiplexer turned end, and one more at the slowest
	// clock: a new config takes effect only after the running conversion has ended.
	settleTime = 2600 * time.Microsecond
)

// config is the word that starts continuous conversions of an input.
func config(i Input, r Range) uint16 {
	return uint16(i&7)<<12 | uint16(r)<<9 | configFull | configNoComp
}
