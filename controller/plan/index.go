package plan

import "ductwarden/gates"

// index finds the row of a pattern. Unlike a map it is emptied at no cost, however many a search before it held.
type index struct {
	slots []slot // a power of two, at least half of them free
	round uint32 // slots of other rounds are free
	held  int
}

type slot struct {
	round uint32
	row   int32
}

func (x *index) empty() {
	x.held = 0
	if x.round++; x.round == 0 { // after four billion searches
		clear(x.slots)
		x.round = 1
	}
}

// find is the slot of a pattern, or the free one where it would be put.
func (x *index) find(extra gates.Set, rows []row) *slot {
	const spread = 0x9e3779b97f4a7c15 // 2^64 over the golden ratio: neighbours lie far apart
	last := len(x.slots) - 1
	for k := int(uint64(extra)*spread>>32) & last; ; k = (k + 1) & last {
		if s := &x.slots[k]; s.round != x.round || rows[s.row].extra == extra {
			return s
		}
	}
}

// row is the row of a pattern, -1 when it has none.
func (x *index) row(extra gates.Set, rows []row) int32 {
	if x.held == 0 {
		return -1
	}
	if s := x.find(extra, rows); s.round == x.round {
		return s.row
	}
	return -1
}

// keep puts a row in.
func (x *index) keep(i int32, rows []row) {
	if 2*x.held >= len(x.slots) {
		x.slots = make([]slot, max(256, 2*len(x.slots)))
		for k := range i {
			*x.find(rows[k].extra, rows) = slot{x.round, k}
		}
	}
	*x.find(rows[i].extra, rows) = slot{x.round, i}
	x.held++
}
