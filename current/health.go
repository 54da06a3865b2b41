package current

import "time"

const (
	// railTime is how long a channel may touch a rail before it counts as clipped: longer than the inrush of a
	// heavy band saw or a collector, 2 to 10 s (from memory), which is never a fault.
	railTime = 15 * time.Second
	railGap  = 200 * time.Millisecond // touches further apart are single spikes
	// unsteadyTime is how long a bias may take to be found; beyond it the input floats.
	unsteadyTime = 2 * time.Second
	biasBad      = 3 // windows on end with an implausible bias
)

// Blind reports whether a channel in this state says nothing about its machine. Clipped and Noisy channels are
// told of, but a current that touches the rails is still a current.
func (h Health) Blind() bool {
	switch h {
	case HealthUntried, Flat, OutOfRange, Late, Lost:
		return true
	}
	return false
}

// String names the state of the channel for messages.
func (h Health) String() string {
	switch h {
	case HealthUntried:
		return "not read yet"
	case Good:
		return "good"
	case Flat:
		return "flat"
	case OutOfRange:
		return "out of range"
	case Clipped:
		return "clipped"
	case Noisy:
		return "noisy"
	case Late:
		return "late"
	case Lost:
		return "lost"
	}
	return "unknown"
}

// Advice is the likely cause of a state of a channel and the next step, for a message; "" where there is none.
func (h Health) Advice() string {
	switch h {
	case Flat:
		return "the same value comes over and over: the clamp's plug is out, its lead is broken, or the converter is frozen; look at plug and lead, then switch the board's supply off and on"
	case OutOfRange:
		return "its voltage without current is not in the middle: the plug is half in, the lead is shorted, or the bias divider is not wired; look at plug, lead and divider"
	case Clipped:
		return "it lies at the end of what the input can show: the clamp gives too many volts for an ampere, or the range is too fine; take another clamp, or a wider `range` in the shop file"
	case Noisy:
		return "its level at rest is above half of what counts as running: the lead lies beside a drive's cable, or `running` is too low; move the lead, or learn the machine again"
	case Late:
		return "its samples are too old: too much else is on this bus, or the bus hangs; look at the bus's other chips"
	case Lost:
		return "nothing comes from it: no supply, a loose wire, a silent sender, or the wrong address; look at supply, wires and address"
	}
	return ""
}

// watch keeps what the health of a channel is judged by.
type watch struct {
	lost, late  bool
	code        Sample
	same        time.Duration // since when the code has been the same
	has         bool
	flat        bool
	railFrom    time.Duration
	railLast    time.Duration
	onRail      bool
	clipped     bool
	biasBadRuns int
	unsteady    struct { // the bias has not been found since
		has  bool
		from time.Duration
	}
	missing int
	rails   uint32
}

func (w *watch) sample(at time.Duration, code Sample, s *Settings) {
	w.lost, w.late = false, false
	if !w.has || code != w.code {
		w.code, w.same, w.has = code, at, true
	}
	w.flat = s.Flat > 0 && at-w.same >= s.Flat
	if s.Low == s.High {
		return
	}
	if w.onRail && at-w.railLast > railGap {
		w.onRail, w.clipped = false, false
	}
	if code <= s.Low || code >= s.High {
		w.rails++
		if !w.onRail {
			w.onRail, w.railFrom = true, at
		}
		w.railLast = at
		w.clipped = at-w.railFrom >= railTime
	}
}

// bias judges the code of no current, in 1/256 of a code.
func (w *watch) bias(b int64, s *Settings) {
	if s.BiasLow == s.BiasHigh || b >= int64(s.BiasLow)*biasPart && b <= int64(s.BiasHigh)*biasPart {
		w.biasBadRuns = 0
		return
	}
	w.biasBadRuns = min(w.biasBadRuns+1, biasBad)
}

func (w *watch) tick(now time.Duration, d *Detector) {
	w.late = d.seen && now-d.last > d.set.Late
}

func (w *watch) health(d *Detector) Health {
	switch {
	case w.lost:
		return Lost
	case !w.has:
		return HealthUntried
	case w.late:
		return Late
	case w.biasBadRuns >= biasBad || w.unsteady.has && d.last-w.unsteady.from > unsteadyTime:
		return OutOfRange
	case w.flat:
		return Flat
	case w.clipped:
		return Clipped
	case d.l.levelSeen && 4*d.l.level > d.ev.running2:
		return Noisy
	}
	return Good
}

func (w *watch) blind(d *Detector) bool { return w.health(d).Blind() }
