package loop

import (
	"math"
	"time"

	"ductwarden/controller"
	"ductwarden/controller/airflow"
	"ductwarden/gates"
)

// What a tap's reading says against the model.
const (
	airAsModelled = 0
	airTooMuch    = 1 // a plug, or a gate that is not open
	airTooLittle  = 2 // a leak, an open bin, a filter loaded beyond what the shop file says
	airUntrue     = 3 // nothing: the reading cannot be believed
)

const (
	// calmFor is how long nothing must have moved before a reading is compared: air and transducer settle in
	// less, a wheel's run-up takes about three seconds.
	calmFor = 6 * time.Second
	// A filter counts as loaded from this share of the way between clean and loaded, and as clean below the other.
	filterLoaded = 0.8
	filterClean  = 0.5
)

// tapWatch compares one tap with the model.
type tapWatch struct {
	zero       zero
	open       gates.Set // of the figures below
	known      bool
	model      span
	calm       time.Duration
	candidate  int32
	since      time.Duration
	told       int32
	everJudged bool
	asked      int // gates whose part in the reading has been looked at
}

// span is what the model allows at a tap, Pa: between the clean and the loaded filter.
type span struct{ low, high float64 }

// fits tells how a reading stands to the model, with the tap's allowances.
func (s span) fits(t *Tap, p float64) int32 {
	switch {
	case p > s.high*(1+t.Above)+t.Drift:
		return airTooMuch
	case p < s.low*(1-t.Below)-t.Drift:
		return airTooLittle
	}
	return airAsModelled
}

// judgeTaps zeroes the taps while the fan stands, compares them with the model for the gates that are open, and
// posts what lasts.
func (l *Loop) judgeTaps(now time.Duration, s *controller.Snapshot) {
	open, unknown := openIn(s)
	for i, t := range l.taps {
		if t.tap.Collector < len(s.Collectors) {
			l.judgeTap(now, s, t, &l.tapWatches[i], open, unknown)
		}
	}
	l.showTaps(s)
	l.tellAir(s)
}

func (l *Loop) judgeTap(now time.Duration, s *controller.Snapshot, t *tapTask, w *tapWatch, open, unknown gates.Set) {
	c := t.tap.Collector
	raw, ok := t.pascals()
	w.zero.see(now, raw, ok, stands(&s.Collectors[c]))
	if t.tap.Place == TapElsewhere {
		return
	}
	solver := l.solverOf(c)
	if !ok || w.zero.wandered(t.tap) || solver == nil || !l.isCalm(s, c, unknown) {
		w.calm = 0
		return
	}
	p := w.zero.corrected(raw)
	if w.calm == 0 || w.open != open {
		w.calm, w.open, w.known, w.asked = now, open, false, 0
		l.forgetProofs(c)
	}
	if now-w.calm < calmFor {
		return
	}
	if !w.known {
		w.model, w.known = allowed(t.tap, solver, open)
	}
	if !w.known {
		return
	}
	if t.tap.Place == TapFilter {
		l.filterSays(now, t.tap, w, p)
		return
	}
	says, was := w.model.fits(t.tap, p), w.told
	w.last(now, says, t.tap.Delay)
	if w.told != was {
		w.asked = 0
		l.forgetProofs(c)
	}
	if says == w.told {
		l.askGates(s, t.tap, w, solver, p)
	}
}

// last keeps what a tap says once it has lasted.
func (w *tapWatch) last(now time.Duration, says int32, delay time.Duration) {
	if says != w.candidate {
		w.candidate, w.since = says, now
	}
	if now-w.since >= delay {
		w.told = says
	}
}

func (l *Loop) solverOf(c int) *airflow.Solver {
	if l.parts.Air == nil || c >= len(l.parts.Air.Trees) {
		return nil
	}
	return l.parts.Air.Trees[c].Solver
}

// isCalm reports whether a collector's air can be compared with the model: the fan runs, no gate of it is on its way
// or of unknown place.
func (l *Loop) isCalm(s *controller.Snapshot, c int, unknown gates.Set) bool {
	if !moves(s.Collectors[c].Phase) {
		return false
	}
	for g := range l.parts.Shop.Gates {
		if int(l.parts.Shop.Gates[g].Collector) != c {
			continue
		}
		if st := s.Gates[g].State; unknown.Has(g) || st != "open" && st != "closed" {
			return false
		}
	}
	return true
}

// allowed is what the model says of a tap with the filter clean and loaded.
func allowed(t *Tap, solver *airflow.Solver, open gates.Set) (s span, ok bool) {
	var p [2]float64
	for i, state := range []airflow.State{airflow.Clean, airflow.Loaded} {
		r := solver.Solve(open, state)
		if !r.Converged {
			return span{}, false
		}
		net := solver.Model().Network()
		switch t.Place {
		case TapInlet: // static suction on the wall of the inlet pipe
			if t.Inlet <= 0 {
				return span{}, false
			}
			v := r.FanFlow / (math.Pi / 4 * t.Inlet * t.Inlet)
			p[i] = -r.InletTotal + net.Air.Density*v*v/2
		case TapDuct:
			p[i] = -r.Static[t.Of]
		case TapPort:
			p[i] = r.PortSuction[t.Of]
		case TapSeparator:
			p[i] = net.Separator.At(r.FanFlow)
		case TapFilter:
			p[i] = [2]airflow.Loss{net.Filter.Clean, net.Filter.Loaded}[i].At(r.FanFlow)
		}
	}
	return span{min(p[0], p[1]), max(p[0], p[1])}, true
}

// filterSays tells clean from loaded by a tap across the filter, and posts it when it has lasted.
func (l *Loop) filterSays(now time.Duration, t *Tap, w *tapWatch, p float64) {
	if !t.Judges || w.model.high <= w.model.low {
		return
	}
	says := w.told
	switch x := (p - w.model.low) / (w.model.high - w.model.low); {
	case x >= filterLoaded:
		says = 1
	case x < filterClean:
		says = 0
	}
	was := w.told
	w.last(now, says, t.Delay)
	if w.told == was && w.everJudged || now-w.since < t.Delay {
		return
	}
	w.everJudged = true
	l.post(controller.Event{Kind: controller.FilterSeen, By: controller.FromSensor, N: uint8(t.Collector), V: w.told})
}

// tellAir posts what all taps of a collector say together: a plug before too little air before a reading that cannot
// be believed.
func (l *Loop) tellAir(s *controller.Snapshot) {
	for c := range s.Collectors {
		says := int32(airAsModelled)
		for i, t := range l.taps {
			w := &l.tapWatches[i]
			if t.tap.Collector != c {
				continue
			}
			one := w.told
			if w.zero.wandered(t.tap) {
				one = airUntrue
			} else if t.tap.Place == TapFilter {
				continue
			}
			if one != airAsModelled && (says == airAsModelled || one < says) {
				says = one
			}
		}
		if says != l.airTold[c] {
			l.airTold[c] = says
			l.post(controller.Event{Kind: controller.AirSeen, By: controller.FromSensor, N: uint8(c), V: says})
		}
	}
}
