package plan

import (
	"slices"

	"ductwarden/gates"
)

// completeTo is the number of free gates up to which the largest margin is looked for in all patterns.
const completeTo = 10

// Beyond it, the share of Options.Solves that goes into looking for the largest margin, and into improving on
// what was found. The proof that nothing is wider costs most of a search and helps nobody at the machine.
const (
	wideShare  = 0.15
	climbShare = 0.10
)

// widest looks for the pattern with the best grade and then the largest margin, when it is known that none
// carries. It goes depth first, the most promising child first, and drops what cannot come before the best so
// far: a pattern that does must bring every duct below the best margin up to it, and only gates above such a
// duct can do that.
func (t *Tree) widest() {
	r := &t.room
	whole := r.limit
	small := r.demand.free.Len() <= completeTo
	if !small {
		r.limit = min(whole, r.solved+int(wideShare*float64(whole)))
	}
	r.families = append(r.families[:0], family{row: 0, solved: true})
	for len(r.families) > 0 && !r.cut {
		f := r.families[len(r.families)-1]
		r.families = r.families[:len(r.families)-1]
		if must, ok := t.raising(f); ok && t.step() {
			t.spread(f, must)
		}
	}
	if r.cut && !small {
		r.cut, r.limit = false, min(whole, r.solved+int(climbShare*float64(whole)))
		t.climb()
		r.cut = true
	}
}

// climb improves on the best pattern by single steps, as long as one helps: a gate more above its slowest duct,
// else a gate less or one gate for another.
func (t *Tree) climb() {
	r := &t.room
	for {
		from := r.best
		v := &r.rows[from.row]
		above := t.ducts[r.demand.carry[v.weakest]].above & r.demand.free
		for g := range (above &^ from.extra).All() {
			t.try(from.extra.With(g))
		}
		if r.best.row != from.row {
			continue
		}
		for out := range from.extra.All() {
			less := from.extra.Without(out)
			t.try(less)
			in := r.demand.free &^ from.extra
			if above != 0 && !above.Has(out) {
				in &= above
			}
			for g := range in.All() {
				t.try(less.With(g))
			}
		}
		if r.best.row == from.row || r.cut {
			return
		}
	}
}

// try judges a pattern and keeps it if it is the best so far.
func (t *Tree) try(extra gates.Set) {
	if t.room.cut {
		return
	}
	if i := t.judge(extra); i >= 0 {
		t.offerFull(i)
	}
}

// raising is the free gates of which at least one is in every pattern of a family that comes before the best
// so far (extra alone left out), and whether there may be such a pattern.
//
// A pattern with the best's own grade and margin counts only if it has fewer gates; below a family that has
// that margin itself there is none.
func (t *Tree) raising(f family) (must gates.Set, ok bool) {
	r := &t.room
	v, best, at := &r.rows[f.row], &r.best, r.at(f.row)
	as := v.grade == best.grade && v.margin == best.margin
	slow := func(i int) bool { return r.over[at+i] < best.margin || as && r.over[at+i] == best.margin }
	bounded := best.grade == Creeps || t.even
	if bounded {
		if t.limit(&r.wide, best.margin); r.wide.none {
			return 0, false
		}
	}
	fewest, sinking := places+1, -1
	for i := range r.demand.carry {
		sinks := r.sinks[at+i]
		if sinks {
			sinking = i
		}
		// With a best that only settles, a pattern that creeps comes before it whatever its margin: a slow
		// duct need not be raised unless it settles too.
		if best.grade == Creeps && (sinks || slow(i)) || best.grade == Settles && sinks && slow(i) {
			of := t.choices(f, i)
			if of == 0 || bounded && slow(i) && t.squeezed(f, i, &r.wide) {
				return 0, false
			}
			if n := of.Len(); n < fewest {
				must, fewest = of, n
			}
		}
	}
	if fewest <= places {
		return must, true
	}
	// A duct settles, the slowest one does not: one or the other must be raised.
	must = t.choices(f, v.weakest)
	if sinking >= 0 {
		must |= t.choices(f, sinking)
	}
	return must, must != 0
}

// spread solves a family's children and puts them aside, the best to be looked at first.
func (t *Tree) spread(f family, must gates.Set) {
	r := &t.room
	r.children = r.children[:0]
	starved := gates.Set(0)
	for g := range must.All() {
		row := t.judge(f.extra.With(g))
		if row < 0 {
			return
		}
		if r.rows[row].short > r.rows[0].short {
			starved = starved.With(g)
			continue
		}
		t.offer(row)
		r.children = append(r.children, family{extra: f.extra.With(g), row: row, gate: uint8(g), solved: true})
	}
	slices.SortFunc(r.children, func(a, b family) int {
		x, y := t.choiceOf(a.row), t.choiceOf(b.row)
		return x.compare(&y)
	})
	banned := f.banned | starved
	for i := range r.children {
		c := &r.children[i]
		c.banned = banned
		banned = banned.With(int(c.gate))
	}
	for _, c := range slices.Backward(r.children) {
		r.families = append(r.families, c)
	}
}
