package loop

import (
	"ductwarden/controller"
	"ductwarden/controller/airflow"
)

// What the air tells of a gate.
const (
	airSaysNothing = ""
	airSaysOpen    = "open"
	airSaysClosed  = "closed"
	airSaysNotOpen = "not_open" // its being shut would explain the reading
)

// askGates looks what a tap's reading tells of the gates, one gate a time. Where the reading fits the model, and
// would not with a gate the other way round, that gate is proved. Where there is more suction than the open gates
// explain, and it would fit with one of them shut, that one is told.
func (l *Loop) askGates(s *controller.Snapshot, t *Tap, w *tapWatch, solver *airflow.Solver, p float64) {
	for w.asked < len(l.parts.Shop.Gates) {
		g := w.asked
		w.asked++
		if int(l.parts.Shop.Gates[g].Collector) != t.Collector {
			continue
		}
		isOpen := w.open.Has(g)
		other := w.open.With(g)
		if isOpen {
			other = w.open.Without(g)
		}
		m, ok := allowed(t, solver, other)
		if !ok {
			continue
		}
		switch fits := m.fits(t, p) == airAsModelled; {
		case w.told == airAsModelled && !fits && isOpen:
			l.byAir[g] = airSaysOpen
		case w.told == airAsModelled && !fits:
			l.byAir[g] = airSaysClosed
		case w.told == airTooMuch && fits && isOpen:
			l.byAir[g] = airSaysNotOpen
		}
		return // the others have their turn at the next look
	}
}

// forgetProofs drops what the air has told of a collector's gates: the pattern is another.
func (l *Loop) forgetProofs(c int) {
	for g := range l.byAir {
		if int(l.parts.Shop.Gates[g].Collector) == c {
			l.byAir[g] = airSaysNothing
		}
	}
}

// showTaps adds the taps' readings to a snapshot, and what they tell of the gates.
func (l *Loop) showTaps(s *controller.Snapshot) {
	for i, t := range l.taps {
		w := &l.tapWatches[i]
		shown := controller.TapSnapshot{ID: t.tap.ID, Name: t.tap.Name, Health: "good"}
		if t.tap.Collector < len(s.Collectors) {
			shown.Collector = s.Collectors[t.tap.Collector].ID
		}
		switch p, ok := t.pascals(); {
		case !ok:
			shown.Health = "lost"
		case w.zero.wandered(t.tap):
			shown.Health = "zero_wandered"
			shown.Pa = &p
		default:
			p = w.zero.corrected(p)
			shown.Pa = &p
		}
		if w.known && w.calm != 0 {
			low, high := w.model.low, w.model.high
			shown.LowPa, shown.HighPa = &low, &high
		}
		s.Taps = append(s.Taps, shown)
		if c := t.tap.Collector; t.tap.Place == TapInlet && c < len(s.Collectors) {
			s.Collectors[c].SuctionPa = shown.Pa
		}
	}
	for g, says := range l.byAir {
		s.Gates[g].ByAir = says
		if says != airSaysNothing && says == s.Gates[g].State {
			s.Gates[g].Proved = true
		}
	}
}
