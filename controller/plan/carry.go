package plan

import (
	"cmp"
	"slices"

	"ductwarden/gates"
)

// family is a set of patterns: the extra gates, with any of the free gates that are not banned beside them.
// The families that the search holds never share a pattern.
type family struct {
	extra, banned gates.Set
	row           int32 // verdict on extra alone; before it is solved, of its parent
	gate          uint8 // the gate that its parent lacks
	solved        bool
}

// stepsPerSolve bounds the work beside solving: families looked at, for each solve that is allowed.
const stepsPerSolve = 32

// fewest looks for the patterns that carry with the fewest extra gates and keeps the best of them, by
// iterative deepening: all families that can carry with n extra gates are looked at before any that needs
// more. It leaves nothing out, because by monotonicity
//   - a port that has lost its full air does not get it back by opening: its family is dropped, and the gate
//     that starved it is banned for all its siblings;
//   - a duct that is too slow is healed only by opening a gate above it: one of these must be in the pattern,
//     so the family splits into one for each of them, each without those before it;
//   - a gate never brings more air than it does as the only extra one, and less when the suction that is left
//     at speed is less, so that a duct's missing air tells how many gates are needed at least.
//
// It reports whether a pattern carries.
func (t *Tree) fewest() bool {
	r := &t.room
	base := t.judge(0)
	if base < 0 {
		return false
	}
	t.offer(base)
	if r.rows[base].grade == Carries {
		return true
	}
	t.bounds()
	if r.asked.none || t.dead(family{row: base}) {
		return false
	}
	r.families, r.later = r.families[:0], append(r.later[:0], family{row: base, solved: true})
	for n := 1; n <= r.demand.free.Len() && len(r.later) > 0; n++ {
		r.families, r.later = append(r.families[:0], r.later...), r.later[:0]
		for len(r.families) > 0 && !r.cut {
			f := r.families[len(r.families)-1]
			r.families = r.families[:len(r.families)-1]
			t.look(f, n)
		}
		if r.cut || r.best.grade == Carries {
			break
		}
	}
	return r.best.grade == Carries
}

// step counts one look at a family.
func (t *Tree) step() bool {
	t.room.steps++
	if t.room.steps > stepsPerSolve*t.options.Solves {
		t.room.cut = true
	}
	return !t.room.cut
}

// look handles one family when up to n extra gates may open.
func (t *Tree) look(f family, n int) {
	r := &t.room
	if !t.step() {
		return
	}
	if !f.solved {
		parent := f
		parent.extra = f.extra.Without(int(f.gate))
		switch t.within(parent, f.gate, n-f.extra.Len()) {
		case never:
			return
		case notYet:
			r.later = append(r.later, f)
			return
		}
		if t.beaten(parent, int(f.gate), n, NoRatio) {
			return
		}
		if f.row = t.judge(f.extra); f.row < 0 {
			return
		}
		f.solved = true
		t.offerFull(f.row)
	}
	v := &r.rows[f.row]
	if v.short > r.rows[0].short || v.grade == Carries {
		return
	}
	switch t.within(f, none, n-f.extra.Len()) {
	case never:
		return
	case notYet:
		r.later = append(r.later, f)
		return
	}
	if duct := t.tightest(f); duct >= 0 {
		t.split(f, t.choices(f, duct), n)
	}
}

// offerFull offers a row unless it has cost a port its full air.
func (t *Tree) offerFull(i int32) {
	if t.room.rows[i].short <= t.room.rows[0].short {
		t.offer(i)
	}
}

// choices is the free gates of a family above a carrying duct.
func (t *Tree) choices(f family, duct int) gates.Set {
	d := &t.room.demand
	return t.ducts[d.carry[duct]].above & d.free &^ f.banned &^ f.extra
}

