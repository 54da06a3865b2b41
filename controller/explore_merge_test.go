package controller_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"ductwarden/gates"
)

// TestMergedStatesStandForAll shows the assumption of the slices by outcomes: whatever a core does, undivided, the merged one
// does too. In every state of complete undivided slices each move is made; then it is made in the merged state, and a merged
// successor, by core and observers' notebook, must be the successor, merged: after the same move, a variant of it, the same
// with the hour's starts spent, a call at the same moment, or none.
func TestMergedStatesStandForAll(t *testing.T) {
	heavy(t)
	type part struct{ of, kinds string }
	parts := []part{{"gates, motor, chatter, holds", "mgtfxShrka"}, {"gates, motor, disconnect, starts", "mgtfderka"}, {"gates, chips, motor", "mgctfrha"},
		{"gates, motor, restarts, changed file", "mgtfunrha"}, {"motor, selectors", "msotfhrka"}}
	if *long {
		parts = append(parts, part{"gates, chips, motor, disconnect, starts", "mgctfderka"}) // a million states
	}
	for _, p := range parts {
		t.Run(p.of, func(t *testing.T) {
			sl := undivided("merged states stand for all: "+p.of, p.kinds, ", long runs, a second machine", oneOfEach())
			sl.rules, sl.visit = rulesOf(orderRules...), nil
			merged := *sl
			merged.merges = true
			sl.follow = func(w *world, from packed, m move, to packed) string { return w.stands(&merged, from, m, to) }
			require.True(t, sl.holds(t).complete)
		})
	}
}

// merge is Merge, and the same for the observers' notebook.
func (w *world) merge() {
	w.s.Merge(w.shop)
	for g := range w.shop.Gates {
		if l := &w.shop.Gates[g].Motion; l.OpenSwitch && l.ClosedSwitch && w.gate[g].seen == gates.SeenBoth {
			w.gate[g].seen = gates.SeenNeither
		}
	}
}

// stands says that no move of the merged state leads to the merged successor.
func (w *world) stands(merged *slice, from packed, m move, to packed) string {
	if w.twin == nil {
		w.twin = newWorld(merged, nil)
	}
	t := w.twin
	t.unpack(to)
	t.merge()
	want := t.packed()
	t.unpack(from)
	t.merge()
	if t.packed() == want {
		return ""
	}
	var base copied
	t.keep(&base)
	tried := 0
	for _, v := range append([]move{m, {m.kind, m.n, m.v | again}, {'e', 0, 0}}, merged.moves(t, nil)...) { // 'e' is there a call at the same moment
		if (v.kind != m.kind || v.n != m.n) && v.kind != 'e' {
			continue
		}
		for _, spent := range [...]bool{false, true} {
			if t.back(&base); spent {
				t.spendAll()
			}
			tried++
			if merged.apply(t, v); t.packed() == want {
				return ""
			}
		}
	}
	return fmt.Sprintf("none of %d merged moves does what %c %d %d does", tried, m.kind, m.n, m.v)
}
