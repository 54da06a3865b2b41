package bench

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/gates"
)

func jogged(t *testing.T, gate string) *stand {
	s := newStand(t)
	v := s.must(Order{Action: ActJog, Target: gate})
	require.Equal(t, StepCaution, v.Jog.Step)
	require.NotEmpty(t, v.Jog.Cautions)
	for _, o := range []Order{{Action: ActStep, Value: "+10"}, {Action: ActGo, Value: "open"}, {Action: ActMark, Value: "open"}, {Action: ActPropose}} {
		_, err := s.do(o)
		require.ErrorContains(t, err, "cautions", o.Action)
	}
	s.pass(time.Second)
	require.Empty(t, s.servo.at, "nothing moves before the key")
	s.must(Order{Action: ActAccept})
	s.pass(time.Second)
	require.Empty(t, s.servo.at, "nor by it")
	return s
}

func TestJogFindsBothEnds(t *testing.T) {
	s := jogged(t, "saw")
	_, err := s.do(Order{Action: ActGo, Value: "open"})
	require.ErrorContains(t, err, "not known yet")
	_, err = s.do(Order{Action: ActMark, Value: "open"})
	require.ErrorContains(t, err, "nothing has been sent")
	s.must(Order{Action: ActStep, Value: "+10"})
	s.pass(100 * time.Millisecond)
	assert.Equal(t, []time.Duration{1500 * us}, s.servo.at, "the first pulse is the middle of what it may get")
	s.must(Order{Action: ActStep, Value: "+200"})
	assert.True(t, s.view().Jog.Moves)
	s.pass(time.Second)
	assert.False(t, s.view().Jog.Moves)
	for i := 1; i < len(s.servo.at); i++ {
		assert.LessOrEqual(t, (s.servo.at[i] - s.servo.at[i-1]).Abs(), creepStep, "a way is gone in small steps")
	}
	assert.Equal(t, 1700, s.view().Jog.PulseUS)
	s.must(Order{Action: ActMark, Value: "open"})
	_, err = s.do(Order{Action: ActPropose})
	require.ErrorContains(t, err, "mark both")
	for range 3 {
		s.must(Order{Action: ActStep, Value: "-200"})
	}
	s.pass(2 * time.Second)
	s.must(Order{Action: ActMark, Value: "closed"})
	s.must(Order{Action: ActGo, Value: "open"})
	s.pass(2 * time.Second)
	assert.Equal(t, 1700, s.view().Jog.PulseUS)
	v := s.must(Order{Action: ActPropose})
	assert.Equal(t, []Change{{"gates[0].actuator.servo.open", "1700 us"}, {"gates[0].actuator.servo.closed", "1100 us"}}, v.Jog.Changes)
	assert.NotEmpty(t, v.Jog.Diff)
	assert.True(t, s.must(Order{Action: ActWrite}).Jog.Written)
	assert.Equal(t, v.Jog.Changes, s.file.kept)
	s.must(Order{Action: ActEnd})
	assert.Equal(t, 1, s.returned)
	assert.False(t, s.reserved)
}

func TestJogNeverGoesBeyondItsLimits(t *testing.T) {
	s := jogged(t, "saw")
	s.must(Order{Action: ActStep, Value: "+10"})
	refused := 0
	for range 12 {
		if _, err := s.do(Order{Action: ActStep, Value: "+200"}); err != nil {
			require.ErrorContains(t, err, "900 to 2100 us")
			refused++
		}
		s.pass(500 * time.Millisecond)
	}
	assert.Equal(t, 9, refused)
	for range 30 {
		_, _ = s.do(Order{Action: ActStep, Value: "-100"})
		s.pass(300 * time.Millisecond)
	}
	for _, w := range s.servo.at {
		assert.True(t, w >= 900*us && w <= 2100*us, "%v", w)
	}
	for _, value := range []string{"+500", "0", "x", "", "-201"} {
		_, err := s.do(Order{Action: ActStep, Value: value})
		assert.ErrorContains(t, err, "200 at most", value)
	}
}

// Pulses end by themselves, on release, with the session, and with the bench.
func TestJogLetsGo(t *testing.T) {
	s := jogged(t, "saw")
	s.must(Order{Action: ActStep, Value: "+10"})
	s.pass(time.Second)
	assert.True(t, s.view().Jog.On)
	s.pass(2 * time.Second)
	assert.False(t, s.view().Jog.On)
	assert.Equal(t, 1, s.servo.halts)
	s.pass(3 * time.Second)
	assert.Equal(t, 1, s.servo.halts, "once")

	s.must(Order{Action: ActStep, Value: "+200"})
	s.pass(100 * time.Millisecond)
	sent := len(s.servo.at)
	s.must(Order{Action: ActRelease})
	s.pass(time.Second)
	assert.Equal(t, 2, s.servo.halts)
	assert.Len(t, s.servo.at, sent, "the rest of the way is forgotten")

	s.must(Order{Action: ActStep, Value: "+200"})
	s.pass(100 * time.Millisecond)
	s.pass(lease + time.Second) // nobody looks
	assert.Equal(t, 1, s.returned)
	assert.False(t, s.reserved)
	assert.Equal(t, StepEnded, s.view().Jog.Step, "what it showed last can still be seen")
	assert.Empty(t, s.view().Busy)
}

