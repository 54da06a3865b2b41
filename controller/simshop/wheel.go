package simshop

import "time"

// wheel is the fan's wheel with its motor. Speed is a share of the running speed.
//
// Under power a torque that falls to zero near running speed meets a load that grows with the square; off, the
// load alone brakes: J dw/dt = -K w^2, so w = w0 / (1 + t/tau), and a tenth of the speed is left after 9 tau.
type wheel struct {
	speed   float64
	powered bool
	spinUp  time.Duration // to 95 % of the speed
	coast   time.Duration // from full to a tenth
	refuses bool          // breaker out, overload tripped: the contactor closes and nothing turns
	welded  bool          // the contactor's contacts stay together
	byHand  bool          // its own switch is on
	starts  int
}

// spinRate makes the wheel reach 95 % in one spin-up: dw/dt = r (1 - w^2) gives w = tanh(r t), and tanh(1.832) = 0.95.
const spinRate = 1.832

// switched closes or opens the contactor's coil.
func (f *wheel) switched(coil bool) {
	on := (coil || f.byHand || (f.welded && f.powered)) && !f.refuses
	if on && !f.powered {
		f.starts++
	}
	f.powered = on
}

// turn moves the wheel on by a step of time.
func (f *wheel) turn(step time.Duration) {
	if f.powered {
		r := spinRate / max(f.spinUp, 100*time.Millisecond).Seconds()
		f.speed += r * (1 - f.speed*f.speed) * step.Seconds()
		f.speed = min(f.speed, 1)
		if f.speed > 0.9995 {
			f.speed = 1
		}
		return
	}
	tau := max(f.coast, time.Second).Seconds() / 9
	f.speed /= 1 + f.speed*step.Seconds()/tau
	if f.speed < 0.02 { // bearings and seals stop it in the end
		f.speed = 0
	}
}

// steady reports that a step of time would change nothing.
func (f *wheel) steady() bool { return f.powered && f.speed == 1 || !f.powered && f.speed == 0 }
