package relay_test

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/gates"
	"ductwarden/gates/gatestest"
	"ductwarden/gates/relay"
)

const ms = time.Millisecond

// line is an output of the imagination.
type line struct {
	on   bool
	sets int
	fail bool
}

func (l *line) Set(level bool) error {
	if l.fail {
		return errors.New("no such line")
	}
	l.on, l.sets = level, l.sets+1
	return nil
}

// pair is a gate with its lines and switches.
type pair struct {
	open, close line
	seen        gates.Proof
}

func (p *pair) pushing(time.Duration) gates.Drive {
	switch {
	case p.open.on && p.close.on:
		return gatestest.Both
	case p.open.on:
		return gates.DriveOpen
	case p.close.on:
		return gates.DriveClose
	}
	return gates.DriveNone
}

func (p *pair) relay(t *testing.T, s relay.Settings) *relay.Relay {
	t.Helper()
	s.Name, s.Open, s.Close = "gpiochip0/22+27", &p.open, &p.close
	if s.Travel == 0 {
		s.Travel = 2 * time.Second
	}
	r, err := relay.New(s)
	require.NoError(t, err)
	return r
}

func TestConformance(t *testing.T) {
	for name, switches := range map[string]bool{"without switches": false, "with switches": true} {
		t.Run(name, func(t *testing.T) {
			gatestest.Run(t, func(t *testing.T) gatestest.Rig {
				p := &pair{seen: gates.SeenNeither}
				s := relay.Settings{DeadTime: 150 * ms}
				if switches {
					s.Seen = func() gates.Proof { return p.seen }
				}
				return gatestest.Rig{
					Actuator: p.relay(t, s), Pushing: p.pushing, Soon: 150 * ms, Longest: 9500 * ms,
					Fail: func(f bool) { p.open.fail, p.close.fail = f, f },
				}
			})
		})
	}
}

func TestFirstActIsOff(t *testing.T) {
	p := &pair{open: line{on: true}, close: line{on: true}}
	p.relay(t, relay.Settings{})
	assert.False(t, p.open.on)
	assert.False(t, p.close.on)
	p.open.fail = true
	_, err := relay.New(relay.Settings{Name: "x", Open: &p.open, Close: &p.close, Travel: time.Second})
	assert.ErrorContains(t, err, "could not be driven off")
}

// drive brings a relay to a level and past its first dead time.
func drive(t *testing.T, r *relay.Relay, now *time.Duration, d gates.Drive) {
	t.Helper()
	require.NoError(t, r.Drive(*now, d))
	*now += 200 * ms
	_, err := r.Poll(*now)
	require.NoError(t, err)
}

func TestDeadTimeBetweenDirections(t *testing.T) {
	p := &pair{}
	r := p.relay(t, relay.Settings{})
	now := time.Second
	drive(t, r, &now, gates.DriveOpen)
	require.True(t, p.open.on)

	require.NoError(t, r.Drive(now, gates.DriveClose))
	assert.Equal(t, gates.DriveNone, p.pushing(now), "both off at once")
	next, err := r.Poll(now)
	require.NoError(t, err)
	assert.Equal(t, now+100*ms, next)
	_, _ = r.Poll(next - 1)
	assert.Equal(t, gates.DriveNone, p.pushing(now))
	_, _ = r.Poll(next)
	assert.Equal(t, gates.DriveClose, p.pushing(now))
	now = next

	require.NoError(t, r.Halt(), "a halt tells no time")
	require.NoError(t, r.Drive(now+time.Hour, gates.DriveOpen))
	assert.Equal(t, gates.DriveNone, p.pushing(now), "so the dead time counts from the next call")
	_, _ = r.Poll(now + time.Hour + 100*ms)
	assert.Equal(t, gates.DriveOpen, p.pushing(now))
}

func TestALineThatStaysOnKeepsTheOtherOff(t *testing.T) {
	p := &pair{}
	r := p.relay(t, relay.Settings{})
	now := time.Second
	drive(t, r, &now, gates.DriveOpen)
	p.open.fail = true // welded in the kernel's sense: it cannot be driven off
	assert.ErrorContains(t, r.Drive(now, gates.DriveClose), "gpiochip0/22+27: a line could not be driven off")
	for range 100 {
		now += 50 * ms
		_, err := r.Poll(now)
		assert.Error(t, err)
		assert.False(t, p.close.on)
	}
}

func TestEndSwitchesCut(t *testing.T) {
	p := &pair{seen: gates.SeenClosed}
	r := p.relay(t, relay.Settings{Seen: func() gates.Proof { return p.seen }})
	now := time.Second
	drive(t, r, &now, gates.DriveOpen)
	require.True(t, p.open.on, "the other end's switch does not matter")
	next, err := r.Poll(now)
	require.NoError(t, err)
	assert.Equal(t, now+10*ms, next, "looked at often while a line is on")
	p.seen = gates.SeenBoth
	_, _ = r.Poll(now + 10*ms)
	assert.True(t, p.open.on, "a contradiction is not an end")
	p.seen = gates.SeenOpen
	next, _ = r.Poll(now + 20*ms)
	assert.False(t, p.open.on)
	assert.Zero(t, next)
	p.seen = gates.SeenNeither
	_, _ = r.Poll(now + 30*ms)
	assert.False(t, p.open.on, "it does not chatter at the switch: the core asks anew")

	now += 2 * time.Second
	sets := p.close.sets
	p.seen = gates.SeenClosed
	drive(t, r, &now, gates.DriveClose)
	assert.Equal(t, sets, p.close.sets, "at its end already")
}

func TestSettingsThatCannotBe(t *testing.T) {
	p := &pair{}
	for says, s := range map[string]relay.Settings{
		"too short for contacts to open": {Travel: time.Second, DeadTime: 99 * ms},
		"is less than the travel":        {Travel: 3 * time.Second, LongestRun: time.Second},
		"the travel of 0s":               {LongestRun: -1},
	} {
		s.Open, s.Close = &p.open, &p.close
		_, err := relay.New(s)
		assert.ErrorContains(t, err, says)
	}
	assert.Zero(t, p.open.sets, "nothing was touched")
}

func TestALineThatCannotGoOnIsTriedAgain(t *testing.T) {
	p := &pair{}
	r := p.relay(t, relay.Settings{})
	now := time.Second
	drive(t, r, &now, gates.DriveClose)
	p.open.fail = true
	p.open.on = false
	require.Error(t, r.Drive(now, gates.DriveOpen), "it cannot even be driven off")
	p.open.fail = false
	now += 50 * ms
	_, err := r.Poll(now)
	require.NoError(t, err)
	p.open.fail = true
	now += 100 * ms
	next, err := r.Poll(now)
	assert.ErrorContains(t, err, "could not be driven on")
	assert.Equal(t, now+50*ms, next)
	p.open.fail = false
	_, err = r.Poll(next)
	require.NoError(t, err)
	assert.True(t, p.open.on)
}

func TestALineThatWasOnBeforeUsKeepsTheOtherOff(t *testing.T) {
	p := &pair{close: line{on: true, fail: true}}
	r, err := relay.New(relay.Settings{Name: "x", Open: &p.open, Close: &p.close, Travel: time.Second})
	require.Error(t, err)
	for now := time.Second; now < 5*time.Second; now += 10 * ms {
		_ = r.Drive(now, gates.DriveOpen)
		_, _ = r.Poll(now)
		require.False(t, p.open.on)
	}
}
