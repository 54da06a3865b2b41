package current

import (
	"fmt"
	"time"
)

// Detector turns the samples of one channel into a belief about its machine, on whole numbers only: the same
// samples at the same times give the same beliefs on every processor. It knows no clock; times are monotonic
// since the program started (or since a trace's start) and must not fall.
//
// Energy above what counts as neither is summed for and against a running motor (evidence.go); the sum that is
// enough decides. The bias is tracked and removed, the idle level learnt while surely idle (window.go), and the
// channel's health watched (health.go).
type Detector struct {
	set Settings

	belief   Belief
	since    time.Duration // when the belief last changed
	onset    time.Duration // when the evidence for the present decision began
	ending   bool          // current has ended, the hold runs
	ended    time.Duration // when it last did
	everRan  bool
	lastLoud time.Duration // when evidence of a motor was last there

	ev    evidence
	wide  window // for the next reading
	visit window // of the present visit to a shared converter's channel
	learn firstBias
	l     learnt

	proof struct { // the samples since evidence of a start began
		sum, squares, n int64
		from            time.Duration
	}

	open struct { // the cell being filled
		squares, n int64
		began      time.Duration // end of the cell before
	}
	last   time.Duration // time of the newest sample
	seen   bool          // a sample has come at all
	onEnd  bool          // the newest sample belongs to the present stretch
	rms    int32
	rmsHas bool

	watch watch
}

// NewDetector makes a detector. The error is that of Settings.Check.
func NewDetector(s Settings) (*Detector, error) {
	if err := s.Check(); err != nil {
		return nil, fmt.Errorf("detection: %w", err)
	}
	d := &Detector{set: s.withDefaults()}
	d.ev = newEvidence(s.Running, s.Idle)
	d.l.bias, d.l.known = int64(s.Bias)*biasPart, s.BiasKnown
	d.l.level, d.l.levelSeen = int64(s.Quiet)*int64(s.Quiet), s.Quiet > 0
	return d, nil
}

// Add takes one sample read at the given time.
func (d *Detector) Add(at time.Duration, code Sample) {
	if d.seen && at < d.last {
		return
	}
	dt := d.set.Period
	if d.onEnd {
		if dt = at - d.last; dt > longestGap {
			d.watch.missing++
			dt = d.set.Period
			d.open.began = at - dt
		}
	} else {
		d.open.began = at - dt
	}
	d.seen, d.onEnd, d.last = true, true, at
	d.watch.sample(at, code, &d.set)

	if !d.l.known {
		d.learnBias(code, dt)
		d.settle(at)
		return
	}
	mA := d.milliamperes(code)
	d.proof.sum += mA
	d.proof.squares += mA * mA
	d.proof.n++
	d.wide.add(mA, code, dt)
	if d.set.Shared {
		d.visit.add(mA, code, dt)
	}
	d.open.squares += mA * mA
	d.open.n++
	if at-d.open.began >= cellTime {
		d.closeCell(at)
	}
	if d.wide.full(d.set.Shared) {
		d.closeWindow(at)
	}
	d.settle(at)
}

// Leave says that the converter has turned to another channel: the next sample begins a new visit.
func (d *Detector) Leave() {
	if d.visit.still(visitEnough, d.ev.idle2) {
		d.l.known = false
		d.relearnt()
	}
	if d.visit.time >= burstTime-longestGap && d.rmsHas { // a burst is a truer reading than scattered visits
		d.rms = int32(root(d.visit.read().variance))
		d.wide = window{}
	}
	d.visit = window{}
	d.onEnd = false
	d.wide.broken = d.wide.n > 0
	d.learn = firstBias{}
	d.open.squares, d.open.n = 0, 0
	if d.set.Shared {
		d.ev.clear()
		d.proof.n = 0
	}
}

// Stay reports whether a shared converter should stay on this channel: its bias is not learnt yet, or evidence
// grows that may soon change the belief.
func (d *Detector) Stay() bool {
	return !d.l.known || d.ev.grows(d.deciding())
}

// Tick lets time pass without a sample: a hold ends, a channel becomes late.
func (d *Detector) Tick(now time.Duration) {
	d.watch.tick(now, d)
	d.settle(now)
}

// Fail says that the transport gave no sample: the channel is lost until one comes.
func (d *Detector) Fail(now time.Duration) {
	d.watch.lost = true
	d.settle(now)
}

// Belief is the present belief.
func (d *Detector) Belief() Belief { return d.belief }

// Since is when the belief last changed, and Onset when the evidence for it began.
func (d *Detector) Since() time.Duration { return d.since }

// Onset is when the evidence for the last start began: at most some tens of milliseconds before Since.
func (d *Detector) Onset() time.Duration { return d.onset }

// Health is the present state of the channel.
func (d *Detector) Health() Health { return d.watch.health(d) }

// RMS is the last true RMS in mA with the DC part removed, and whether there is one.
func (d *Detector) RMS() (milliamperes int32, ok bool) { return d.rms, d.rmsHas }

