package current

import "time"

// Step is the size of one code of a converter: Microvolts/Codes uV.
type Step struct{ Microvolts, Codes int64 }

// Input is what stands behind one input of a converter: a clamp's detection, or a slow voltage. Converters embed it
// and feed it; one goroutine uses it.
type Input struct {
	step   Step
	detect *Detector
	level  *Level
}

// ClampInput makes an input with a clamp. The error is that of Settings.Check.
func ClampInput(s Settings, step Step) (Input, error) {
	d, err := NewDetector(s)
	return Input{step: step, detect: d}, err
}

// VoltageInput makes an input with a slow voltage, such as a pressure transducer's.
func VoltageInput(s LevelSettings, step Step) (Input, error) {
	l, err := NewLevel(s)
	return Input{step: step, level: l}, err
}

// Add takes one sample read at the given time.
func (i *Input) Add(at time.Duration, code Sample) {
	if i.detect != nil {
		i.detect.Add(at, code)
		return
	}
	i.level.Add(at, code)
}

// Tick lets time pass without a sample.
func (i *Input) Tick(now time.Duration) {
	if i.detect != nil {
		i.detect.Tick(now)
		return
	}
	i.level.Tick(now)
}

// Fail says that the transport gave no sample.
func (i *Input) Fail(now time.Duration) {
	if i.detect != nil {
		i.detect.Fail(now)
		return
	}
	i.level.Fail(now)
}

// Detector is the detection behind a clamp; nil for a voltage.
func (i *Input) Detector() *Detector { return i.detect }

// Belief is what is believed of the machine; Unknown for a voltage.
func (i *Input) Belief() Belief {
	if i.detect == nil {
		return Unknown
	}
	return i.detect.Belief()
}

// Health is the state of the channel.
func (i *Input) Health() Health {
	if i.detect == nil {
		return i.level.Health()
	}
	return i.detect.Health()
}

// RMS is the last true RMS current in mA, and whether there is one: none of a voltage.
func (i *Input) RMS() (int32, bool) {
	if i.detect == nil {
		return 0, false
	}
	return i.detect.RMS()
}

// Microvolts is the smoothed slow voltage, and whether there is a fresh one: none of a clamp.
func (i *Input) Microvolts() (int64, bool) {
	if i.level == nil {
		return 0, false
	}
	v, ok := i.level.Value()
	return nearest(v*i.step.Microvolts, i.step.Codes*LevelPart), ok
}

// Facts are what a channel shows of itself beside its health, for a person who looks for a fault.
type Facts struct {
	Bias      int64 // of a clamp's input without current, or the voltage itself, uV
	BiasKnown bool
	Noise     int32 // true RMS of the idle channel as learnt, mA
	NoiseSeen bool
	Gaps      uint32 // holes in the samples since the start
	Rails     uint32 // samples at a rail of the converter since the start
}

// Detailed is a meter that has facts to show.
type Detailed interface{ Facts() Facts }

// Facts are what the channel shows of itself.
func (i *Input) Facts() Facts {
	if i.detect == nil {
		v, ok := i.Microvolts()
		return Facts{Bias: v, BiasKnown: ok}
	}
	bias, known, idle, seen := i.detect.Learnt()
	return Facts{
		Bias: nearest(int64(bias)*i.step.Microvolts, i.step.Codes), BiasKnown: known, Noise: idle, NoiseSeen: seen,
		Gaps: uint32(i.detect.Missing()), Rails: i.detect.watch.rails,
	}
}
