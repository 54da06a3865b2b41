package plan

import "ductwarden/gates"

// when says whether a family may hold a pattern that carries.
type when uint8

const (
	now    when = iota // perhaps, with the gates that may open
	notYet             // only with more gates than may open now
	never
)

// none stands for "no gate" where a gate is named.
const none = 255

// within reports whether the starved ducts of a solved family can come up to speed when gate (or none) and up
// to rest more gates open. It only looks at air: each gate brings at most what it brings alone.
func (t *Tree) within(f family, gate uint8, rest int) when {
	r := &t.room
	if rest < 0 {
		return notYet
	}
	answer := now
	at := r.at(f.row)
	for i := range r.demand.carry {
		if !t.starved(at, i) {
			continue
		}
		missing := r.asked.need[i] - r.drawn[at+i].at(r.asked.left[i])
		most := &r.most[i]
		above := t.choices(f, i)
		if gate != none && above.Has(int(gate)) {
			missing -= most[gate]
			above = above.Without(int(gate))
		}
		if missing <= 0 {
			continue
		}
		some, all := topSums(above, most, rest)
		if all < missing {
			return never
		}
		if some < missing {
			answer = notYet
		}
	}
	return answer
}

// flowAt is the flow at which a duct reaches a margin, a little less to leave room for rounding.
func (d *duct) flowAt(margin Ratio) int64 {
	need := d.part * (10000 + int64(margin))
	return need - need/1000 - 1000
}

// topSums adds up the largest n of the gates' most air, and all of it.
func topSums(of gates.Set, most *[places]int64, n int) (top, all int64) {
	var largest [places]int64
	k := 0
	for g := range of.All() {
		v := most[g]
		all += v
		if n == 0 {
			continue
		}
		if k == n {
			if v <= largest[k-1] {
				continue
			}
			k--
		}
		i := k
		for i > 0 && largest[i-1] < v {
			largest[i] = largest[i-1]
			i--
		}
		largest[i] = v
		k++
	}
	for _, v := range largest[:k] {
		top += v
	}
	return top, all
}

// beaten reports whether no pattern that a family gets by opening gate, with n extra gates in all, comes
// before the best so far. It says something only when a pattern that carries with n gates is known. margin is what
// marginAtMost says of it, NoRatio where it has not been asked.
func (t *Tree) beaten(f family, gate, n int, margin Ratio) bool {
	r := &t.room
	best := &r.best
	if best.grade != Carries || best.size != n {
		return false
	}
	d := &r.demand
	extra := f.extra.With(gate)
	rest := n - extra.Len()
	left := d.free &^ f.banned &^ extra
	prefer := (extra & t.prefer).Len() + min(rest, (left&t.prefer).Len())
	if prefer != best.prefer {
		return prefer < best.prefer
	}
	kept := (extra & d.kept).Len() + min(rest, (left&d.kept).Len())
	if kept != best.kept {
		return kept < best.kept
	}
	if rest > 0 {
		return false
	}
	if margin == NoRatio {
		margin = t.marginAtMost(f, gate)
	}
	if margin != best.margin {
		return margin < best.margin || t.outOfReach(f, gate)
	}
	return lower(extra, best.extra) > 0
}

// outOfReach reports whether a solved family's pattern with one gate more has less margin than the best so far. A pattern
// with that margin leaves no more suction than limits says at the upstream end of each carrying duct, and with that
// much the gates above it must draw what it needs.
func (t *Tree) outOfReach(f family, gate int) bool {
	r := &t.room
	d := &r.demand
	t.limit(&r.wide, r.best.margin)
	at := r.at(f.row)
	alone := t.alone[stateOf(d.key.loaded)]
	for i, e := range d.carry {
		left := r.wide.left[i]
		if !t.ducts[e].above.Has(gate) {
			if j := d.down[i]; j >= 0 && d.classOf[j] == d.classOf[i] && !r.wide.none {
				// Its own gates alone, at what is left where it joins the next.
				if (drawn{r.drawn[at+i].flow, r.drawn[at+j].suction}).at(r.wide.left[j]) < r.wide.need[i] {
					return true
				}
			}
			continue
		}
		if r.drawn[at+i].at(left)+alone[e][gate].at(left) < r.wide.need[i] {
			return true
		}
	}
	return false
}

