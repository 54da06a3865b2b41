// Package gatestest is what every actuator must pass, whatever it drives and through whatever it drives it.
package gatestest

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/gates"
)

// Both is what a rig's Pushing gives when a gate is pushed both ways at once: it may never be.
const Both gates.Drive = 2

// Rig is an actuator, fresh, with a view of what the gate at its end feels.
type Rig struct {
	Actuator gates.Actuator
	// Pushing is what the gate is pushed towards at this moment. A servo that holds its place pushes nothing.
	Pushing func(now time.Duration) gates.Drive
	// Soon is the longest from Drive to the push, a dead time for example.
	Soon time.Duration
	// Longest is the actuator's own longest run. Zero is an actuator that never pushes.
	Longest time.Duration
	// Fail makes what the actuator writes to fail, or work again; nil where nothing can.
	Fail func(failing bool)
}

// stage runs a rig in virtual time.
type stage struct {
	Rig
	t    *testing.T
	now  time.Duration
	next time.Duration
}

// Run puts an actuator through the suite. fresh makes a rig for each test.
func Run(t *testing.T, fresh func(t *testing.T) Rig) {
	for _, c := range []struct {
		name string
		test func(*stage)
	}{
		{"says what it is", (*stage).saysWhatItIs},
		{"is inert until driven", (*stage).inert},
		{"halt comes first and twice", (*stage).haltFirst},
		{"drives, turns and rests", (*stage).drives},
		{"the same level again is free", (*stage).repeats},
		{"cuts after its own longest run", (*stage).cuts},
		{"a cut push starts again when asked anew", (*stage).startsAgain},
		{"halt ends a push at any moment", (*stage).halts},
		{"never pushes both ways in any order of calls", (*stage).never},
		{"goes on after failures", (*stage).recovers},
		{"allocates nothing while nothing changes", (*stage).allocates},
		{"bears late and early calls", (*stage).bearsBadTimes},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := &stage{Rig: fresh(t), t: t, now: time.Second}
			c.test(s)
		})
	}
}

// drive gives a level and polls at once, as the loop does.
func (s *stage) drive(d gates.Drive) error {
	err := s.Actuator.Drive(s.now, d)
	s.look()
	if e := s.poll(); err == nil {
		err = e
	}
	return err
}

func (s *stage) poll() error {
	next, err := s.Actuator.Poll(s.now)
	s.next = next
	s.look()
	return err
}

func (s *stage) look() gates.Drive {
	d := s.Pushing(s.now)
	require.NotEqual(s.t, Both, d, "pushed both ways at once")
	return d
}

// until lets time pass to a moment, polling when the actuator asks for it, and looks on the way.
func (s *stage) until(at time.Duration) (last error) {
	calls := 0
	for s.next != 0 && s.next <= at {
		if s.next > s.now {
			s.now = s.next
		}
		if err := s.poll(); err != nil {
			last = err
		}
		require.False(s.t, s.next != 0 && s.next <= s.now, "it asks for a call that is over")
		calls++
		require.Less(s.t, calls, 100_000, "it never comes to rest")
	}
	s.now = at
	s.look()
	return last
}

func (s *stage) moves() bool { return s.Longest > 0 }

func (s *stage) saysWhatItIs() { assert.NotEmpty(s.t, s.Actuator.String()) }

func (s *stage) inert() {
	require.NoError(s.t, s.poll())
	require.NoError(s.t, s.until(s.now+time.Hour))
	assert.Equal(s.t, gates.DriveNone, s.look())
	require.NoError(s.t, s.drive(gates.DriveNone))
	assert.Equal(s.t, gates.DriveNone, s.look())
}

func (s *stage) haltFirst() {
	require.NoError(s.t, s.Actuator.Halt())
	require.NoError(s.t, s.Actuator.Halt())
	assert.Equal(s.t, gates.DriveNone, s.look())
	s.drives()
}

func (s *stage) drives() {
	for _, d := range []gates.Drive{gates.DriveOpen, gates.DriveClose, gates.DriveNone, gates.DriveClose, gates.DriveOpen, gates.DriveNone} {
		require.NoError(s.t, s.drive(d))
		require.NoError(s.t, s.until(s.now+s.Soon))
		if s.moves() {
			assert.Equal(s.t, d, s.look())
		}
	}
	require.NoError(s.t, s.until(s.now+time.Hour))
	assert.Zero(s.t, s.next, "at rest it wants no call")
}