func TestJogEndsWhenAirIsDrawn(t *testing.T) {
	s := jogged(t, "saw")
	s.must(Order{Action: ActStep, Value: "+10"})
	s.pass(time.Second)
	s.snaps.Publish(&controller.Snapshot{Collectors: []controller.CollectorSnapshot{{Name: "collector", Phase: "by_hand"}}})
	s.pass(100 * time.Millisecond)
	assert.Equal(t, 1, s.returned)
	v := s.view()
	require.NotEmpty(t, v.Jog.Findings)
	assert.Contains(t, v.Jog.Findings[0].Text, "collector turns")
	_, err := s.do(Order{Action: ActJog, Target: "saw"})
	assert.ErrorContains(t, err, "collector turns")
	s.snaps.Publish(&controller.Snapshot{Collectors: []controller.CollectorSnapshot{{Name: "collector", Phase: "off"}}})
	s.must(Order{Action: ActJog, Target: "saw"})
}

func TestJogAMotor(t *testing.T) {
	s := jogged(t, "lathe")
	for _, value := range []string{"10", "2s", "", "0s"} {
		_, err := s.do(Order{Action: ActStep, Value: value})
		assert.ErrorContains(t, err, "200ms", value)
	}
	s.must(Order{Action: ActStep, Value: "-200ms"})
	s.pass(100 * time.Millisecond)
	assert.True(t, s.view().Jog.On)
	s.pass(200 * time.Millisecond)
	assert.False(t, s.view().Jog.On, "a burst ends")
	_, err := s.do(Order{Action: ActMark, Value: "open"})
	assert.ErrorContains(t, err, "let it go to the open end")

	s.must(Order{Action: ActGo, Value: "open"})
	s.pass(1500 * time.Millisecond)
	s.must(Order{Action: ActMark, Value: "open"})
	s.pass(100 * time.Millisecond)
	s.must(Order{Action: ActGo, Value: "closed"})
	s.pass(5 * time.Second)
	assert.False(t, s.view().Jog.On, "it never runs for much longer than its way")
	assert.Equal(t, []gates.Drive{gates.DriveClose, gates.DriveOpen, gates.DriveClose}, s.servo.drives)
	v := s.must(Order{Action: ActPropose})
	assert.Equal(t, []Change{{"gates[1].actuator.relay.travel", "1.6 s"}}, v.Jog.Changes)
}

func TestJogTellsWhatTheBoardSays(t *testing.T) {
	s := jogged(t, "saw")
	s.servo.broken = true
	s.must(Order{Action: ActStep, Value: "+10"})
	s.pass(500 * time.Millisecond)
	s.servo.broken = false // it has only just come up
	s.pass(100 * time.Millisecond)
	assert.True(t, s.view().Jog.On)
	assert.Empty(t, s.view().Jog.Findings)
	s.servo.broken = true
	s.must(Order{Action: ActStep, Value: "+10"})
	s.pass(patience + 100*time.Millisecond)
	assert.False(t, s.view().Jog.Moves)
	v := s.view()
	require.NotEmpty(t, v.Jog.Findings)
	assert.Contains(t, v.Jog.Findings[0].Text, "no answer")
	s.unheard = true
	s.pass(100 * time.Millisecond)
	_, err := s.do(Order{Action: ActStep, Value: "+10"})
	assert.ErrorContains(t, err, "pca9685@0x40/0 on /dev/i2c-1 does not answer")
	assert.Contains(t, s.view().Jog.Findings[0].Text, "power")
}

func TestOneAtATime(t *testing.T) {
	s := newStand(t)
	_, err := s.do(Order{Action: ActJog, Target: "planer"})
	assert.ErrorContains(t, err, "Saw, Lathe, Sweep")
	_, err = s.do(Order{Action: ActJog, Target: "sweep"})
	assert.ErrorContains(t, err, "slid by hand")
	_, err = s.do(Order{Action: ActLearn, Target: "sweep"})
	assert.ErrorContains(t, err, "no clamp")
	_, err = s.do(Order{Action: ActLearn, Target: "x"})
	assert.ErrorContains(t, err, "Table saw, Lathe, Sweep")
	_, err = s.do(Order{Action: ActNext})
	assert.ErrorContains(t, err, "begin with learn or jog")
	s.onDuty = true
	for _, o := range []Order{{Action: ActJog, Target: "saw"}, {Action: ActLearn, Target: "saw"}} {
		_, err = s.do(o)
		assert.ErrorContains(t, err, "halt it first")
	}
	s.onDuty = false
	s.must(Order{Action: ActJog, Target: "saw"})
	_, err = s.do(Order{Action: ActLearn, Target: "lathe"})
	assert.ErrorContains(t, err, "gate Saw is being jogged")
	_, err = s.do(Order{Action: ActStep, Session: "another", Value: "+10"})
	assert.ErrorContains(t, err, "another session")
	_, err = s.do(Order{Action: ActNext})
	assert.ErrorContains(t, err, "cautions")
	s.must(Order{Action: ActAccept})
	_, err = s.do(Order{Action: ActNext})
	assert.ErrorContains(t, err, "while a gate is jogged")
	s.must(Order{Action: ActEnd})
	s.must(Order{Action: ActLearn, Target: "lathe"})
	_, err = s.do(Order{Action: ActStep})
	assert.ErrorContains(t, err, "while a machine is learnt")
	assert.Len(t, s.view().Channels, 2)
	s.b.Stop(0)
	assert.False(t, s.reserved)
}
