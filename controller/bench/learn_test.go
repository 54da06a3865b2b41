package bench

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/current"
)

// motor is the current of a machine at rest, running up, running without work, and after the stop.
type motor struct {
	rest, inrush, run float64
	runUp             time.Duration
	on, off           time.Duration // when it is switched; 0: not
	brake             time.Duration
	braking           float64
}

func (m *motor) amps(at time.Duration) float64 {
	wander := 0.02 * float64(at/(50*time.Millisecond)%3-1) * m.run
	switch {
	case m.on == 0 || at < m.on:
		return m.rest
	case m.off != 0 && at >= m.off && at < m.off+600*time.Millisecond:
		return m.rest
	case m.off != 0 && at >= m.off && at < m.off+m.brake:
		return m.braking
	case m.off != 0 && at >= m.off:
		return m.rest
	case at < m.on+m.runUp:
		return m.inrush
	}
	return m.rest + m.run + wander
}

// learnt leads a machine through the whole procedure.
func learnt(t *testing.T, m *motor, runDown time.Duration) (*stand, *LearnSession) {
	s := newStand(t)
	s.amps = m.amps
	v := s.must(Order{Action: ActLearn, Target: "saw"})
	require.Equal(t, StepCaution, v.Learn.Step)
	require.NotEmpty(t, v.Learn.Cautions)
	s.must(Order{Action: ActAccept})
	s.pass(9 * time.Second)
	require.Equal(t, StepStart, s.view().Learn.Step)
	m.on = s.now + time.Second
	s.pass(10 * time.Second)
	require.Equal(t, StepStop, s.view().Learn.Step)
	m.off = s.now + time.Second
	s.pass(time.Second + runDown)
	require.Equal(t, StepRunDown, s.view().Learn.Step)
	s.must(Order{Action: ActNext})
	v = s.view()
	require.Equal(t, StepDone, v.Learn.Step)
	return s, v.Learn
}

func kinds(l *LearnSession) []string {
	out := []string{}
	for _, f := range l.Findings {
		out = append(out, f.Kind)
	}
	return out
}

func TestLearnAMotor(t *testing.T) {
	s, l := learnt(t, &motor{rest: 0.05, inrush: 30, run: 4, runUp: 700 * time.Millisecond}, 8*time.Second)
	assert.Empty(t, l.Findings)
	p := l.Proposal
	require.NotNil(t, p)
	assert.InDelta(t, 0.4*3.97, p.RunningA, 0.1, "well below the least current without work")
	assert.InDelta(t, 0.6*p.RunningA, p.IdleA, 0.06)
	assert.InDelta(t, 2.5, p.RunMargin, 0.1)
	assert.Greater(t, p.IdleMargin, 15.0)
	assert.InDelta(t, 10, p.RunDownS, 1, "a quarter more than the stopwatch")
	assert.InDelta(t, 30, *l.Figures.StartA, 0.1)
	assert.InDelta(t, 0.7, *l.Figures.RunUpS, 0.1)
	assert.Equal(t, []Change{
		{"machines[0].sensors[1].clamp.running", "1.6 A"}, {"machines[0].sensors[1].clamp.idle", "950 mA"},
		{"machines[0].sensors[1].clamp.quiet", "50 mA"}, {"machines[0].run_down", "10 s"},
	}, l.Changes)
	assert.Equal(t, "   1   a\n   2 - b\n   2 + c\n", l.Diff)
	assert.Len(t, l.Plot, plotPoints)
	assert.Contains(t, p.Text, "2.48 times")

	assert.Empty(t, s.file.kept, "nothing is written before it is asked for")
	assert.True(t, s.must(Order{Action: ActWrite}).Learn.Written)
	assert.Equal(t, l.Changes, s.file.kept)
	_, err := s.do(Order{Action: ActWrite})
	assert.ErrorContains(t, err, "already")
}

func TestLearnNamesWhatItMeets(t *testing.T) {
	for name, c := range map[string]struct {
		m    motor
		want []string
	}{
		"a lamp":   {motor{rest: 0.45, inrush: 30, run: 4, runUp: 700 * time.Millisecond}, []string{"light_on"}},
		"a drive":  {motor{rest: 0.15, inrush: 1.2, run: 2, runUp: 1500 * time.Millisecond}, []string{"drive"}},
		"a brake":  {motor{rest: 0.02, inrush: 30, run: 4, runUp: 700 * time.Millisecond, brake: 3 * time.Second, braking: 9}, []string{"brake"}},
		"clipping": {motor{rest: 0.02, inrush: 35, run: 34, runUp: 700 * time.Millisecond}, []string{"clipped"}},
	} {
		t.Run(name, func(t *testing.T) {
			_, l := learnt(t, &c.m, 8*time.Second)
			assert.Equal(t, c.want, kinds(l))
			assert.NotNil(t, l.Proposal)
		})
	}
	_, l := learnt(t, &motor{rest: 0.02, inrush: 30, run: 4, runUp: 700 * time.Millisecond, brake: 3 * time.Second, braking: 9}, 8*time.Second)
	assert.Contains(t, l.Changes, Change{"machines[0].sensors[1].clamp.brake", "4 s"})
	assert.InDelta(t, 8, *l.Figures.RunDown, 0.2, "from the end of the motor's current, not of the brake's")
}

func TestLearnRefusesWhatCannotBeToldApart(t *testing.T) {
	_, l := learnt(t, &motor{rest: 1.5, inrush: 8, run: 1.2, runUp: time.Second}, 3*time.Second)
	assert.Nil(t, l.Proposal)
	assert.Equal(t, []string{"light_on", "too_close"}, kinds(l))
	assert.Empty(t, l.Changes)
}

