package starter_test

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/starter"
	"ductwarden/controller/starter/chargepump"
)

const ms = time.Millisecond

// line is an output of the imagination.
type line struct {
	on      bool
	changes int
	fail    bool
	seen    func(level bool)
}

func (l *line) Set(level bool) error {
	if l.fail {
		return errors.New("no such line")
	}
	if l.on != level {
		l.changes++
	}
	l.on = level
	if l.seen != nil {
		l.seen(level)
	}
	return nil
}

// rig runs a starter in virtual time and looks at what its motor does.
type rig struct {
	starter.Starter
	turns func(now time.Duration) bool
	fail  func(bool)
	off   func() bool // its lines are at rest
	t     *testing.T
	now   time.Duration
	next  time.Duration
}

func (r *rig) poll() error {
	next, err := r.Poll(r.now)
	r.next = next
	return err
}

// run lets time pass, asking for the motor every 50 ms as the loop does.
func (r *rig) run(on bool, length time.Duration) (last error) {
	for end := r.now + length; r.now < end; r.now += 5 * ms {
		if r.now%(50*ms) == 0 {
			ask := r.Off
			if on {
				ask = r.On
			}
			if err := ask(r.now); err != nil {
				last = err
			}
			r.next = r.now
		}
		if r.next != 0 && r.next <= r.now {
			if err := r.poll(); err != nil {
				last = err
			}
			require.False(r.t, r.next != 0 && r.next <= r.now)
		}
	}
	return last
}

func pulsed(t *testing.T) *rig {
	r := &rig{t: t, now: time.Second}
	pump := &chargepump.Pump{}
	l := &line{}
	l.seen = func(level bool) { pump.Set(r.now, level) }
	p, err := starter.NewPulsed(starter.PulsedSettings{Name: "gpiochip0/17", Line: l})
	require.NoError(t, err)
	r.Starter, r.turns, r.fail = p, pump.Holds, func(f bool) { l.fail = f }
	r.off = func() bool { return !l.on }
	return r
}

func level(t *testing.T) *rig {
	l := &line{on: true}
	p, err := starter.NewLevel("gpiochip0/17", l)
	require.NoError(t, err)
	return &rig{Starter: p, t: t, now: time.Second, turns: func(time.Duration) bool { return l.on }, fail: func(f bool) { l.fail = f }, off: func() bool { return !l.on }}
}

func momentary(t *testing.T) *rig {
	r := &rig{t: t, now: time.Second}
	latched := true // the collector runs when the program comes up
	start, stop := &line{}, &line{}
	look := func(bool) {
		require.False(t, start.on && stop.on, "both buttons pressed")
		latched = (latched || start.on) && !stop.on
	}
	start.seen, stop.seen = look, look
	p, err := starter.NewMomentary(starter.MomentarySettings{Name: "gpiochip0/5+6", Start: start, Stop: stop})
	require.NoError(t, err)
	r.Starter, r.turns, r.fail = p, func(time.Duration) bool { return latched }, func(f bool) { start.fail, stop.fail = f, f }
	r.off = func() bool { return !start.on && !stop.on }
	return r
}

func TestEveryStarter(t *testing.T) {
	for name, fresh := range map[string]func(*testing.T) *rig{"pulsed": pulsed, "level": level, "momentary": momentary} {
		t.Run(name, func(t *testing.T) {
			t.Run("first act is off", func(t *testing.T) {
				r := fresh(t)
				require.NoError(t, r.poll())
				assert.False(t, r.turns(r.now))
				require.NoError(t, r.run(false, 2*time.Second))
				assert.True(t, r.off())
				assert.NotEmpty(t, r.String())
				assert.NotEmpty(t, r.LeavesBehind())
			})
			t.Run("on and off", func(t *testing.T) {
				r := fresh(t)
				for range 3 {
					require.NoError(t, r.run(true, 2*time.Second))
					assert.True(t, r.turns(r.now))
					require.NoError(t, r.run(false, 2*time.Second))
					assert.False(t, r.turns(r.now))
				}
			})
			t.Run("halt first, twice, and at any moment", func(t *testing.T) {
				r := fresh(t)
				require.NoError(t, r.Halt())
				require.NoError(t, r.Halt())
				for i := range 30 {
					require.NoError(t, r.run(true, 600*ms+time.Duration(i)*15*ms))
					require.NoError(t, r.Halt())
					for end := r.now + 2*time.Second; r.now < end; r.now += 5 * ms {
						require.NoError(t, r.poll())
					}
					assert.False(t, r.turns(r.now))
					assert.True(t, r.off(), "nothing stays pressed")
					assert.Zero(t, r.next)
				}
			})
			t.Run("goes on after failures", func(t *testing.T) {
				r := fresh(t)
				require.NoError(t, r.run(false, time.Second))
				for _, on := range []bool{true, false, true, false} {
					r.fail(true)
					assert.Error(t, r.run(on, time.Second))
					r.fail(false)
					_ = r.run(on, 2*time.Second)
					assert.Equal(t, on, r.turns(r.now))
				}
			})
			t.Run("allocates nothing", func(t *testing.T) {
				r := fresh(t)
				require.NoError(t, r.run(true, 2*time.Second))
				assert.Zero(t, testing.AllocsPerRun(100, func() {
					r.now += 10 * ms
					_ = r.On(r.now)
					_, _ = r.Poll(r.now)
				}))
			})
		})
	}
}

