package servo_test

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/gates"
	"ductwarden/gates/gatestest"
	"ductwarden/gates/servo"
)

const (
	ms = time.Millisecond
	us = time.Microsecond
)

// board sends pulses to one channel.
type board struct {
	pulse  time.Duration
	sent   []time.Duration
	fail   bool
	resets int
}

var errBoard = errors.New("no answer")

func (b *board) SetPulse(ch int, w time.Duration) error {
	if b.fail {
		return errBoard
	}
	if ch != 3 {
		panic("another's channel")
	}
	b.pulse = w
	b.sent = append(b.sent, w)
	return nil
}

func (b *board) Off(int) error {
	if b.fail {
		return errBoard
	}
	b.pulse = 0
	return nil
}

func (b *board) Resets() int { return b.resets }

func settings() servo.Settings {
	return servo.Settings{Board: "pca9685@0x40", Channel: 3, Open: 1920 * us, Closed: 1080 * us, Travel: 600 * ms}
}

func build(t *testing.T, b *board, s servo.Settings) *servo.Servo {
	t.Helper()
	v, err := servo.New(b, s)
	require.NoError(t, err)
	return v
}

func TestConformance(t *testing.T) {
	gatestest.Run(t, func(t *testing.T) gatestest.Rig {
		b := &board{}
		return gatestest.Rig{
			Actuator: build(t, b, settings()), Longest: 5 * time.Second, Fail: func(f bool) { b.fail = f },
			Pushing: func(time.Duration) gates.Drive {
				switch b.pulse {
				case 1920 * us:
					return gates.DriveOpen
				case 1080 * us:
					return gates.DriveClose
				}
				return gates.DriveNone
			},
		}
	})
}

func TestReleasedOrHeld(t *testing.T) {
	b := &board{}
	v := build(t, b, settings())
	require.NoError(t, v.Drive(0, gates.DriveOpen))
	require.NoError(t, v.Drive(600*ms, gates.DriveNone))
	assert.Zero(t, b.pulse, "released")

	s := settings()
	s.Hold = true
	v = build(t, b, s)
	require.NoError(t, v.Drive(0, gates.DriveOpen))
	require.NoError(t, v.Drive(600*ms, gates.DriveNone))
	assert.Equal(t, 1920*us, b.pulse)
	next, err := v.Poll(10 * time.Second)
	require.NoError(t, err)
	assert.Zero(t, next)
	assert.Equal(t, 1920*us, b.pulse, "held after the longest run too: the move had ended")
	require.NoError(t, v.Halt())
	assert.Zero(t, b.pulse, "halt lets go of a held servo")
}

func TestHoldDoesNotOutliveAPushThatNobodyEnded(t *testing.T) {
	b := &board{}
	s := settings()
	s.Hold = true
	v := build(t, b, s)
	require.NoError(t, v.Drive(0, gates.DriveOpen))
	_, err := v.Poll(5 * time.Second)
	require.NoError(t, err)
	assert.Zero(t, b.pulse)
}

func TestNeverBeyondItsLimits(t *testing.T) {
	b := &board{}
	s := settings()
	s.Least, s.Most = 1000*us, 2000*us
	v := build(t, b, s)
	for _, w := range []time.Duration{-1, 0, 999 * us, 2001 * us, time.Second} {
		assert.ErrorContains(t, v.Step(0, w), "beyond the servo's limits")
	}
	assert.Empty(t, b.sent)
	require.NoError(t, v.Step(0, 1000*us))
	require.NoError(t, v.Step(0, 2000*us))
	_, err := v.Poll(6 * time.Second)
	require.NoError(t, err)
	assert.Zero(t, b.pulse, "a step ends after the longest run too")

	for says, bend := range map[string]func(*servo.Settings){
		"give the limits of this servo":  func(s *servo.Settings) { s.Open = 2700 * us },
		"are outside 400µs to 2.6ms":     func(s *servo.Settings) { s.Closed = 300 * us },
		"find both ends with jog":        func(s *servo.Settings) { s.Closed, s.Least, s.Most = s.Open, 1000*us, 2000*us },
		"are beyond its limits":          func(s *servo.Settings) { s.Least, s.Most = 1100*us, 2000*us },
		"is less than the travel":        func(s *servo.Settings) { s.LongestRun = 500 * ms },
		"less than the travel of 0s":     func(s *servo.Settings) { s.Travel, s.LongestRun = 0, -1 },
		"give a step like 20us, or none": func(s *servo.Settings) { s.Slew = -1 },
	} {
		s := settings()
		bend(&s)
		_, err := servo.New(b, s)
		assert.ErrorContains(t, err, says)
	}
}

func TestAGentleMoveGoesInSteps(t *testing.T) {
	b := &board{}
	s := settings()
	s.Slew, s.LongestRun = 40*us, 3*time.Second
	v := build(t, b, s)
	require.NoError(t, v.Drive(0, gates.DriveClose))
	assert.Equal(t, []time.Duration{1080 * us}, b.sent, "from an unknown place there is no gentle way")
	b.sent = nil
	require.NoError(t, v.Drive(time.Second, gates.DriveOpen))
	now := time.Second
	for {
		next, err := v.Poll(now)
		require.NoError(t, err)
		if b.pulse == 1920*us {
			break
		}
		require.Equal(t, now+20*ms, next)
		now = next
	}
	assert.Len(t, b.sent, 21, "840 us in steps of 40 us")
	for i, w := range b.sent {
		assert.Equal(t, time.Duration(1120+40*i)*us, w)
	}
	assert.Equal(t, time.Second+400*ms, now)
}

// The board has lost its pulses. The servo must not bring them back by itself: eight servos would start at once
// and sag the supply again. The core asks one gate after the other.
func TestAResetBoardIsNotPulsedUntilAskedAnew(t *testing.T) {
	b := &board{}
	s := settings()
	s.Hold = true
	v := build(t, b, s)
	require.NoError(t, v.Drive(0, gates.DriveOpen))
	require.NoError(t, v.Drive(600*ms, gates.DriveNone))
	b.pulse, b.sent, b.resets = 0, nil, 1
	for now := 700 * ms; now < 5*time.Second; now += 100 * ms {
		require.NoError(t, v.Drive(now, gates.DriveNone))
		_, err := v.Poll(now)
		require.NoError(t, err)
	}
	assert.Empty(t, b.sent)
	require.NoError(t, v.Drive(6*time.Second, gates.DriveOpen))
	assert.Equal(t, 1920*us, b.pulse)

	b.pulse, b.resets = 0, 2 // in the middle of a move
	require.NoError(t, v.Drive(6*time.Second+100*ms, gates.DriveOpen))
	assert.Equal(t, 1920*us, b.pulse, "the loop still asks for the move, so it goes on")
	_, err := v.Poll(11*time.Second + 100*ms)
	require.NoError(t, err)
	assert.Zero(t, b.pulse, "for one longest run")
}

func TestErrorsNameTheServo(t *testing.T) {
	b := &board{fail: true}
	v := build(t, b, settings())
	err := v.Drive(0, gates.DriveOpen)
	assert.ErrorContains(t, err, "pca9685@0x40/3: no answer")
	assert.ErrorIs(t, err, errBoard)
}
