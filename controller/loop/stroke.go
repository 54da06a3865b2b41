package loop

import (
	"ductwarden/controller"
	"ductwarden/gates"
)

// stroke follows how long a gate takes from one end to the other: it grows with wear, dust in the slide, a weak
// servo or a sagging supply. Only a move in one drive that a switch has proved counts.
type stroke struct {
	from controller.Instant // of the drive; 0: none is under way
	last int64              // ms, of the latest that counts; 0: none
}

// see takes a gate as it is now; driven says that its actuator pushes.
func (s *stroke) see(now controller.Instant, g *controller.GateSnapshot, driven bool) {
	switch g.State {
	case "opening", "closing":
		switch {
		case s.from == 0 && driven:
			s.from = now
		case !driven:
			s.from = -1 // it rests before another try: the two together are no stroke
		}
		return
	case "open", "closed":
		if s.from > 0 && g.Proved {
			s.last = int64(now - s.from)
		}
	}
	s.from = 0
}

// showStrokes adds the strokes to a snapshot.
func (l *Loop) showStrokes(s *controller.Snapshot) {
	for g := range s.Gates {
		l.strokes[g].see(l.now, &s.Gates[g], l.out.Drive[g] != gates.DriveNone)
		s.Gates[g].StrokeMS = l.strokes[g].last
	}
}
