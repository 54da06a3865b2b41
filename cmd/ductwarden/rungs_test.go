package main

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
	"ductwarden/controller"
)

// Each rung of the ladder is useful alone: every shop file of the ladder loads, goes on duty in the simulated shop,
// and gives the machines that it has their gate and, where it can switch one, their collector.
func TestEveryRungOfTheLadderRuns(t *testing.T) {
	unshared(t)
	files, err := filepath.Glob(filepath.Join(root(t), "config", "testdata", "good", "*.yaml"))
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 6)
	more, err := filepath.Glob(filepath.Join(root(t), "testdata", "shops", "*.yaml"))
	require.NoError(t, err)
	files = append(files, more...)
	if example := filepath.Join(root(t), "..", "shared", "example-shop.yaml"); exists(example) {
		files = append(files, example)
	}
	for _, path := range files {
		t.Run(filepath.Base(path), func(t *testing.T) {
			file, err := config.Load(path)
			require.NoError(t, err)
			ctx := context.Background()
			th, err := newTheatre(ctx, file, 1)
			require.NoError(t, err)
			th.loop.Post(controller.Event{Kind: controller.ReadyPressed, By: controller.FromConsole})
			th.clock.Advance(ctx, th.clock.Now()+2*time.Second)
			s := th.loop.Snapshots().Latest()
			require.Equal(t, "on_duty", s.Mode)
			for i := range file.Machines {
				for _, g := range file.Machines[i].Gates {
					if file.Gates[g].Actuator.Hand != nil {
						th.sim.Slide(g, 1) // by the person at the machine
					}
				}
				th.clock.Advance(ctx, th.clock.Now()+time.Second)
				th.loop.Post(controller.Event{Kind: controller.CallAir, By: controller.FromPage, N: uint8(i), V: 20_000})
				th.clock.Advance(ctx, th.clock.Now()+15*time.Second)
				s = th.loop.Snapshots().Latest()
				slidShut := false // a switch says so, and nobody has slid it
				for _, g := range file.Machines[i].Gates {
					slidShut = slidShut || file.Gates[g].Actuator.Hand != nil && file.Gates[g].Actuator.Hand.Open != nil
					if file.Gates[g].Actuator.Hand == nil {
						assert.Equal(t, "open", s.Gates[g].State, "%s: gate %s", file.Machines[i].Name, file.Gates[g].Name)
					}
				}
				for _, c := range file.Machines[i].Collectors {
					if file.Collectors[c].Starter != nil && len(file.Machines[i].Gates) > 0 && !slidShut {
						assert.Contains(t, []string{"running", "starting"}, s.Collectors[c].Phase, file.Machines[i].Name)
					}
				}
				th.clock.Advance(ctx, th.clock.Now()+10*time.Second)
			}
			th.loop.Post(controller.Event{Kind: controller.HaltPressed, By: controller.FromConsole})
			th.clock.Advance(ctx, th.clock.Now()+2*time.Second)
			for _, c := range th.loop.Snapshots().Latest().Collectors {
				assert.NotContains(t, []string{"running", "starting", "clearing", "lingering"}, c.Phase)
			}
		})
	}
}

func exists(path string) bool { _, err := os.Stat(path); return err == nil }
