package loop

import (
	"math"
	"time"

	"ductwarden/controller"
)

const (
	// zeroAfter is how long a fan must have stood before a transducer's zero is taken: what coasts a little longer
	// than the shop file says still draws. Own choice.
	zeroAfter = 10 * time.Second
	// zeroPart is how much of a new reading goes into the zero at each look, four times a second: half of a step is
	// followed in about ten seconds. Own choice.
	zeroPart = 1.0 / 64
)

// zero follows what a transducer shows while there is no pressure.
type zero struct {
	still  time.Duration // since when the fan has stood; 0: it does not
	offset float64       // Pa
	known  bool
}

// see takes a reading; stands says that no fan moves the air.
func (z *zero) see(now time.Duration, p float64, ok, stands bool) {
	switch {
	case !stands:
		z.still = 0
		return
	case z.still == 0:
		z.still = now
	}
	switch {
	case !ok || now-z.still < zeroAfter:
	case !z.known:
		z.offset, z.known = p, true
	default:
		z.offset += float64((p - z.offset) * zeroPart)
	}
}

// corrected is a reading less the zero.
func (z *zero) corrected(p float64) float64 { return p - z.offset }

// wandered reports whether the zero is further off than the shop file allows: the reading cannot be believed.
func (z *zero) wandered(t *Tap) bool { return t.Drift > 0 && math.Abs(z.offset) > t.Drift }

// stands reports whether a collector moves no air at all.
func stands(c *controller.CollectorSnapshot) bool {
	return (c.Phase == "off" || c.Phase == "start_failed") && c.Feedback != "turning"
}