func (s *stage) repeats() {
	require.NoError(s.t, s.drive(gates.DriveOpen))
	begin := s.now
	for s.now < begin+s.Longest+s.Soon+time.Second {
		require.NoError(s.t, s.drive(gates.DriveOpen))
		require.NoError(s.t, s.until(s.now+5*time.Millisecond))
	}
	assert.Equal(s.t, gates.DriveNone, s.look(), "repeating the level does not lengthen the run")
}

func (s *stage) cuts() {
	for _, d := range []gates.Drive{gates.DriveOpen, gates.DriveClose} {
		require.NoError(s.t, s.drive(d))
		require.NoError(s.t, s.until(s.now+s.Soon+s.Longest+time.Second))
		assert.Equal(s.t, gates.DriveNone, s.look(), "nobody has told it to stop")
	}
}

func (s *stage) startsAgain() {
	if !s.moves() {
		return
	}
	require.NoError(s.t, s.drive(gates.DriveOpen))
	require.NoError(s.t, s.until(s.now+s.Soon+s.Longest+time.Second))
	require.NoError(s.t, s.drive(gates.DriveNone))
	require.NoError(s.t, s.drive(gates.DriveOpen))
	require.NoError(s.t, s.until(s.now+s.Soon))
	assert.Equal(s.t, gates.DriveOpen, s.look())
}

func (s *stage) halts() {
	for step := range 40 {
		require.NoError(s.t, s.drive([]gates.Drive{gates.DriveOpen, gates.DriveClose}[step%2]))
		require.NoError(s.t, s.until(s.now+time.Duration(step)*s.Soon/20+time.Millisecond))
		require.NoError(s.t, s.Actuator.Halt())
		assert.Equal(s.t, gates.DriveNone, s.look())
		require.NoError(s.t, s.poll())
		require.NoError(s.t, s.until(s.now+time.Duration(step)*10*time.Millisecond))
		assert.Equal(s.t, gates.DriveNone, s.look(), "and stays ended")
	}
}

// never walks through many orders of calls with a fixed generator; look fails on a push both ways.
func (s *stage) never() {
	x := uint32(1)
	for range 20_000 {
		x = x*1664525 + 1013904223
		switch x >> 29 {
		case 0:
			_ = s.drive(gates.DriveOpen)
		case 1:
			_ = s.drive(gates.DriveClose)
		case 2:
			_ = s.drive(gates.DriveNone)
		case 3:
			_ = s.Actuator.Halt()
			s.look()
			_ = s.poll()
		case 4:
			if s.Fail != nil {
				s.Fail(x>>20&3 == 0)
			}
		default:
			_ = s.until(s.now + time.Duration(x>>8&255)*time.Millisecond)
		}
	}
}

func (s *stage) recovers() {
	if s.Fail == nil {
		return
	}
	for _, d := range []gates.Drive{gates.DriveOpen, gates.DriveClose, gates.DriveNone, gates.DriveOpen} {
		s.Fail(true)
		_ = s.drive(d) // a dead time may come before the first try
		assert.Error(s.t, s.until(s.now+s.Soon+time.Second), "a failure is told, again and again while it lasts")
		s.Fail(false)
		require.NoError(s.t, s.until(s.now+time.Second+s.Soon))
		assert.Equal(s.t, d, s.look(), "once it works again it does what was last asked")
	}
	s.Fail(true)
	assert.Error(s.t, s.Actuator.Halt())
	s.Fail(false)
	require.NoError(s.t, s.Actuator.Halt())
	assert.Equal(s.t, gates.DriveNone, s.look())
}

func (s *stage) allocates() {
	for _, d := range []gates.Drive{gates.DriveNone, gates.DriveOpen} {
		require.NoError(s.t, s.drive(d))
		require.NoError(s.t, s.until(s.now+s.Soon))
		assert.Zero(s.t, testing.AllocsPerRun(100, func() {
			s.now++
			_ = s.Actuator.Drive(s.now, d)
			_, _ = s.Actuator.Poll(s.now)
		}))
	}
}

func (s *stage) bearsBadTimes() {
	require.NoError(s.t, s.drive(gates.DriveOpen))
	s.now += time.Hour // the goroutine was not run
	require.NoError(s.t, s.poll())
	require.NoError(s.t, s.until(s.now+s.Soon))
	for range 1000 {
		require.NoError(s.t, s.poll(), "calls that nobody asked for do no harm")
	}
	require.NoError(s.t, s.until(s.now+s.Longest+s.Soon+time.Second))
	assert.Equal(s.t, gates.DriveNone, s.look())
}
