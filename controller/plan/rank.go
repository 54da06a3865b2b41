package plan

import (
	"cmp"
	"math/bits"

	"ductwarden/gates"
)

// choice is a pattern as the order of choice sees it.
//
// The order, first difference decides:
//
//  1. Share of air. A demanded port is full when its flow is at least Options.Full (95 %) of what it wants,
//     else it is partial; a port that states no wish is full. Fewer partial ports come first. How full or how
//     partial a port is does not count: 130 % is no better than 96 %, and a port at 80 % anyway is not a
//     reason to let chips settle. The 5 % are the tolerance: wanted air is given in round figures.
//  2. Transport: carries before creeps before settles. A duct carries when its speed is over the transport
//     speed by the margin asked, compared in whole 1/10000.
//  3. Fewest gates beyond the demanded.
//  4. More of them preferred.
//  5. Fewest moves from the gates now open. Among equally many extra gates that is: more of them open now.
//  6. Largest margin.
//  7. Lowest gate numbers: the first number that only one of two patterns has decides for that one.
//
// Where no pattern with the most full ports carries, the largest margin comes right after 2: nothing is
// saved by leaving a gate shut when the chips stay behind.
//
// Opening a gate never gives a demanded port more air, so no pattern has more full ports than the demanded
// gates alone; the search keeps to the patterns that have as many.
type choice struct {
	row    int32 // -1: none yet
	extra  gates.Set
	short  int
	grade  Transport
	margin Ratio
	size   int // extra gates
	prefer int // of them, preferred
	kept   int // of them, open now
}

// choiceOf reads a row.
func (t *Tree) choiceOf(i int32) choice {
	r := &t.room
	v := &r.rows[i]
	return choice{
		row: i, extra: v.extra, short: v.short, grade: v.grade, margin: v.margin,
		size: v.extra.Len(), prefer: (v.extra & t.prefer).Len(), kept: (v.extra & r.demand.kept).Len(),
	}
}

// compare is negative when a comes before b in the order of choice.
func (a *choice) compare(b *choice) int {
	if c := cmp.Or(cmp.Compare(a.short, b.short), cmp.Compare(a.grade, b.grade)); c != 0 {
		return c
	}
	wider := cmp.Compare(b.margin, a.margin)
	if a.grade != Carries && wider != 0 {
		return wider
	}
	return cmp.Or(
		cmp.Compare(a.size, b.size),
		cmp.Compare(b.prefer, a.prefer),
		cmp.Compare(b.kept, a.kept),
		wider,
		lower(a.extra, b.extra),
	)
}

// lower compares sets by gate numbers.
func lower(a, b gates.Set) int {
	differ := uint64(a ^ b)
	if differ == 0 {
		return 0
	}
	if a.Has(bits.TrailingZeros64(differ)) {
		return -1
	}
	return 1
}

// offer keeps the better of the best so far and a row.
func (t *Tree) offer(i int32) {
	if c := t.choiceOf(i); t.room.best.row < 0 || c.compare(&t.room.best) < 0 {
		t.room.best = c
	}
}