// The machine runs and its clamp shows nothing: round the whole cable, or on another input.
func TestLearnAClampThatSeesNothing(t *testing.T) {
	begin := func(t *testing.T, m *motor) *stand {
		s := newStand(t)
		s.amps = m.amps
		s.must(Order{Action: ActLearn, Target: "table SAW"})
		s.must(Order{Action: ActAccept})
		s.pass(9 * time.Second)
		m.on = s.now
		return s
	}
	s := begin(t, &motor{rest: 0.01, inrush: 0.1, run: 0.05})
	s.pass(5 * time.Second)
	require.Equal(t, StepStart, s.view().Learn.Step, "nobody has said yet that it runs")
	s.must(Order{Action: ActNext})
	s.pass(4 * time.Second)
	l := s.view().Learn
	assert.Equal(t, []string{"whole_cable"}, kinds(l))
	assert.Contains(t, l.Findings[0].Text, "one conductor only")
	assert.Contains(t, l.Findings[0].Text, "electrician")

	s = begin(t, &motor{rest: 0.01})
	s.seen[1].Milliamperes = 4000
	s.must(Order{Action: ActNext})
	s.pass(4 * time.Second)
	l = s.view().Learn
	assert.Equal(t, []string{"other_input"}, kinds(l))
	assert.Contains(t, l.Findings[0].Text, "ads1115@0x48/1")
	_, err := s.do(Order{Action: ActWrite})
	assert.ErrorContains(t, err, "nothing to write")

	s.must(Order{Action: ActAgain})
	assert.Equal(t, StepIdle, s.view().Learn.Step, "the cautions have been read")
	assert.Empty(t, s.view().Learn.Findings)
}

func TestLearnADeadClamp(t *testing.T) {
	for health, want := range map[current.Health]string{
		current.Flat: "plug is out", current.Lost: "does not answer", current.OutOfRange: "not in the middle", current.Late: "too late", current.HealthUntried: "no reading yet",
	} {
		s := newStand(t)
		s.must(Order{Action: ActLearn, Target: "saw"})
		s.must(Order{Action: ActAccept})
		s.pass(time.Second)
		s.seen[0].Health = health
		s.pass(5 * time.Second)
		l := s.view().Learn
		require.Equal(t, StepDone, l.Step, "%v", health)
		assert.Equal(t, []string{"dead_clamp"}, kinds(l))
		assert.Contains(t, l.Findings[0].Text, want)
		assert.Contains(t, l.Findings[0].Text, "ads1115@0x48/0")
	}
}

func TestLearnGoesBackWhenItStopsEarlyOrStartsAgain(t *testing.T) {
	s := newStand(t)
	m := &motor{rest: 0.02, inrush: 20, run: 4, runUp: 500 * time.Millisecond}
	s.amps = m.amps
	s.must(Order{Action: ActLearn, Target: "saw"})
	s.must(Order{Action: ActAccept})
	s.pass(9 * time.Second)
	m.on = s.now
	s.pass(4 * time.Second)
	m.off = s.now
	s.pass(time.Second)
	assert.Equal(t, StepStart, s.view().Learn.Step)
	assert.Equal(t, []string{"short_run"}, kinds(s.view().Learn))
	m.on, m.off = s.now, 0
	s.pass(9 * time.Second)
	m.off = s.now
	s.pass(time.Second)
	require.Equal(t, StepRunDown, s.view().Learn.Step)
	m.off = 0
	s.pass(17 * time.Second)
	assert.Equal(t, StepStop, s.view().Learn.Step, "current that goes on is no brake")
	s.must(Order{Action: ActNext})
	s.pass(13 * time.Second)
	assert.Contains(t, kinds(s.view().Learn), "goes_on")
}

// In a rehearsal the key switches the machine.
func TestLearnRehearsed(t *testing.T) {
	s := newStand(t)
	s.must(Order{Action: ActLearn, Target: "saw"})
	s.must(Order{Action: ActAccept})
	s.pass(9 * time.Second)
	assert.Contains(t, s.view().Learn.Say, "rehearsal")
	s.must(Order{Action: ActNext})
	s.pass(100 * time.Millisecond)
	assert.True(t, s.hands.on[0])
	s.pass(4 * time.Second) // the clamp sees nothing
	assert.Equal(t, StepDone, s.view().Learn.Step)
	assert.False(t, s.hands.on[0], "and is left off")
}

func TestThresholds(t *testing.T) {
	at := func(low, top, mid, down float64) *Proposal {
		p, f := propose("saw", Input{Name: "in"}, &Figures{RunLow: &low, IdleTop: &top, IdleA: &mid, RunDown: &down})
		if p == nil {
			require.Len(t, f, 1)
		}
		return p
	}
	for _, low := range []float64{0.3, 0.5, 1, 2.2, 5, 11, 30, 90} {
		for _, share := range []float64{0, 0.01, 0.1, 0.2, 0.3, 0.4, 0.45, 0.49, 0.6} {
			top := low * share
			p := at(low, top, top*0.9, 3)
			if p == nil {
				assert.True(t, share > 0.49 || low-top < leastRise, "%v %v", low, share)
				continue
			}
			assert.Less(t, p.RunningA, low/1.3, "%v %v", low, share)
			assert.Less(t, p.IdleA, p.RunningA, "%v %v", low, share)
			assert.Greater(t, p.IdleA, top*1.05, "%v %v", low, share)
			assert.Less(t, p.QuietA, p.IdleA)
		}
	}
	assert.Equal(t, 0.0, at(4, 0.1, 0.1, 0.2).RunDownS, "what stands at once has no run-down")
	assert.Equal(t, 8.0, at(4, 0.1, 0.1, 6.2).RunDownS)
}
