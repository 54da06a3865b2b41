package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/airflow"
	"ductwarden/controller/plan"
	"ductwarden/gates"
)

// planners makes the real ones, as the program does.
func planners(t *testing.T, s *Shop) []plan.Planner {
	t.Helper()
	var out []plan.Planner
	for _, tree := range s.Trees() {
		var air plan.Air
		if tree.Judged {
			m, err := airflow.Compile(tree.Network)
			require.NoError(t, err)
			air = plan.Solved(m)
		}
		p, err := plan.New(&tree.Network, air, tree.Machines, plan.Options{EverythingOpen: s.Way == EverythingOpen})
		require.NoError(t, err)
		out = append(out, p)
	}
	return out
}

// example loads the shared example shop, or skips with a sentence.
func example(t *testing.T) *Shop {
	t.Helper()
	path := filepath.Join("..", "..", "shared", "example-shop.yaml")
	if _, err := os.Stat(path); err != nil {
		t.Skip("the shared example shop does not lie beside the project")
	}
	s, err := Load(path)
	require.NoError(t, err)
	return s
}

func TestExampleBuildsItsCore(t *testing.T) {
	s := example(t)
	core, err := s.Core(planners(t, s))
	require.NoError(t, err)
	require.Len(t, core.Machines, 4)
	assert.Equal(t, gates.Of(0), core.Machines[0].Needs)
	assert.Equal(t, 12*controller.Second, core.Machines[0].RunDown)
	assert.Equal(t, 3*controller.Minute, core.Machines[3].Button)
	assert.False(t, core.Machines[3].Sensed)
	assert.True(t, core.Gates[3].Motion.Hand)
	assert.Equal(t, gates.Of(4), core.Collectors[0].Ways[0], "the preferred relief gate first")
	assert.EqualValues(t, 21000, core.Ducts[0].Transport, "20 m/s and 5 %")
	assert.EqualValues(t, 8, core.Collectors[0].StartsPerHour)
	assert.Equal(t, controller.NetworkStop, core.Network)
}

// The lathe's own gate leaves the trunk slow, and the sweep, though preferred, slows the bench run: the bandsaw
// opens for its air.
func TestExampleLatheIsServedByTheBandsawsAir(t *testing.T) {
	s := example(t)
	p := planners(t, s)[0]
	a := p.Choose(plan.Question{Running: gates.Of(1), Usable: gates.Of(0, 1, 2, 4), Loaded: true})
	assert.Equal(t, gates.Of(1), a.Needed)
	assert.Equal(t, gates.Of(2), a.Relief)
	assert.Equal(t, plan.Carries, a.Verdict)
	t.Logf("margin %d, share %d", a.Margin, a.Share)
}

// A machine's own longest run and the shop's longest hold reach the core: a key that does nothing would be a lie.
func TestLongestRunAndHoldReachTheCore(t *testing.T) {
	s, err := Parse("shop.yaml", strings.NewReader(`version: 1
shop: one
buses: {main: /dev/i2c-1}
limits: {longest_hold: 20 min, longest_run: 3 h}
gates: [{name: saw, actuator: {servo: {chip: pca9685@0x40, channel: 0, open: 1900 us, closed: 1100 us, travel: 600 ms}}}]
machines: [{name: saw, gates: [saw], longest_run: 40 min, sensors: [{contact: {line: GPIO25}}]}]
`))
	require.NoError(t, err)
	core, err := s.Core(planners(t, s))
	require.NoError(t, err)
	assert.Equal(t, 20*controller.Minute, core.LongestHold)
	assert.Equal(t, 3*controller.Hour, core.LongestRun)
	assert.Equal(t, 40*controller.Minute, core.Machines[0].LongestRun)
}
