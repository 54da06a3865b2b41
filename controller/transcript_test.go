package controller_test

import (
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/airflow"
	"ductwarden/controller/plan"
	"ductwarden/controller/transcript"
)

var update = flag.Bool("update", false, "write the transcripts of testdata/shop anew")

// openCast builds the core's shop from a shop file of testdata, with its real planners, and the chips that it names.
func openCast(name string) (*transcript.Cast, error) {
	file, err := config.Load(filepath.Join("..", "testdata", name))
	if err != nil {
		return nil, err
	}
	trees := file.Trees()
	planners := make([]plan.Planner, len(trees))
	for c := range trees {
		var air plan.Air
		if trees[c].Judged {
			m, err := airflow.Compile(trees[c].Network)
			if err != nil {
				return nil, err
			}
			air = plan.Solved(m)
		}
		planners[c], err = plan.New(&trees[c].Network, air, trees[c].Machines, plan.Options{
			Clearing: plan.Ratio(file.Limits.ClearingFactor*10000 + 0.5), EverythingOpen: file.Way == config.EverythingOpen})
		if err != nil {
			return nil, err
		}
	}
	shop, err := file.Core(planners)
	if err != nil {
		return nil, err
	}
	cast := &transcript.Cast{Shop: shop, Chips: map[string]controller.Set{}, Meters: map[string]controller.Set{}, Motors: map[string]controller.Set{}}
	add := func(to map[string]controller.Set, name string, n int) { to[name] = to[name].With(n) }
	for g := range file.Gates {
		if s := file.Gates[g].Actuator.Servo; s != nil {
			add(cast.Chips, s.Chip.String(), g)
		}
	}
	for m := range file.Machines {
		for _, s := range file.Machines[m].Sensors {
			if s.Clamp != nil {
				add(cast.Meters, s.Clamp.Converter.Chip.String(), m)
			}
		}
	}
	for c := range file.Collectors {
		if p := file.Collectors[c].Proof; p != nil && p.Clamp != nil {
			add(cast.Motors, p.Clamp.Converter.Chip.String(), c)
		}
	}
	return cast, nil
}

// Each file of testdata/shop is a day in a shop: what happens, and below each line what the core does about it. After
// -update read what has changed, and commit it only if it is what should happen in a shop.
func TestTranscripts(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("..", "testdata", "shop", "*.txt"))
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 25)
	for _, path := range files {
		t.Run(filepath.Base(path), func(t *testing.T) {
			text, err := os.ReadFile(path)
			require.NoError(t, err)
			got, err := transcript.Run(string(text), openCast)
			require.NoError(t, err)
			if *update {
				require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
				return
			}
			assert.Equal(t, string(text), got, "run go test ./controller -run Transcripts -update, and read what has changed")
			bad, err := transcript.Check(string(text), openCast)
			require.NoError(t, err)
			assert.Empty(t, bad, "what was written is what a person's script would be held to")
		})
	}
}
