package gates

// Rank orders what wants to move. Lower ranks move first; every opening goes before every closing.
type Rank uint8

// The ranks.
const (
	RankPath    Rank = iota // a turning fan has no path
	RankRunning             // a running machine's gate
	RankDown                // one of a machine that runs down
	RankHeld                // held open by a person
	RankRelief              // opened for its air
	RankFlush               // a branch to be flushed, or one of the gates of a shop that keeps all open
	RankClose               // nobody's demand
	ranks
)

// Wishes are the gates that want to begin a move, by rank.
type Wishes [ranks]Set

// Opens is every gate that wants to open.
func (w *Wishes) Opens() Set {
	var s Set
	for r := RankPath; r < RankClose; r++ {
		s |= w[r]
	}
	return s
}

// Grant chooses the gates that begin to move now, when opening and closing move already and at most k may move
// at once. yield are closing gates that must stop for an opening that cannot wait: a path for a turning fan, a
// running machine's gate. An opening that waits finds every place taken, so no closing begins before it.
func (w *Wishes) Grant(opening, closing Set, k int) (begin, yield Set) {
	busy := opening | closing
	closing &^= w.Opens() // a gate that turns round keeps its place
	for r := RankPath; r < RankClose; r++ {
		for g := range w[r].All() {
			switch {
			case begin.Has(g):
			case busy.Has(g) || busy.Len() < k:
				begin, busy = begin.With(g), busy.With(g)
			case r <= RankRunning && !closing.Empty():
				y := closing & -closing
				yield, closing, busy = yield|y, closing&^y, busy&^y
				begin, busy = begin.With(g), busy.With(g)
			}
		}
	}
	for g := range w[RankClose].All() {
		if busy.Len() >= k {
			break
		}
		begin, busy = begin.With(g), busy.With(g)
	}
	return begin, yield
}
