package plan

import "ductwarden/gates"

// longestClear bounds a clearing time: where the model finds that air stands, chips would take for ever.
const longestClear = 10 * gates.Minute

// result is what is remembered of one demand: its choice, and the figures of it.
type result struct {
	choice
	open, needed, unserved gates.Set
	worst                  Transport
	worstMargin, share     Ratio
	weakest, least         uint8 // duct, machine
	clear                  gates.Span
	bounded                bool
	cost                   int // solves that it took
}

// served reports whether nothing is left to wish: everything carries and every port is full.
func (r *result) served() bool { return r.grade == Carries && r.short == 0 && r.unserved == 0 }

// search finds the choice for a demand from nothing: with the hand gates at their worst if that can be served,
// else with them shut.
func (t *Tree) search(k key) result {
	t.begin(k, true)
	r := &t.room
	if len(r.demand.ports) == 0 {
		return t.airless(k)
	}
	t.seek()
	best, cut, cost := r.best, r.cut, r.solved
	if r.demand.hand != 0 {
		t.begin(k, false)
		if shut := t.judge(0); best.grade != Carries || shut < 0 || best.short > r.rows[shut].short {
			t.seek()
			best, cut = r.best, r.cut
		}
		cost += r.solved
	}
	res := result{choice: best, needed: t.needed(k.machines), unserved: t.unserved(k), bounded: cut, cost: cost}
	res.open = r.demand.base | best.extra
	t.figures(k, &res)
	return res
}

// seek searches the demand as it was laid out.
func (t *Tree) seek() {
	r := &t.room
	if t.options.EverythingOpen {
		if i := t.judge(r.demand.free); i >= 0 {
			t.offer(i)
		}
		return
	}
	if !t.fewest() && !r.cut {
		t.widest()
	}
}

// airless is the result when no demanded port can have air: nothing to search.
func (t *Tree) airless(k key) result {
	res := result{needed: t.needed(k.machines), unserved: t.unserved(k), share: NoRatio, weakest: NoDuct, least: NoMachine}
	res.open, res.grade, res.margin = k.stuck, Settles, -10000
	res.worst, res.worstMargin = res.grade, res.margin
	t.nothing(&res)
	return res
}

// nothing writes the share of machines that get no air at all.
func (t *Tree) nothing(res *result) {
	for m := range res.unserved.All() {
		for _, p := range t.machines[m].Ports {
			if t.net.Ports[p].Airflow > 0 && res.share != 0 {
				res.share, res.least = 0, uint8(m)
			}
		}
	}
}

// figures solves the chosen pattern once more for what only an answer needs.
func (t *Tree) figures(k key, res *result) {
	r := &t.room
	res.share, res.weakest, res.least = NoRatio, NoDuct, NoMachine
	if res.row < 0 {
		res.grade, res.worst, res.margin, res.worstMargin = NotJudged, NotJudged, NoRatio, NoRatio
		return
	}
	extra := res.extra
	hand := r.demand.hand != 0
	if hand {
		t.begin(k, true)
		v := r.rows[t.judge(extra)]
		res.worst, res.worstMargin = v.grade, v.margin
		t.begin(k, false)
	}
	v := r.rows[t.judge(extra)]
	res.short, res.grade, res.margin = v.short, v.grade, v.margin
	if !hand {
		res.worst, res.worstMargin = v.grade, v.margin
	}
	if w := r.demand.carry[v.weakest]; w < NoDuct {
		res.weakest = uint8(w)
	}
	t.solve(res.open)
	t.shares(res)
	t.nothing(res)
	for _, p := range r.demand.ports {
		res.clear = max(res.clear, t.clearing(t.ports[p].way, r.out.Speed))
	}
}

// shares finds the least share of air and whose it is.
func (t *Tree) shares(res *result) {
	r := &t.room
	for m := range (r.demand.key.machines &^ res.unserved).All() {
		for _, p := range t.machines[m].Ports {
			if s := r.out.Share[p]; s != NoRatio && (res.share == NoRatio || s < res.share) {
				res.share, res.least = s, uint8(m)
			}
		}
	}
}

// clearing is the time that a chip takes from a port to the collector at the ducts' air speeds (0.1 mm/s),
// times the factor, rounded up to whole milliseconds.
func (t *Tree) clearing(way []int, speed []int32) gates.Span {
	microseconds := int64(0)
	for _, e := range way {
		v := int64(speed[e])
		if v <= 0 {
			return longestClear
		}
		microseconds += (t.ducts[e].length*1e6 + v - 1) / v
	}
	const perMillisecond = 1000 * 10000 // microseconds, and the factor's 1/10000
	stretched := min(microseconds, int64(longestClear)*1000) * int64(t.options.Clearing)
	return gates.Span(min((stretched+perMillisecond-1)/perMillisecond, int64(longestClear)))
}