func TestPulseTrain(t *testing.T) {
	l := &line{}
	p, err := starter.NewPulsed(starter.PulsedSettings{Name: "x", Line: l})
	require.NoError(t, err)
	require.NoError(t, p.On(0))
	assert.True(t, l.on, "the first change comes with the call")
	for now := time.Duration(0); now < time.Second; now += ms {
		if now%(100*ms) == 0 {
			require.NoError(t, p.On(now))
		}
		_, err := p.Poll(now)
		require.NoError(t, err)
	}
	assert.Equal(t, 40, l.changes, "20 Hz is 40 changes a second")
	_, err = p.Poll(time.Second)
	require.NoError(t, err)
	before := l.changes
	require.NoError(t, p.On(time.Second+240*ms))
	_, err = p.Poll(time.Second + 240*ms)
	require.NoError(t, err)
	assert.Equal(t, 1, l.changes-before, "a late call makes one change, never a burst")
}

// The core hangs, but the goroutine that makes the pulses lives on.
func TestPulsesEndWhenNobodyAsksAnyMore(t *testing.T) {
	r := pulsed(t)
	require.NoError(t, r.run(true, 2*time.Second))
	require.True(t, r.turns(r.now))
	hung := r.now
	var told error
	for ; r.turns(r.now); r.now += 5 * ms {
		require.Less(t, r.now-hung, 2*time.Second)
		if err := r.poll(); err != nil {
			told = err
		}
	}
	assert.ErrorContains(t, told, "the control loop is late")
	assert.LessOrEqual(t, r.now-hung, starter.UsualLease+chargepump.UsualDropOut+50*ms)
	assert.True(t, r.off())
	require.NoError(t, r.run(true, time.Second))
	assert.True(t, r.turns(r.now), "asked again, it goes on")
}

func TestStopOutranksStart(t *testing.T) {
	start, stop := &line{}, &line{}
	m, err := starter.NewMomentary(starter.MomentarySettings{Name: "x", Start: start, Stop: stop})
	require.NoError(t, err)
	assert.True(t, stop.on, "the first act presses stop")
	require.NoError(t, m.On(time.Second))
	assert.False(t, start.on, "start waits for the end of the press")
	next, err := m.Poll(time.Second)
	require.NoError(t, err)
	assert.Equal(t, 1500*ms, next)
	next, err = m.Poll(next)
	require.NoError(t, err)
	assert.True(t, start.on)
	assert.False(t, stop.on)
	assert.Equal(t, 2*time.Second, next)
	require.NoError(t, m.Off(1600*ms))
	assert.False(t, start.on, "a press of start is cut short")
	assert.True(t, stop.on)
	require.NoError(t, m.Off(1700*ms))
	_, err = m.Poll(2100 * ms)
	require.NoError(t, err)
	assert.False(t, stop.on)
	require.NoError(t, m.Off(3*time.Second))
	assert.False(t, stop.on, "stop is pressed once")
}

func TestAPressCountsFromWhenItWorks(t *testing.T) {
	start, stop := &line{}, &line{}
	m, err := starter.NewMomentary(starter.MomentarySettings{Name: "x", Start: start, Stop: stop})
	require.NoError(t, err)
	for _, at := range []time.Duration{0, 500 * ms, 600 * ms} {
		_, err = m.Poll(at)
		require.NoError(t, err)
	}
	assert.Equal(t, 2, stop.changes, "pressed once, let go once")
	require.NoError(t, m.On(time.Second))
	_, _ = m.Poll(1500 * ms)
	stop.fail = true
	assert.ErrorContains(t, m.Off(2*time.Second), "could not be pressed")
	next, err := m.Poll(9 * time.Second)
	assert.Error(t, err)
	assert.Greater(t, next, 9*time.Second)
	stop.fail = false
	next, err = m.Poll(10 * time.Second)
	require.NoError(t, err)
	assert.True(t, stop.on)
	assert.Equal(t, 10*time.Second+starter.UsualPress, next)
}

func TestSettingsThatCannotBe(t *testing.T) {
	l := &line{}
	for _, s := range []starter.PulsedSettings{{Rate: 4}, {Rate: 101}, {Rate: -1}, {Lease: 49 * ms}, {Lease: -1}} {
		s.Line = l
		_, err := starter.NewPulsed(s)
		assert.Error(t, err)
	}
	for _, p := range []time.Duration{99 * ms, 6 * time.Second, -1} {
		_, err := starter.NewMomentary(starter.MomentarySettings{Start: l, Stop: l, Press: p})
		assert.ErrorContains(t, err, "give 100ms to 5s")
	}
	l.fail = true
	_, err := starter.NewPulsed(starter.PulsedSettings{Line: l})
	assert.ErrorContains(t, err, "could not be driven off", "a line that cannot be driven off is told at once")
	_, err = starter.NewLevel("x", l)
	assert.Error(t, err)
	_, err = starter.NewMomentary(starter.MomentarySettings{Start: l, Stop: l})
	assert.ErrorContains(t, err, "could not be let go")
}
