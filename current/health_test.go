package current_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/current"
)

// converter are the settings of a clamp on a 16-bit converter: 1 mA a code, bias at 13,200.
func converter() current.Settings {
	return current.Settings{
		Scale: current.Unit, Running: 1200, Idle: 600,
		Low: 0, High: 26_400, BiasLow: 10_560, BiasHigh: 15_840, Flat: 2 * time.Second,
	}
}

func idleLine(t *testing.T) *line {
	l := newLine(t, converter(), ms)
	l.bias = 13_200
	assert.Equal(t, current.HealthUntried, l.d.Health())
	l.feed(3*time.Second, nil)
	require.Equal(t, current.Idle, l.d.Belief())
	require.Equal(t, current.Good, l.d.Health())
	return l
}

func TestFlat(t *testing.T) {
	l := idleLine(t)
	l.noise = 0
	l.feed(1900*ms, nil)
	require.Equal(t, current.Idle, l.d.Belief())
	l.feed(200*ms, nil)
	assert.Equal(t, current.Flat, l.d.Health())
	assert.Equal(t, current.Unknown, l.d.Belief())
	l.noise = 0.1
	l.feed(100*ms, nil)
	assert.Equal(t, current.Good, l.d.Health())
	assert.Equal(t, current.Idle, l.d.Belief())
}

func TestOutOfRange(t *testing.T) {
	for _, bias := range []float64{2, 5000, 20_000, 26_399} {
		l := idleLine(t)
		l.bias = bias
		l.feed(1500*ms, nil)
		require.Equal(t, current.OutOfRange, l.d.Health(), "bias %v", bias)
		require.Equal(t, current.Unknown, l.d.Belief())
		require.Equal(t, []change{l.saw[0], {l.saw[1].at, current.Unknown}}, l.saw, "nothing was believed on the way")
		l.bias = 13_200
		l.feed(1500*ms, nil)
		assert.Equal(t, current.Good, l.d.Health())
		assert.Equal(t, current.Idle, l.d.Belief())
	}
}

func TestShortKnockIsNoFault(t *testing.T) {
	l := idleLine(t)
	l.bias = 5000
	l.feed(150*ms, nil)
	l.bias = 13_200
	l.feed(2*time.Second, nil)
	require.Len(t, l.saw, 1, "%v", l.saw)
	assert.Equal(t, current.Good, l.d.Health())
}

func TestClippedInrushIsNoFault(t *testing.T) {
	l := idleLine(t)
	big := func(rms float64) func(float64) float64 {
		w := sine(rms, 50)
		return func(t float64) float64 { return max(-13.2, min(13.2, w(t))) }
	}
	l.feed(10*time.Second, big(40))
	require.Equal(t, current.Running, l.d.Belief())
	require.Equal(t, current.Good, l.d.Health(), "an inrush touches the rails")
	l.feed(6*time.Second, big(40))
	assert.Equal(t, current.Clipped, l.d.Health(), "a run that does is told of")
	assert.Equal(t, current.Running, l.d.Belief(), "and still a run")
	l.feed(time.Second, sine(2, 50))
	assert.Equal(t, current.Good, l.d.Health())
	for range 100 { // single spikes do not add up to it
		l.feed(3*ms, func(float64) float64 { return 50 })
		l.feed(297*ms, sine(2, 50))
	}
	assert.Equal(t, current.Good, l.d.Health())
}

func TestLateAndLost(t *testing.T) {
	l := idleLine(t)
	l.feed(300*ms, sine(2, 50))
	require.Equal(t, current.Running, l.d.Belief())
	l.d.Tick(l.at + 400*ms)
	require.Equal(t, current.Running, l.d.Belief(), "within the time allowed")
	l.d.Tick(l.at + 600*ms)
	assert.Equal(t, current.Late, l.d.Health())
	assert.Equal(t, current.Unknown, l.d.Belief(), "no sample is not idle")
	l.at += 600 * ms
	l.feed(200*ms, sine(2, 50))
	assert.Equal(t, current.Running, l.d.Belief())
	assert.Equal(t, 1, l.d.Missing())

	l.d.Fail(l.at)
	assert.Equal(t, current.Lost, l.d.Health())
	assert.Equal(t, current.Unknown, l.d.Belief())
	l.feed(200*ms, nil)
	assert.Equal(t, current.Idle, l.d.Belief())
	assert.Equal(t, current.Good, l.d.Health())
}

func TestHoldEndsByTime(t *testing.T) {
	l := idleLine(t)
	l.feed(300*ms, sine(2, 50))
	l.feed(100*ms, nil)
	require.Equal(t, current.Running, l.d.Belief(), "the hold runs")
	l.d.Tick(l.at + 400*ms)
	assert.Equal(t, current.Idle, l.d.Belief())
}

func TestSingleGapsAreCounted(t *testing.T) {
	l := idleLine(t)
	for range 10 {
		l.feed(50*ms, sine(2, 50))
		l.at += 8 * ms
	}
	assert.Equal(t, current.Running, l.d.Belief())
	assert.Equal(t, 9, l.d.Missing())
	assert.Equal(t, current.Good, l.d.Health())
}

func TestHealthNames(t *testing.T) {
	blind := map[current.Health]bool{
		current.HealthUntried: true, current.Good: false, current.Flat: true, current.OutOfRange: true,
		current.Clipped: false, current.Noisy: false, current.Late: true, current.Lost: true,
	}
	seen := map[string]bool{}
	for h, want := range blind {
		assert.Equal(t, want, h.Blind(), "%v", h)
		assert.False(t, seen[h.String()], "%v twice", h)
		seen[h.String()] = true
	}
	assert.Equal(t, "unknown", current.Health(99).String())
}

func TestLevel(t *testing.T) {
	_, err := current.NewLevel(current.LevelSettings{Low: 3, High: 3})
	require.ErrorContains(t, err, "the first must be the lower")
	l, err := current.NewLevel(current.LevelSettings{Low: 1000, High: 20_000, Flat: time.Second})
	require.NoError(t, err)
	assert.Equal(t, current.HealthUntried, l.Health())
	at := time.Duration(0)
	feed := func(n int, code current.Sample) {
		for i := range n {
			at += ms
			l.Add(at, code+current.Sample(i%3)-1)
		}
	}
	feed(1, 4001)
	v, ok := l.Value()
	require.True(t, ok)
	assert.Equal(t, int64(4000*current.LevelPart), v, "the first sample is taken as it is")
	feed(400, 8000)
	v, _ = l.Value()
	assert.InDelta(t, 8000, float64(v)/current.LevelPart, 1)
	feed(400, 300)
	_, ok = l.Value()
	assert.False(t, ok)
	assert.Equal(t, current.OutOfRange, l.Health())
	l.Tick(at + time.Second)
	assert.Equal(t, current.Late, l.Health())
	feed(1, 5001)
	v, ok = l.Value()
	assert.True(t, ok)
	assert.Equal(t, int64(5000*current.LevelPart), v, "after a gap it begins afresh")
	l.Fail(at)
	assert.Equal(t, current.Lost, l.Health())
	feed(1, 5000)
	for range 1500 {
		at += ms
		l.Add(at, 5000)
	}
	assert.Equal(t, current.Flat, l.Health())
}
