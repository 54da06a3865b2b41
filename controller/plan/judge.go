package plan

import (
	"slices"

	"ductwarden/gates"
)

// room is what one search after the other works in. Everything in it grows to its greatest use and stays.
type room struct {
	demand demand
	out    *Pattern

	solved, steps int  // patterns solved and families looked at for this demand
	limit         int  // most patterns that may be solved
	cut           bool // one of them reached its limit

	rows  []row // judged patterns of this demand
	over  []Ratio
	sinks []bool
	drawn []drawn
	index index // extra gates -> row

	best choice

	asked, wide limits          // at the margins asked, and at the best margin so far
	most        [][places]int64 // by place in demand.carry: the most air that a free gate brings while that duct carries, mm3/s

	widest   [places]Ratio // by gate: what marginAtMost said of the family that splits
	order    []uint8       // free gates, the most promising first
	families []family      // still to be looked at
	later    []family      // not before one more gate may open
	children []family
}

// row is the verdict on one pattern, with the hand gates as the demand was laid out.
type row struct {
	extra   gates.Set // open beyond the demand's base
	short   int       // demanded ports with less than full air
	grade   Transport
	margin  Ratio // least over the carrying ducts
	weakest int   // place in demand.carry of the margin
}

// begin clears the room for a demand; see lay for worst.
func (t *Tree) begin(k key, worst bool) {
	r := &t.room
	if r.out == nil {
		r.out = NewPattern(len(t.ducts), len(t.ports))
	}
	t.lay(&r.demand, k, worst)
	r.solved, r.steps, r.limit, r.cut = 0, 0, t.options.Solves, false
	r.rows, r.over, r.sinks, r.drawn = r.rows[:0], r.over[:0], r.sinks[:0], r.drawn[:0]
	r.index.empty()
	r.best = choice{row: -1}
	r.asked.known, r.wide.known = false, false
}

func stateOf(loaded bool) int {
	if loaded {
		return 1
	}
	return 0
}

// judge solves the pattern with these extra gates open and returns its row, or -1 when the count of solves is
// used up. A pattern that was judged before is not solved again.
func (t *Tree) judge(extra gates.Set) int32 {
	r, d := &t.room, &t.room.demand
	if i := r.index.row(extra, r.rows); i >= 0 {
		return i
	}
	if r.solved > 0 && r.solved+len(d.classes) > r.limit {
		r.cut = true
		return -1
	}
	at := len(r.over)
	r.over, r.sinks, r.drawn = more(r.over, len(d.carry)), more(r.sinks, len(d.carry)), more(r.drawn, len(d.carry))
	v := row{extra: extra, margin: NoRatio}
	for c, hand := range d.classes {
		t.solve(d.base | extra | hand.open)
		for i, e := range d.carry {
			if d.classOf[i] != c {
				continue
			}
			r.over[at+i], r.sinks[at+i] = r.out.Over[e], r.out.Clear[e] < 0
			r.drawn[at+i] = drawn{flow: r.out.Flow[e], suction: r.out.Suction[e]}
			if r.asked.known && extra.Len() == 1 {
				t.noteMost(i, e, extra)
			}
		}
		if c == d.portClass {
			v.short = t.short(d.ports, r.out)
		}
	}
	for i, e := range d.carry {
		switch over := r.over[at+i]; {
		case r.sinks[at+i]:
			v.grade = Settles
		case over < t.ducts[e].asked:
			v.grade = max(v.grade, Creeps)
		}
		if over := r.over[at+i]; i == 0 || over < v.margin || over == v.margin && e < d.carry[v.weakest] {
			v.margin, v.weakest = r.over[at+i], i
		}
	}
	r.rows = append(r.rows, v)
	i := int32(len(r.rows) - 1)
	r.index.keep(i, r.rows)
	return i
}

// more lengthens a slice by n.
func more[T any](s []T, n int) []T { return slices.Grow(s, n)[:len(s)+n] }

// solve asks the model and counts.
func (t *Tree) solve(open gates.Set) {
	t.room.solved++
	t.air.Pattern(open, t.room.demand.key.loaded, t.room.out)
}

// short counts the ports with less than full air.
func (t *Tree) short(ports []int, p *Pattern) int {
	n := 0
	for _, i := range ports {
		if s := p.Share[i]; s != NoRatio && s < t.options.Full {
			n++
		}
	}
	return n
}

// noteMost notes what a gate brings through a carrying duct when it is the only extra one: by monotonicity it
// never brings more beside others.
func (t *Tree) noteMost(i, e int, extra gates.Set) {
	r := &t.room
	for g := range (extra & t.ducts[e].above &^ t.nested).All() {
		d := drawn{flow: r.out.Flow[t.net.Gates[t.gateOf[g]].Duct], suction: r.out.Suction[e]}
		r.most[i][g] = min(r.most[i][g], d.at(r.asked.left[i]))
	}
}

// at is where a row's carrying ducts begin in over, sinks and drawn.
func (r *room) at(i int32) int { return int(i) * len(r.demand.carry) }

// starved reports whether a carrying duct of a row is too slow to carry.
func (t *Tree) starved(at, i int) bool {
	r := &t.room
	return r.sinks[at+i] || r.over[at+i] < t.ducts[r.demand.carry[i]].asked
}
