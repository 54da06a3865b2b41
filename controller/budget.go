package controller

// hour is the exact sliding hour: the last starts of a collector's motor, oldest first. A window of sixty
// minutes begins with each start and does not hold the moment of its end.
type hour struct {
	at [MostStarts]Instant
	n  uint8
}

// forget drops the starts that are an hour old.
func (h *hour) forget(now Instant) {
	k := 0
	for k < int(h.n) && k < len(h.at) && now-h.at[k] >= Instant(Hour) {
		k++
	}
	if k > 0 {
		h.drop(k)
	}
}

func (h *hour) drop(k int) {
	n := min(int(h.n), len(h.at))
	copy(h.at[:], h.at[k:n])
	for i := n - k; i < n; i++ {
		h.at[i] = 0
	}
	h.n = uint8(n - k)
}

// add puts a start in its place; stored starts come in any order. The oldest leaves when there is no room.
func (h *hour) add(at Instant) {
	n := min(int(h.n), len(h.at))
	if n == len(h.at) {
		if at <= h.at[0] {
			return
		}
		h.drop(1)
		n--
	}
	i := n
	for i > 0 && h.at[i-1] > at {
		h.at[i] = h.at[i-1]
		i--
	}
	h.at[i] = at
	h.n = uint8(n + 1)
}

// within counts the starts of the hour that ends at t.
func (h *hour) within(t Instant) int {
	n := 0
	for i := 0; i < int(h.n) && i < len(h.at); i++ {
		if t-h.at[i] < Instant(Hour) {
			n++
		}
	}
	return n
}

// free is the first moment at which fewer than most starts lie within the hour: a long time ago when that is so
// already.
func (h *hour) free(most uint8) Instant {
	n := min(int(h.n), len(h.at))
	if most == 0 || n < int(most) {
		return -Instant(Hour)
	}
	return h.at[n-int(most)] + Instant(Hour)
}

// startAt is the earliest moment of collector c's next start: after its motor's rest, within the hour's budget,
// and apart from the start of another collector.
func (t *turn) startAt(c int) (at Instant, why Reason) {
	col, p := &t.s.collector[c], &t.shop.Collectors[c]
	at, why = t.s.now, NoReason
	rested := col.off + Instant(p.Rest)
	free := col.starts.free(p.StartsPerHour)
	if !col.made {
		// Whatever the file of starts says: a shop that cuts its mains every evening has air in the morning.
		free = min(free, rested)
	}
	if t.shop.StartWhileResting {
		rested = at // the hour alone decides, also when it frees a start within the rest
	}
	if rested > at {
		at, why = rested, BecauseRests
	}
	if free > at {
		at, why = free, BecauseStartsSpent
	}
	if apart := t.s.lastStart + Instant(t.shop.InrushSpacing); t.s.lastStart != 0 && int(t.s.lastOf) != c && apart > at {
		at, why = apart, BecauseOtherStarts
	}
	return at, why
}