// marginAtMost bounds the margin of a solved family's pattern with one gate more, if that pattern carries:
// ducts that the gate's air does not pass get no faster, and the others gain at most what the gate brings.
func (t *Tree) marginAtMost(f family, gate int) Ratio {
	r := &t.room
	at := r.at(f.row)
	margin := Ratio(1<<31 - 1)
	for i, e := range r.demand.carry {
		d := &t.ducts[e]
		over := r.over[at+i] + 1 // the model's last digit
		if d.above.Has(gate) {
			most := r.drawn[at+i].at(r.asked.left[i]) + r.most[i][gate]
			if most >= unbounded || d.part == 0 {
				continue
			}
			over = Ratio(min(most/d.part-10000+5, 1<<31-1))
		}
		margin = min(margin, over)
	}
	return margin
}

// limits is what must hold in every pattern in which all carrying ducts reach a margin. By place in demand.carry.
type limits struct {
	known  bool
	margin Ratio
	need   []int64 // mm3/s: the least flow, that of the carrying ducts above included
	left   []int64 // 1/1000 Pa: the most suction at the duct's upstream end
	none   bool    // there is no such pattern
}

// limit works limits out for a margin over all transport speeds, or for the margins asked (NoRatio).
func (t *Tree) limit(l *limits, margin Ratio) {
	if l.known && l.margin == margin {
		return
	}
	d := &t.room.demand
	n := len(d.carry)
	l.known, l.margin, l.none = true, margin, false
	l.need, l.left = more(l.need[:0], n), more(l.left[:0], n)
	clear(l.need)
	for i, e := range d.carry {
		at := margin
		if at == NoRatio {
			at = t.ducts[e].asked
		}
		l.need[i] = max(l.need[i], t.ducts[e].flowAt(at))
		if d.down[i] >= 0 {
			l.need[d.down[i]] += l.need[i]
		}
	}
	for i := n - 1; i >= 0; i-- {
		e := d.carry[i]
		var below int64
		if d.down[i] >= 0 {
			below = l.left[d.down[i]]
		} else {
			below = t.air.Inlet(l.need[i], d.key.loaded)
		}
		run, hooded := t.air.Loss(e, l.need[i])
		l.left[i] = below - run
		l.none = l.none || below < hooded
	}
}

// bounds fills in what the free gates bring at most while each carrying duct is at its speed.
func (t *Tree) bounds() {
	r := &t.room
	t.limit(&r.asked, NoRatio)
	r.most = more(r.most[:0], len(r.demand.carry))
	for i, e := range r.demand.carry {
		alone := &t.alone[stateOf(r.demand.key.loaded)][e]
		for g := range (r.demand.free & t.ducts[e].above).All() {
			r.most[i][g] = alone[g].at(r.asked.left[i])
		}
	}
	t.rankGates()
}

// squeezed reports whether bringing a slow duct up to a margin takes so much suction that a duct above it, which
// no gate left to the family can help, falls below what it must have.
func (t *Tree) squeezed(f family, slow int, l *limits) bool {
	r := &t.room
	d := &r.demand
	at := r.at(f.row)
	suction := r.drawn[at+slow].suction
	if l.left[slow] >= suction {
		return false
	}
	for i := range d.carry[:slow] {
		if d.classOf[i] != d.classOf[slow] || !d.above(i, slow) || t.choices(f, i) != 0 {
			continue
		}
		if (drawn{r.drawn[at+i].flow, suction}).at(l.left[slow]) < l.need[i] {
			return true
		}
	}
	return false
}

// above reports whether carrying duct i flows into carrying duct j, at once or through others.
func (d *demand) above(i, j int) bool {
	for i = d.down[i]; i >= 0 && i != j; i = d.down[i] {
	}
	return i == j && i >= 0
}
