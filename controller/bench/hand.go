package bench

import (
	"fmt"
	"sync"
	"time"

	"ductwarden/gates"
)

// stepper is an actuator that takes single pulse widths.
type stepper interface {
	Step(now, width time.Duration) error
}

// hand drives the actuator.
type hand struct {
	mu      sync.Mutex
	aim     time.Duration // servo: width wanted
	at      time.Duration // servo: width sent last
	drive   gates.Drive   // motor
	fresh   bool          // an order has come since the last move
	giveUp  time.Duration // a pulse that is not taken is tried again until then
	length  time.Duration // motor: of the burst
	until   time.Duration
	began   time.Duration // motor: of the way
	on      bool
	err     error
	release bool
}

// Move implements loop.Borrower.
func (j *jogging) Move(now time.Duration, a gates.Actuator) (next time.Duration, err error) {
	h := &j.hand
	h.mu.Lock()
	defer h.mu.Unlock()
	switch {
	case h.release || h.on && !h.fresh && now >= h.until:
		h.release, h.on, h.fresh, h.drive = false, false, false, gates.DriveNone
		return 0, h.note(a.Halt())
	case j.of.Servo != nil:
		return h.moveServo(now, a)
	default:
		return h.moveMotor(now, a)
	}
}

// note keeps what went wrong last, for the view.
func (h *hand) note(err error) error {
	h.err = err
	return err
}

func (h *hand) moveServo(now time.Duration, a gates.Actuator) (time.Duration, error) {
	if h.aim == 0 || !h.fresh && h.at == h.aim {
		return h.until, nil
	}
	to := h.aim
	if h.at != 0 { // the first pulse cannot creep: nobody knows where the gate stands
		to = min(max(to, h.at-creepStep), h.at+creepStep)
	}
	s, ok := a.(stepper)
	if !ok {
		return 0, h.note(fmt.Errorf("%v cannot be moved in steps", a))
	}
	if h.giveUp == 0 {
		h.giveUp = now + patience
	}
	if err := h.note(s.Step(now, to)); err != nil {
		if now < h.giveUp { // a board that has just come up takes pulses in a moment
			return now + creepEvery, err
		}
		h.aim, h.fresh, h.giveUp = h.at, false, 0
		return 0, err
	}
	h.at, h.on, h.fresh, h.until, h.giveUp = to, true, false, now+pushTime, 0
	if h.at != h.aim {
		return now + creepEvery, nil
	}
	return h.until, nil
}

func (h *hand) moveMotor(now time.Duration, a gates.Actuator) (time.Duration, error) {
	if !h.fresh {
		return h.until, nil
	}
	h.fresh = false
	if err := h.note(a.Drive(now, h.drive)); err != nil {
		return 0, err
	}
	h.on, h.began, h.until = true, now, now+h.length
	return h.until, nil
}
