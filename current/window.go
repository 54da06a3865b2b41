package current

import "time"

const (
	// learnTime is a whole number of cycles at 50 and at 60 Hz: over it a running motor's mean is zero.
	learnTime = 100 * time.Millisecond
	// burstTime is a whole number of half-cycles at 50 and at 60 Hz: over it the mean square is true.
	burstTime = 50 * time.Millisecond
	// visitsTime is how much of a shared channel, in visits of about half a cycle at scattered phases, makes a
	// reading true to a few percent.
	visitsTime = 200 * time.Millisecond

	visitEnough = 6 // samples that tell a moved bias from current

	biasPart = 256 // the bias is kept in 1/256 of a code
)

// window sums samples for one reading. Values are mA with the tracked bias removed.
type window struct {
	sum, squares, n int64
	codes           int64 // sum of the raw codes
	time            time.Duration
	broken          bool // put together from several visits
}

func (w *window) add(mA int64, code Sample, dt time.Duration) {
	w.sum += mA
	w.squares += mA * mA
	w.n++
	w.codes += int64(code)
	w.time += dt
}

// full reports whether there is enough for a reading: whole cycles on end, or many visits.
func (w *window) full(shared bool) bool {
	if shared && w.broken {
		return w.time >= visitsTime
	}
	return w.time >= learnTime
}

// still reports whether there is no current in the samples, only a bias away from the tracked one: a supply has
// moved. n samples at least; half an idle level of current would show.
func (w *window) still(n, idle2 int64) bool {
	return w.n >= n && w.squares/w.n >= idle2 && variance(w.sum, w.squares, w.n) < idle2/2
}

// reading is what a full window says.
type reading struct {
	mean     int64 // mA, less the tracked bias
	variance int64 // mA², the mean removed
	bias     int64 // mean code in 1/256 of a code
	whole    bool  // from samples on end, over whole cycles
}

func (w *window) read() reading {
	return reading{
		mean:     nearest(w.sum, w.n),
		variance: variance(w.sum, w.squares, w.n),
		bias:     nearest(w.codes*biasPart, w.n),
		whole:    !w.broken && w.time >= learnTime-longestGap,
	}
}

// firstBias finds the code of no current from two windows of a burst each: over both together the mean of any
// mains current is zero, and if the two differ by more than part of a cycle explains, the bias has moved meanwhile.
type firstBias struct {
	half [2]window
	at   int
}

// add takes a sample and reports the bias in 1/256 of a code once it is sure. step is the running level in codes.
func (f *firstBias) add(code Sample, dt time.Duration, step int64) (bias int64, ok bool) {
	h := &f.half[f.at]
	h.add(int64(code), code, dt)
	if h.time < burstTime {
		return 0, false
	}
	if f.at == 0 {
		f.at = 1
		return 0, false
	}
	a, b := &f.half[0], &f.half[1]
	apart := nearest(a.sum, a.n) - nearest(b.sum, b.n)
	swing := root(max(variance(a.sum, a.squares, a.n), variance(b.sum, b.squares, b.n)))
	if max(apart, -apart) > max(step, swing)/2 {
		f.half[0], f.half[1] = *b, window{}
		return 0, false
	}
	bias = nearest((a.codes+b.codes)*biasPart, a.n+b.n)
	*f = firstBias{}
	return bias, true
}

// learnt is what a channel has learnt of itself.
type learnt struct {
	bias      int64 // 1/256 code
	known     bool
	level     int64 // mA², smoothed mean square while idle
	levelSeen bool
}

// followBias moves the bias towards a reading: quickly while idle, slowly otherwise. A reading that may hold part
// of a cycle counts only where there is hardly any current.
func (l *learnt) followBias(r reading, b Belief, idle2 int64) {
	switch {
	case b == Idle && (r.whole || r.variance < idle2):
		l.bias += nearest(r.bias-l.bias, 8)
	case r.whole:
		l.bias += nearest(r.bias-l.bias, 32)
	}
}

// followLevel learns the idle level: down quickly, up slowly, so that a neighbour's inrush is not learnt. The
// caller asks only while the machine is surely idle.
func (l *learnt) followLevel(v int64) {
	switch {
	case !l.levelSeen:
		l.level, l.levelSeen = v, true
	case v < l.level:
		l.level += nearest(v-l.level, 16)
	default:
		l.level += nearest(v-l.level, 128)
	}
}

// floor is the energy taken off before anything counts: the learnt idle level, but never more than the square of
// half the idle threshold, so that a level learnt wrongly cannot hide a motor.
func (l *learnt) floor(idle int32) int64 {
	half := int64(idle) / 2
	return min(l.level, half*half)
}
