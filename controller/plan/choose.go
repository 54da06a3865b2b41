package plan

import (
	"math/bits"

	"ductwarden/gates"
)

// Choose answers a question. Running machines come first: if they and those that run down do not carry
// together, as few as possible of the latter are left for later.
func (t *Tree) Choose(q Question) Answer {
	running := q.Running & t.mine
	down := q.Down & t.mine &^ running
	if running|down == 0 {
		return t.idle(q)
	}
	if t.air == nil {
		return t.unjudged(q, running|down)
	}
	res := t.find(t.keyOf(q, running|down))
	spent, left := res.cost, gates.Set(0)
	if res.grade != Carries && running != 0 && down != 0 && !t.options.EverythingOpen {
		res, left = t.leave(q, running, down, res, &spent)
	}
	a := Answer{
		Open: res.open, Needed: res.needed, Relief: res.extra, Left: left, Unserved: res.unserved,
		Verdict: res.grade, Worst: res.worst, Weakest: res.weakest, Short: res.least, Mend: NoMachine, Bounded: res.bounded,
		Margin: res.margin, WorstMargin: res.worstMargin, Share: res.share, Clear: res.clear,
	}
	if !res.served() {
		a.Mend = t.mend(q, running, down&^left, &res, &spent)
	}
	return a
}

// idle is the answer when nothing is demanded of this tree.
func (t *Tree) idle(q Question) Answer {
	a := Answer{
		Open: q.StuckOpen & t.all, Verdict: NotJudged, Worst: NotJudged, Weakest: NoDuct, Short: NoMachine, Mend: NoMachine,
		Margin: NoRatio, WorstMargin: NoRatio, Share: NoRatio,
	}
	if t.options.EverythingOpen {
		a.Open |= t.keyOf(q, 0).free | t.hand
	}
	return a
}

// unjudged is the answer of a shop whose ducts or fan are not known: the needed gates and those that stand
// open anyway.
func (t *Tree) unjudged(q Question, machines gates.Set) Answer {
	a := t.idle(q)
	k := t.keyOf(q, machines)
	a.Needed, a.Unserved = t.needed(machines), t.unserved(k)
	a.Open |= a.Needed & t.openable(k)
	return a
}

// find is the choice for one demand, remembered or searched for.
func (t *Tree) find(k key) result {
	if r, ok := t.memo.recall(k); ok {
		return r
	}
	res := t.search(k)
	t.memo.keep(k, res)
	return res
}

// leave looks for the fewest machines to leave so that the rest carries; of several sets, the one that leaves the
// most ports with full air, then the largest margin, then the lowest numbers. Where nothing helps, the running
// ones alone are served if that is better for them than serving all.
func (t *Tree) leave(q Question, running, down gates.Set, all result, spent *int) (result, gates.Set) {
	var best result
	var left gates.Set
	for n := 1; n < down.Len() && left == 0; n++ {
		for out := range subsets(down, n) {
			if *spent > t.options.Solves {
				break
			}
			res := t.find(t.keyOf(q, running|down&^out))
			*spent += res.cost
			if res.grade == Carries && (left == 0 || res.leaves(&best)) {
				best, left = res, out
			}
		}
	}
	if left != 0 {
		return best, left
	}
	alone := t.find(t.keyOf(q, running))
	*spent += alone.cost
	if alone.grade == Carries || t.better(q, running, alone, all) {
		return alone, down
	}
	return all, 0
}

// better reports whether the running machines' own ports and ducts fare better with their own choice than
// with the one for all.
func (t *Tree) better(q Question, running gates.Set, alone, all result) bool {
	k := t.keyOf(q, running)
	t.begin(k, false)
	i := t.judge(all.open &^ t.room.demand.base)
	if i < 0 {
		return false
	}
	v := &t.room.rows[i]
	with := choice{short: v.short, grade: v.grade, margin: v.margin}
	own := choice{short: alone.short, grade: alone.grade, margin: alone.margin}
	return own.compare(&with) < 0
}

// mend is the running machine whose stop would let the rest carry, or give it more full ports where it carries
// already; of several, the one that leaves the most ports with full air, then the largest margin, then the lowest
// number. A machine that cannot have air is the first to stop.
func (t *Tree) mend(q Question, running, down gates.Set, all *result, spent *int) uint8 {
	found := uint8(NoMachine)
	var best result
	for m := range running.All() {
		rest := (running | down).Without(m)
		if rest == 0 || *spent > t.options.Solves {
			continue
		}
		res := t.find(t.keyOf(q, rest))
		*spent += res.cost
		if all.grade == Carries && res.short >= all.short && !all.unserved.Has(m) {
			continue
		}
		if res.grade == Carries && (found == NoMachine || res.leaves(&best)) {
			found, best = uint8(m), res
		}
	}
	return found
}

// leaves reports whether the rest fares better than with b.
func (r *result) leaves(b *result) bool {
	return r.short < b.short || r.short == b.short && r.margin > b.margin
}

// subsets yields the subsets of s with n members, low numbers first.
func subsets(s gates.Set, n int) func(func(gates.Set) bool) {
	return func(yield func(gates.Set) bool) {
		var walk func(from, some gates.Set, n int) bool
		walk = func(from, some gates.Set, n int) bool {
			if n == 0 {
				return yield(some)
			}
			for from.Len() >= n {
				low := bits.TrailingZeros64(uint64(from))
				from = from.Without(low)
				if !walk(from, some.With(low), n-1) {
					return false
				}
			}
			return true
		}
		walk(s, 0, n)
	}
}
