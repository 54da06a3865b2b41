package takeoff

import (
	"cmp"
	"slices"
)

// Piece is one length to be cut, in millimetres, and what it is for.
type Piece struct {
	Length int    `json:"length_mm"`
	For    string `json:"for"`
}

// Bar is one stock length with the pieces that are cut from it.
type Bar struct {
	Pieces []Piece `json:"pieces"`
	Offcut int     `json:"offcut_mm"` // left after the last cut, millimetres
}

// mostNodes bounds the search by counted steps, never by time.
const mostNodes = 2_000_000

// Pack cuts pieces from as few bars of stock millimetres as it can, each cut losing kerf millimetres. proved
// says that fewer bars are impossible: always for up to 40 pieces of ordinary runs, and whenever the search
// came to its end. A piece longer than the stock is cut into whole bars and a rest, which want a coupling;
// couplings counts them. Pieces of no length are left out.
func Pack(pieces []Piece, stock, kerf int) (bars []Bar, couplings int, proved bool) {
	if stock <= 0 || kerf < 0 {
		return nil, 0, false
	}
	var items []Piece
	for _, p := range pieces {
		for p.Length > stock {
			bars = append(bars, Bar{Pieces: []Piece{{stock, p.For}}})
			p.Length -= stock
			couplings++
		}
		if p.Length > 0 {
			items = append(items, p)
		}
	}
	// A piece with its own cut behind it fits a bar that is one kerf longer: n pieces need n-1 cuts.
	slices.SortStableFunc(items, func(a, b Piece) int { return cmp.Compare(b.Length, a.Length) })
	s := search{room: stock + kerf}
	for _, p := range items {
		s.size = append(s.size, p.Length+kerf)
	}
	place, proved := s.solve()
	first := len(bars)
	for i, b := range place {
		for len(bars) <= first+b {
			bars = append(bars, Bar{Offcut: stock})
		}
		bar := &bars[first+b]
		bar.Pieces = append(bar.Pieces, items[i])
		bar.Offcut = max(0, bar.Offcut-items[i].Length-kerf)
	}
	return bars, couplings, proved
}

// search fills one bar after the other (bin completion): the longest piece left opens a bar, and each set of
// others that fills it as no better set does is tried.
type search struct {
	room  int   // of an empty bar
	size  []int // falling
	best  []int // bar of each piece in the best packing so far
	bars  int   // of the best packing
	floor int   // no packing has fewer
	place []int // bar of each piece, -1 = not placed
	nodes int
}

func (s *search) solve() (place []int, proved bool) {
	n := len(s.size)
	if n == 0 {
		return nil, true
	}
	s.place = slices.Repeat([]int{-1}, n)
	s.floor = s.lower()
	s.bestFit()
	if s.bars == s.floor {
		return s.best, true
	}
	done := s.next(0)
	return s.best, done || s.bars == s.floor
}

// lower is the bound of Martello and Toth (L2, from memory) on the bars that the unplaced pieces need: those
// over half a bar take one each, and small ones that fit beside none of them take more.
func (s *search) lower() int {
	left := make([]int, 0, 64)
	for i, v := range s.size {
		if s.place[i] < 0 {
			left = append(left, v)
		}
	}
	low := 0
	for at := -1; at < len(left); at++ {
		k := 0
		if at >= 0 {
			k = left[at]
		}
		if 2*k > s.room {
			continue
		}
		alone, beside, room, small := 0, 0, 0, 0
		for _, v := range left {
			switch {
			case v > s.room-k:
				alone++
			case 2*v > s.room:
				beside++
				room += s.room - v
			case v >= k:
				small += v
			}
		}
		need := alone + beside
		if over := small - room; over > 0 {
			need += (over + s.room - 1) / s.room
		}
		low = max(low, need)
	}
	return low
}

// bestFit puts each piece where it leaves least.
func (s *search) bestFit() {
	var free []int
	s.best = make([]int, len(s.size))
	for i, v := range s.size {
		at := -1
		for b, f := range free {
			if f >= v && (at < 0 || f < free[at]) {
				at = b
			}
		}
		if at < 0 {
			at = len(free)
			free = append(free, s.room)
		}
		free[at] -= v
		s.best[i] = at
	}
	s.bars = len(free)
}

// next fills bar number bar and all after it; false when the count of steps ran out.
func (s *search) next(bar int) bool {
	if s.nodes++; s.nodes > mostNodes {
		return false
	}
	first := slices.Index(s.place, -1)
	if first < 0 {
		s.bars = bar // only fewer bars come this far
		copy(s.best, s.place)
		return true
	}
	if bar+s.lower() >= s.bars {
		return true
	}
	s.place[first] = bar
	var sets [][]int
	s.fillings(first+1, s.room-s.size[first], nil, bar, &sets)
	slices.SortStableFunc(sets, func(a, b []int) int { return cmp.Compare(s.sum(b), s.sum(a)) })
	ok := true
	for _, set := range sets {
		for _, i := range set {
			s.place[i] = bar
		}
		ok = s.next(bar + 1)
		for _, i := range set {
			s.place[i] = -1
		}
		if !ok || s.bars == s.floor || bar+1 >= s.bars {
			break
		}
	}
	s.place[first] = -1
	return ok
}

func (s *search) sum(set []int) (total int) {
	for _, i := range set {
		total += s.size[i]
	}
	return total
}

// fillings lists the sets of unplaced pieces from place on that fit into room and that no other set betters:
// nothing more fits, and no piece could be swapped for a longer one that is left over (the shorter one is
// easier to place later).
func (s *search) fillings(from, room int, chosen []int, bar int, out *[][]int) {
	last := -1
	for i := from; i < len(s.size); i++ {
		if s.place[i] >= 0 || s.size[i] > room || s.size[i] == last {
			continue // equal pieces: the first stands for all
		}
		s.fillings(i+1, room-s.size[i], append(chosen, i), bar, out)
		last = s.size[i]
	}
	used := map[int]bool{}
	for _, i := range chosen {
		used[i] = true
	}
	for i := range s.size {
		if s.place[i] >= 0 || used[i] {
			continue
		}
		if s.size[i] <= room {
			return
		}
		for _, c := range chosen {
			if s.size[i] > s.size[c] && s.size[i]-s.size[c] <= room {
				return
			}
		}
	}
	*out = append(*out, slices.Clone(chosen))
}
