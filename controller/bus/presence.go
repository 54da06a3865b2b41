package bus

import "time"

// Numbers of losing and finding a chip: common practice, chosen so that a board that lost its supply is found
// again within a quarter of a second while one that holds the bus costs it a small part of its time.
const (
	lostAfter    = 3                      // failed transfers in a row; single ones are noise
	firstRest    = 50 * time.Millisecond  // after the loss
	longestQuiet = 250 * time.Millisecond // between tries of an address that only does not answer: a try costs 0.1 ms
	longestStuck = 2 * time.Second        // between tries where each costs the adapter's whole time-out
)

// Change is what a transfer's outcome changed.
type Change uint8

// The changes.
const (
	Unchanged Change = iota
	Lost             // the chip was there (or never tried) and is now taken as absent
	Found            // the chip answers again
)

// Presence follows whether one chip answers, and when an absent one is worth another try. The zero value is
// a chip never tried. Times are any monotonic time.
type Presence struct {
	failures int // in a row
	rest     time.Duration
	next     time.Duration
	lost     bool
}

// Lost reports whether the chip is taken as absent.
func (p *Presence) Lost() bool { return p.lost }

// Due reports whether a transfer is worth its time at now: always, unless the chip is absent and its rest is
// not over.
func (p *Presence) Due(now time.Duration) bool { return !p.lost || now >= p.next }

// Next is when an absent chip is due again; zero while it is present.
func (p *Presence) Next() time.Duration {
	if !p.lost {
		return 0
	}
	return p.next
}

// Note takes the outcome of one transfer at now and tells what it changed. The rest between tries doubles
// from 50 ms to 250 ms, to 2 s where the bus was stuck.
func (p *Presence) Note(now time.Duration, f Fault) Change {
	if f == NoFault {
		was := p.lost
		*p = Presence{}
		if was {
			return Found
		}
		return Unchanged
	}
	p.failures++
	if p.failures < lostAfter {
		return Unchanged
	}
	longest := longestQuiet
	if f == Stuck || f == Gone {
		longest = longestStuck
	}
	p.rest = min(max(2*p.rest, firstRest), longest)
	p.next = now + p.rest
	if p.lost {
		return Unchanged
	}
	p.lost = true
	return Lost
}