// Learnt is what the channel has learnt: the code of no current, and the true RMS of its idle level in mA; the
// flags say whether each is known.
func (d *Detector) Learnt() (bias Sample, biasOK bool, idle int32, idleOK bool) {
	return Sample(nearest(d.l.bias, biasPart)), d.l.known, int32(root(d.l.level)), d.l.levelSeen
}

// Missing counts the gaps in the samples so far.
func (d *Detector) Missing() int { return d.watch.missing }

// deciding is what was last decided, before any hold.
func (d *Detector) deciding() Belief {
	if d.ending {
		return Idle
	}
	return d.belief
}

func (d *Detector) milliamperes(code Sample) int64 {
	v := nearest((int64(code)*biasPart-d.l.bias)*d.set.Scale.Milliamperes, d.set.Scale.Codes*biasPart)
	return max(-MaxCurrent, min(MaxCurrent, v))
}

func (d *Detector) learnBias(code Sample, dt time.Duration) {
	if !d.watch.unsteady.has {
		d.watch.unsteady.has, d.watch.unsteady.from = true, d.last
	}
	step := int64(d.set.Running) * d.set.Scale.Codes / d.set.Scale.Milliamperes
	if bias, ok := d.learn.add(code, dt, step); ok {
		d.l.bias, d.l.known, d.watch.unsteady.has = bias, true, false
		d.watch.bias(d.l.bias, &d.set)
		d.relearnt()
	}
}

// relearnt starts afresh with a new bias.
func (d *Detector) relearnt() {
	d.learn, d.wide = firstBias{}, window{}
	d.ev.forget()
	d.proof.n = 0
	d.open.squares, d.open.n, d.open.began = 0, 0, d.last
}

func (d *Detector) closeCell(at time.Duration) {
	c := cell{energy: d.open.squares / d.open.n, time: int64((at - d.open.began) / time.Microsecond)}
	d.open.squares, d.open.n, d.open.began = 0, 0, at
	before := d.ev.up
	d.ev.add(at, c, d.l.floor(d.set.Idle))
	if d.ev.up == 0 && d.ev.bigTime == 0 {
		d.proof.sum, d.proof.squares, d.proof.n = 0, 0, 0
	} else if before == 0 && d.ev.up > 0 && d.ev.bigTime == 0 || d.proof.n <= 1 {
		d.proof.from = at
	}
	if d.ev.up > upGrowing*d.ev.running2 {
		d.lastLoud = at
	}
	switch d.ev.says(d.deciding()) {
	case Running:
		d.decideRunning(at)
	case Idle:
		d.decideIdle(at)
	}
}

// decideRunning believes a start, unless the samples barely differ from each other: then the bias has jumped (a
// supply has moved, a plug was touched), for no current through a clamp stands still.
func (d *Detector) decideRunning(at time.Duration) {
	if d.deciding() != Running && d.ev.up > upEnough*d.ev.running2 &&
		variance(d.proof.sum, d.proof.squares, d.proof.n) < d.ev.running2/4 {
		d.l.known = false
		d.relearnt()
		return
	}
	d.ev.forget()
	d.lastLoud = at
	if d.belief == Idle && d.everRan && at-d.ended < d.set.Brake {
		return
	}
	d.ending = false
	if d.belief != Running && !d.watch.blind(d) {
		d.onset, d.everRan = d.proof.from, true
		d.wide = window{} // the next reading is all of the run
		d.change(at, Running)
	}
}

func (d *Detector) decideIdle(at time.Duration) {
	d.ev.forget()
	switch {
	case d.watch.blind(d):
	case d.belief == Running && !d.ending:
		d.ending, d.ended = true, at
		d.wide = window{}
	case d.belief == Unknown:
		d.change(at, Idle)
	}
}

func (d *Detector) closeWindow(at time.Duration) {
	r := d.wide.read()
	d.wide = window{}
	d.rms, d.rmsHas = int32(root(r.variance)), true
	d.watch.bias(r.bias, &d.set)
	idle2 := d.ev.idle2
	if r.whole && r.variance < idle2 && r.mean*r.mean > idle2/4 {
		d.l.bias = r.bias // still, but beside the bias: it has moved
		d.relearnt()
		return
	}
	d.l.followBias(r, d.deciding(), idle2)
	if d.belief == Idle && at-d.lastLoud > time.Second && at-d.since > time.Second {
		d.l.followLevel(min(r.variance, d.ev.running2))
	}
}

// settle ends a hold and drops a belief that a blind channel no longer bears.
func (d *Detector) settle(now time.Duration) {
	if d.ending && now-d.ended >= d.set.Hold {
		d.change(now, Idle)
	}
	if d.belief != Unknown && d.watch.blind(d) {
		d.ev.forget()
		d.change(now, Unknown)
	}
}

func (d *Detector) change(at time.Duration, b Belief) {
	d.ending = false
	if d.belief != b {
		d.belief, d.since = b, at
	}
}
