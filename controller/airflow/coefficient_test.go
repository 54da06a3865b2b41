package airflow

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Every default names its source and how far others lie from it.
func TestEveryDefaultIsCited(t *testing.T) {
	for _, list := range [][]Coefficient{fittings, hoods, walls} {
		seen := map[string]bool{}
		for _, c := range list {
			assert.False(t, seen[c.Kind], c.Kind)
			seen[c.Kind] = true
			assert.Positive(t, c.Value, c.Kind)
			assert.NotEmpty(t, c.Source, c.Kind)
			assert.NotEmpty(t, c.Why, c.Kind)
			assert.Greater(t, c.Spread, 1.0, c.Kind)
			assert.NotEqual(t, Given, c.Mark, c.Kind)
			assert.NotEmpty(t, c.Mark.String())
		}
	}
	for _, w := range walls {
		assert.GreaterOrEqual(t, w.Friction, 1.0)
	}
}

// The branch and straight-run constants are what they say: Crane's formula on the own velocity pressure, for
// one 100 mm branch alone into 150 mm, and averaged over the branch's share.
func TestJunctionConstants(t *testing.T) {
	area := math.Pow(100.0/150, 2)
	for angle, kind := range map[float64]string{30: "30", 45: "45", 60: "60", 90: "90"} {
		alone, _ := Junction(1, area, angle)
		c, ok := FittingLoss("branch_" + kind)
		require.True(t, ok)
		assert.InDelta(t, alone*area*area, c.Value, 5e-3, kind)
		equal, _ := Junction(area, area, angle)
		assert.InDelta(t, c.Value*c.Spread, equal, 0.4, "equal speeds lie near the spread's end")
		sum := 0.0
		const steps = 1000
		for i := range steps {
			x := (float64(i) + 0.5) / steps * area
			_, run := Junction(x, area, angle)
			sum += run / (1 - x) / (1 - x)
		}
		c, ok = FittingLoss("straight_" + kind)
		require.True(t, ok)
		assert.InDelta(t, sum/steps, c.Value, 8e-3, kind)
	}
}

// The elbows follow the angle factors that they name; the sudden expansion is Borda's.
func TestDerivedFittings(t *testing.T) {
	value := func(kind string) float64 {
		c, ok := FittingLoss(kind)
		require.True(t, ok, kind)
		return c.Value
	}
	assert.InDelta(t, 0.6*value("elbow_90"), value("elbow_45"), 1e-12)
	assert.InDelta(t, value("elbow_90")*2/3, value("elbow_60"), 1e-12)
	assert.InDelta(t, value("elbow_90")/3, value("elbow_30"), 1e-12)
	assert.InDelta(t, math.Pow(1-math.Pow(100.0/150, 2), 2), value("expansion_sudden"), 2e-3)
}

// The person's own figure comes first, for fittings, hoods and walls, also for kinds of their own.
func TestOwnCoefficients(t *testing.T) {
	n := small()
	n.Ducts[1].Fittings = []Fitting{{"elbow_90", 2}, {"silencer", 1}}
	n.Ports[1].Hood = "my hood"
	n.Own = Own{
		Fittings: map[string]float64{"elbow_90": 0.5, "silencer": 3},
		Hoods:    map[string]float64{"my hood": 1.4},
		Walls:    map[string]float64{"galvanized": 0.2e-3, "smooth_hose": 0.1e-3},
	}
	m, err := Compile(n)
	require.NoError(t, err)
	assert.Equal(t, 4.0, m.net.ductK(&m.net.Ducts[1]))
	assert.Equal(t, 1.4, m.net.Ports[1].HoodLoss)
	assert.Equal(t, 0.2e-3, m.net.Ducts[0].Roughness)
	assert.Equal(t, 0.1e-3, m.net.Ducts[2].Roughness)
	assert.Equal(t, 2.0, m.net.Ducts[2].Friction, "a hose of one's own roughness still has its slack")
	rows := m.Sources()
	i := slices.IndexFunc(rows, func(s Source) bool { return s.About == "fitting" && s.Kind == "elbow_90" })
	require.GreaterOrEqual(t, i, 0)
	assert.Equal(t, Given, rows[i].Mark)
	assert.Equal(t, 3, rows[i].Uses)
}

// Sources lists each figure once with its uses, and marks what the person gave and what was assumed.
func TestSources(t *testing.T) {
	n := small()
	n.Ducts[2].Friction = 3
	m, err := Compile(n)
	require.NoError(t, err)
	rows := m.Sources()
	find := func(about, kind string) Source {
		i := slices.IndexFunc(rows, func(s Source) bool { return s.About == about && s.Kind == kind })
		require.GreaterOrEqual(t, i, 0, "%s %s", about, kind)
		return rows[i]
	}
	assert.Equal(t, 2, find("roughness", "galvanized").Uses)
	assert.Equal(t, 0.15, find("roughness", "galvanized").Value)
	assert.Equal(t, 2, find("fitting", "elbow_90").Uses)
	assert.Equal(t, Given, find("hood", "planer").Mark)
	assert.Equal(t, Secondary, find("hood", "plain").Mark)
	assert.Equal(t, Given, find("loss", "lathe hose").Mark)
	assert.Equal(t, Given, find("friction factor", "lathe hose").Mark)
	assert.Equal(t, Given, find("open area when closed", "planer").Mark)
	assert.Equal(t, Practice, find("open area when closed", "lathe").Mark)
	assert.InDelta(t, 157.08, find("open area when closed", "lathe").Value, 0.01)
	for _, r := range rows {
		assert.NotEmpty(t, r.From, r.About)
	}
	n.Fan.Guess = true
	m, err = Compile(n)
	require.NoError(t, err)
	rows = m.Sources()
	assert.Contains(t, find("fan curve", "collector").From, "a guess")
	assert.Greater(t, find("fan curve", "collector").Spread, 1.2)
}

func TestPipes(t *testing.T) {
	for name, inside := range map[string]float64{"EN 1506 160": 0.160, "round 4 in": 0.1016, "schedule 40 4 in": 0.10226, "sdr35 4in": 3.975 * 0.0254, "ASTM D2729 6 in": 6.075 * 0.0254} {
		p, ok := PipeOf(name)
		require.True(t, ok, name)
		assert.InDelta(t, inside, p.Inside, 3e-5, name)
		assert.NotEmpty(t, p.Source)
		_, ok = Wall(p.Wall)
		assert.True(t, ok, p.Wall)
	}
	_, ok := PipeOf("a bucket")
	assert.False(t, ok)
	for _, p := range Pipes() {
		assert.Equal(t, strings.TrimSpace(p.Name), p.Name)
		assert.Greater(t, p.Inside, 0.04)
		assert.Less(t, p.Inside, 0.55)
	}
}