// tightest is the starved duct of a family with the fewest gates that could heal it, -1 when one has none.
func (t *Tree) tightest(f family) int {
	r := &t.room
	at, best, fewest := r.at(f.row), -1, places+1
	for i := range r.demand.carry {
		if !t.starved(at, i) {
			continue
		}
		n := t.choices(f, i).Len()
		if n == 0 {
			return -1
		}
		if n < fewest {
			best, fewest = i, n
		}
	}
	return best
}

// split makes a family's children, one for each of the gates of which at least one must open, solves those
// that may carry with n gates, and puts them aside.
func (t *Tree) split(f family, must gates.Set, n int) {
	r := &t.room
	r.children = r.children[:0]
	for _, g := range r.order {
		if must.Has(int(g)) {
			r.children = append(r.children, family{extra: f.extra.With(int(g)), row: f.row, gate: g})
		}
	}
	bad := gates.Set(0)
	rest := n - f.extra.Len() - 1
	if rest == 0 {
		t.widestFirst(f)
	}
	for i := range r.children {
		c := &r.children[i]
		if !t.step() {
			return
		}
		margin := NoRatio
		if rest == 0 {
			margin = r.widest[c.gate]
		}
		if t.within(f, c.gate, rest) != now || t.beaten(f, int(c.gate), n, margin) {
			continue
		}
		row := t.judge(c.extra)
		if row < 0 {
			return
		}
		c.row, c.solved = row, true
		t.offerFull(row)
		if t.dead(family{extra: c.extra, banned: f.banned, row: row}) {
			bad = bad.With(int(c.gate))
		}
	}
	banned := f.banned | bad
	for i := range r.children {
		c := &r.children[i]
		if bad.Has(int(c.gate)) {
			continue
		}
		c.banned = banned
		banned = banned.With(int(c.gate))
	}
	for _, c := range slices.Backward(r.children) {
		if !bad.Has(int(c.gate)) {
			r.families = append(r.families, c)
		}
	}
}

// widestFirst puts the children of a family that may open no further gate into the order in which they are likely to be
// chosen, so that the first one solved beats most of the others unsolved.
func (t *Tree) widestFirst(f family) {
	r := &t.room
	for i := range r.children {
		g := r.children[i].gate
		r.widest[g] = t.marginAtMost(f, int(g))
	}
	rank := func(g uint8) int {
		n := 0
		if t.prefer.Has(int(g)) {
			n -= 2
		}
		if r.demand.kept.Has(int(g)) {
			n--
		}
		return n
	}
	slices.SortStableFunc(r.children, func(a, b family) int {
		return cmp.Or(cmp.Compare(rank(a.gate), rank(b.gate)), cmp.Compare(r.widest[b.gate], r.widest[a.gate]))
	})
}

// rankGates puts the free gates into the order in which families split: preferred gates, gates open now, those that
// bring most air, lowest number.
func (t *Tree) rankGates() {
	r := &t.room
	most := &r.most[len(r.demand.carry)-1]
	var ranks [places]uint64 // all that counts in one number, the gate in its last bits
	n := 0
	for g := range r.demand.free.All() {
		rank := uint64(3)
		if t.prefer.Has(g) {
			rank -= 2
		}
		if r.demand.kept.Has(g) {
			rank--
		}
		ranks[n] = rank<<62 | uint64(unbounded-most[g])<<6 | uint64(g)
		n++
	}
	slices.Sort(ranks[:n])
	r.order = r.order[:0]
	for _, v := range ranks[:n] {
		r.order = append(r.order, uint8(v%places))
	}
}

// dead reports whether no pattern of a solved family can carry with full air: a port was starved, or a
// starved duct has no gate left above it.
func (t *Tree) dead(f family) bool {
	r := &t.room
	if r.rows[f.row].short > r.rows[0].short {
		return true
	}
	at := r.at(f.row)
	for i := range r.demand.carry {
		if t.starved(at, i) && (t.choices(f, i) == 0 || t.squeezed(f, i, &r.asked)) {
			return true
		}
	}
	return false
}
