package plan_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
	"ductwarden/controller/airflow"
	"ductwarden/controller/plan"
	"ductwarden/gates"
)

// The lathe's own gate leaves the trunk too slow, its preferred relief gate slows the bench run, another carries.
func TestTheExampleShopsLathe(t *testing.T) {
	path := filepath.Join("..", "..", "..", "shared", "example-shop.yaml")
	if _, err := os.Stat(path); err != nil {
		t.Skip("the shared example shop does not lie beside the project")
	}
	shop, err := config.Load(path)
	require.NoError(t, err)
	tree := shop.Trees()[0]
	model, err := airflow.Compile(tree.Network)
	require.NoError(t, err)
	p, err := plan.New(&tree.Network, plan.Solved(model), tree.Machines, plan.Options{})
	require.NoError(t, err)
	const lathe, bandsaw = 1, 2
	a := p.Choose(plan.Question{Running: gates.Of(lathe), Usable: gates.Of(0, 1, 2, 4), Loaded: true})
	assert.Equal(t, gates.Of(lathe, bandsaw), a.Open)
	assert.Equal(t, gates.Of(bandsaw), a.Relief)
	assert.Equal(t, plan.Carries, a.Verdict)
	assert.Greater(t, a.Margin, plan.Ratio(500))
	assert.Greater(t, a.Share, plan.Ratio(10000))
	t.Logf("margin %.1f %%, share %.0f %%", a.Margin.Float()*100, a.Share.Float()*100)
}
