package plan

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"

	"ductwarden/gates"
)

// metric writes a speed as a person with metric units reads it.
func metric(v float64) string { return fmt.Sprintf("%.1f m/s", v) }

// healthy asks for machines in the bench shop with everything in order and the filter loaded.
func healthy(running ...int) Question {
	return Question{Running: gates.Of(running...), Usable: gates.Of(planer, lathe, bandsaw, sweep), Loaded: true}
}

func benchTree(t testing.TB, o Options) *Tree {
	n, machines := benchShop()
	return plant(t, n, machines, o)
}

func TestTheLatheTakesItsReliefWhereItHelps(t *testing.T) {
	tree := benchTree(t, Options{})
	q := healthy(lathe)
	a := tree.Choose(q)
	assert.Equal(t, gates.Of(lathe), a.Needed)
	assert.Equal(t, gates.Of(bandsaw), a.Relief, "the sweep is preferred, and slows the bench run")
	assert.Equal(t, gates.Of(lathe, bandsaw), a.Open)
	assert.Equal(t, Carries, a.Verdict)
	assert.InDelta(t, 1000, int(a.Margin), 400, "about 10 %")
	assert.InDelta(t, 12000, int(a.Share), 1000)
	assert.Equal(t, Creeps, a.Worst, "the mortiser's gate is a thief when it is left open")
	assert.Equal(t, uint8(NoMachine), a.Mend)
	assert.EqualValues(t, lathe, a.Short)
	assert.EqualValues(t, trunk, a.Weakest)
}

func TestSentences(t *testing.T) {
	tree := benchTree(t, Options{})
	all := healthy().Usable
	with := func(q Question, change func(*Question)) Question {
		change(&q)
		return q
	}
	for name, c := range map[string]struct {
		tree *Tree
		q    Question
		want string
	}{
		"its own gate": {tree, healthy(planer), "planer needs its own gate: margin +18 %, air 208 %"},
		"nobody":       {tree, Question{}, "nothing is demanded"},
		"relief": {tree, healthy(lathe),
			"lathe needs its own gate; with that alone the trunk would run at 15.6 m/s of the 21.0 m/s asked, " +
				"so bandsaw opens too (sweep would slow the bench run to 17.0 m/s): margin +8 %, air 117 %; " +
				"keep mortiser shut, else the lathe hose runs at 18.3 m/s"},
		"a gate moved by hand": {tree, healthy(mortiser),
			"mortiser needs its own gate; with that alone the trunk would run at 13.4 m/s of the 21.0 m/s asked, " +
				"so bandsaw opens too (sweep would slow the bench run to 14.7 m/s): margin +6 %; open mortiser by hand"},
		"another name": {tree, healthy(sweep),
			"floor sweep needs gate sweep; with that alone the trunk would run at 19.9 m/s of the 21.0 m/s asked, so bandsaw opens too: margin +31 %"},
		"two that do not go together": {tree, healthy(planer, lathe),
			"planer and lathe need their own gates: the bench run runs at 14.7 m/s of the 21.0 m/s asked, chips settle there, " +
				"margin -26 %, air 116 %; stop lathe and the rest carries"},
		"too little air": {tree, healthy(planer, lathe, bandsaw),
			"planer, lathe and bandsaw need their own gates: the lathe hose runs at 13.8 m/s of the 21.0 m/s asked, chips settle there, " +
				"margin -31 %, air 70 % of what lathe wants; stop planer and the rest carries"},
		"no single stop": {tree, healthy(planer, lathe, bandsaw, sweep),
			"planer, lathe, bandsaw and floor sweep need gates planer, lathe, bandsaw and sweep: the lathe hose runs at 10.4 m/s of the " +
				"21.0 m/s asked, chips settle there, margin -48 %, air 53 % of what lathe wants; stopping one of them does not mend it"},
		"running down": {tree, with(healthy(planer), func(q *Question) { q.Down = gates.Of(lathe, bandsaw) }),
			"planer needs its own gate: margin +18 %, air 208 %; lathe and bandsaw run down and would not carry beside the rest, to be cleared later"},
		"only creeps": {tree, with(healthy(lathe), func(q *Question) { q.Usable = gates.Of(lathe) }),
			"lathe needs its own gate: the trunk runs at 15.6 m/s of the 21.0 m/s asked, chips creep there, margin -22 %, air 200 %"},
		"one without air": {tree, with(healthy(planer, lathe), func(q *Question) { q.Usable = all.Without(lathe) }),
			"planer needs its own gate: margin +18 %; lathe has no air, gate lathe does not open: stop it"},
		"nobody with air": {tree, with(healthy(lathe), func(q *Question) { q.Usable = all.Without(lathe) }),
			"lathe has no air, gate lathe does not open: stop it"},
		"everything open": {benchTree(t, Options{EverythingOpen: true}), healthy(lathe, bandsaw),
			"lathe and bandsaw run with every gate open: the lathe hose runs at 8.3 m/s of the 21.0 m/s asked, chips settle there, " +
				"margin -58 %, air 42 % of what lathe wants; stopping one of them does not mend it"},
		"bounded": {benchTree(t, Options{Solves: 1}), healthy(lathe),
			"lathe needs its own gate: the trunk runs at 15.6 m/s of the 21.0 m/s asked, chips creep there, margin -22 %, air 200 %; " +
				"there may be a better pattern, the search ended at its count"},
	} {
		t.Run(name, func(t *testing.T) {
			assert.Equal(t, c.want, c.tree.Explain(c.q, c.tree.Choose(c.q), metric))
		})
	}
}

func TestDemandsListSinglesPairsAndNamedSets(t *testing.T) {
	tree := benchTree(t, Options{})
	named := []gates.Set{gates.Of(lathe, bandsaw), gates.Of(planer, lathe, bandsaw), gates.Of(lathe, 60)}
	list := tree.Demands(named, true)
	assert.Len(t, list, 5+10+1)
	for _, d := range list {
		assert.Equal(t, d.Machines, d.Question.Running)
		assert.Equal(t, tree.Choose(d.Question), d.Answer)
		assert.Equal(t, d.Machines == named[0] || d.Machines == named[1] || d.Machines == gates.Of(lathe), d.Named, "%b", d.Machines)
	}
	assert.Equal(t, named[1], list[15].Machines)
}
