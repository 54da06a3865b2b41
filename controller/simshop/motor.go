package simshop

import (
	"math"
	"time"
)

// Ratios of a small induction motor, common practice unless a source is named.
const (
	idleShare   = 1.0 / 3 // no-load current over full-load current (EASA, C. Yung 2005: one third as a rule of thumb)
	inrushTimes = 6.0     // inrush over full-load current: 5 to 6 typical
	overRunning = 1.7     // no-load current over the shop file's `running`, which is set well below it
	runUp       = 700 * time.Millisecond
	thirdWave   = 0.06 // third harmonic of an iron core near saturation
	chatterOf   = 3 * time.Second
	directPart  = 100 * time.Millisecond // of the inrush: gone after five time constants of 20 ms
)

// motor is one machine's motor on the mains.
type motor struct {
	on       bool
	changed  time.Duration // last switching
	full     float64       // A rms at full load
	load     float64       // share of full load that the work takes, 0 to 1
	standby  float64       // A rms that flows with the motor off: a lamp, a drive's electronics
	phase    int64         // of the mains at the moment zero, in steps of a cycle
	mains    int64         // Hz
	runUp    time.Duration
	blown    bool          // its fuse is out: switched on, no current flows
	soft     bool          // started by a drive
	brake    time.Duration // current after the stop
	switches int           // times switched on
}

// switched turns the motor on or off.
func (m *motor) switched(now time.Duration, on bool) {
	if m.on == on {
		return
	}
	m.on, m.changed = on, now
	if on {
		m.switches++
	} else {
		m.load = 0
	}
}

// rms is the current's effective value in amperes at now.
func (m *motor) rms(now time.Duration) float64 {
	if !m.on && m.switches > 0 && now-m.changed < m.brake && !m.blown {
		return m.standby + m.full // of a brake: about the full load (from memory)
	}
	if !m.on || m.blown {
		return m.standby
	}
	idle := m.full * idleShare
	work := m.load * (0.85 + 0.15*math.Sin(2*math.Pi*now.Seconds()/chatterOf.Seconds()))
	steady := m.standby + idle + (m.full-idle)*work
	since := float64(now-m.changed) / float64(m.runUp)
	if since > 4 {
		return steady
	}
	if m.soft {
		return m.standby + (steady-m.standby)*min(since, 1)
	}
	// Locked-rotor current falls slowly at first and quickly near full speed.
	return steady + (inrushTimes*m.full-idle)/(1+math.Exp(12*(since-0.8)))
}

// amperes is the instantaneous current at now.
func (m *motor) amperes(now time.Duration) float64 {
	i := m.rms(now)
	if i == 0 {
		return 0
	}
	v := i * m.wave(now)
	if since := now - m.changed; m.on && !m.blown && since < directPart { // by the phase that was met when it was switched on
		v -= i * m.wave(m.changed) * math.Exp(-float64(since)/float64(directPart)*5)
	}
	return v
}

// steps divide one cycle of the mains in the table of the wave.
const steps = 4096

// cycle is one cycle of a motor's current at an effective value of about 1 A.
var cycle = func() (c [steps]float64) {
	for i := range c {
		x := 2 * math.Pi * float64(i) / steps
		c[i] = math.Sqrt2 * (math.Sin(x) + thirdWave*math.Sin(3*x+0.4))
	}
	return c
}()

// wave is the shape of the motor's current at now. Mains are whole hertz.
func (m *motor) wave(now time.Duration) float64 {
	at := int64(now) * m.mains % int64(time.Second) // a part of the cycle, in nanoseconds of a second
	return cycle[(at*steps/int64(time.Second)+m.phase)%steps]
}
