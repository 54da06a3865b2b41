package loop

import (
	"time"

	"ductwarden/controller"
	"ductwarden/controller/plan"
	"ductwarden/current"
)

// askAfter is how long the machines of one clamp must have run without the air for all before a person is asked.
// Own choice: gates and the collector take as long.
const askAfter = 5 * time.Second

// shortOfAir is the share of its air below which a machine of a group counts as not served.
const shortOfAir = 0.7

// group is the machines that are fed through one clamp. It cannot tell which of them runs: all get their gates.
// Where all together do not carry, a person is asked, and the one that is called by its button or on the page counts
// until the clamp is quiet again.
type group struct {
	machines controller.Set
	clamp    *sight
	chosen   int           // -1: nobody has said
	since    time.Duration // since when all run and do not get their air; 0: they do
	asks     bool
}

// groupOf is the group of a machine whose clamp shows current; nil: there is none.
func (l *Loop) groupOf(machine int) *group {
	for i := range l.groups {
		if g := &l.groups[i]; g.machines.Has(machine) && g.clamp.belief() == current.Running {
			return g
		}
	}
	return nil
}

// choose takes a call for a machine as the answer which one of its group runs, and reports whether it was one.
func (l *Loop) choose(machine int) bool {
	g := l.groupOf(machine)
	if g == nil || !g.asks {
		return false
	}
	g.chosen, g.asks, g.since = machine, false, 0
	l.dirty = true
	return true
}

// isAnother reports whether a machine shares its clamp with one that a person has named.
func (g *group) isAnother(machine int) bool { return g != nil && g.chosen >= 0 && g.chosen != machine }

// askGroups looks whether the machines of each clamp get their air, and asks where they do not.
func (l *Loop) askGroups(now time.Duration, s *controller.Snapshot) {
	for i := range l.groups {
		g := &l.groups[i]
		if g.clamp.belief() != current.Running {
			if g.chosen >= 0 || g.asks {
				l.dirty = true
			}
			g.chosen, g.asks, g.since = -1, false, 0
			continue
		}
		if g.chosen >= 0 || l.served(g, s) {
			g.asks, g.since = false, 0
			continue
		}
		if g.since == 0 {
			g.since = now
		}
		if !g.asks && now-g.since >= askAfter {
			g.asks, l.dirty = true, true
		}
	}
}

// served reports whether all machines of a group get their air together, as far as the air is judged.
func (l *Loop) served(g *group, s *controller.Snapshot) bool {
	for m := range g.machines.All() {
		if share := s.Machines[m].Share; share != nil && *share < shortOfAir {
			return false
		}
		for c := range l.parts.Shop.Machines[m].Collectors.All() {
			if c >= len(s.Collectors) {
				continue // a shop without a collector shows none
			}
			if v := s.Collectors[c].Transport; v == "creeps" || v == "settles" {
				return false
			}
		}
	}
	return true
}

// groupsStanding adds the question to what stands.
func (l *Loop) groupsStanding(out []controller.Standing) []controller.Standing {
	for i := range l.groups {
		if g := &l.groups[i]; g.asks {
			for m := range g.machines.All() {
				out = append(out, controller.Standing{Is: controller.WhichRuns, N: uint8(m), A: plan.NoDuct, B: plan.NoMachine})
			}
		}
	}
	return out
}
