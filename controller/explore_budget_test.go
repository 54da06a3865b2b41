package controller_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/current"
	"ductwarden/gates"
)

// tickOfHour is the slice's grain of time: six make the hour.
const tickOfHour = 10 * controller.Minute

// hourly is a shop of one machine whose port is always open: what is left is the motor's rest, its starts, its least run
// and how long it lingers. All times are whole ticks, so that the hour has six.
func hourly(starts uint8, rest controller.Span, eager bool) *controller.Shop {
	return &controller.Shop{Name: "hourly", Linger: tickOfHour, LongestLinger: 2 * tickOfHour, LeastClearing: tickOfHour, MovingAtOnce: 1, MovesPerMinute: 6,
		LongestRun: 24 * controller.Hour, LongestHold: controller.Hour, PathLost: 3000, StartWhileResting: eager,
		Machines: []controller.Machine{{ID: "saw", Name: "saw", Collectors: gates.Of(0), Sensed: true}},
		Collectors: []controller.Collector{{ID: "collector", Name: "collector", Starter: true, Proof: true, StartsPerHour: starts, Rest: rest, LeastRun: tickOfHour,
			Coast: 0, ProveOn: 2000, ProveOff: 3000, Ways: []gates.Set{0}, Planner: &tablePlanner{needs: []gates.Set{0}}}}}
}

// The surroundings of this slice: n[0] the motor turns by its own switch; saved is the file of starts.

func hourStart(w *world) {
	w.do(controller.MachineSeen, 0, int32(current.Idle), controller.FromSensor)
	w.follow(controller.CollectorSeen, int32(controller.Still))
}

// follow gives an event, and lets the motor follow its line at once; what is to be saved is saved.
func (w *world) follow(k controller.EventKind, v int32) {
	w.do(k, 0, v, controller.FromSensor)
	for range 4 {
		f := int32(-1)
		for _, e := range w.out {
			switch e.Kind {
			case controller.StartCollector:
				f = int32(controller.Turning)
			case controller.StopCollector:
				f = int32(controller.Still)
			case controller.SaveStart:
				w.save()
			}
		}
		if f < 0 {
			return
		}
		w.do(controller.CollectorSeen, 0, f, controller.FromSensor)
	}
}

func hourMoves(w *world, to []move) []move {
	add := func(k byte, v int) { to = append(to, move{k, 0, uint8(v)}) }
	add('w', 0)
	if w.mach[0].running {
		add('m', int(current.Idle))
	} else {
		add('m', int(current.Running))
	}
	for _, k := range "rhka" {
		add(byte(k), 0)
	}
	if !w.line.Has(0) {
		if w.coll[0].feedback == controller.Turning {
			add('f', int(controller.Still))
		} else {
			add('f', int(controller.Turning))
		}
	}
	add('u', 0)
	add('u', 1)
	return to
}

func hourApply(w *world, m move) {
	v := int32(m.v)
	switch m.kind {
	case 'w':
		end := w.s.Now() + controller.Instant(tickOfHour)
		for {
			at, ok := w.s.Wake(w.slice.shop)
			if !ok || at >= end {
				break
			}
			w.at(at)
		}
		w.at(end)
	case 'm':
		w.follow(controller.MachineSeen, v)
	case 'f':
		w.follow(controller.CollectorSeen, v)
	case 'r':
		w.follow(controller.ReadyPressed, 0)
	case 'h':
		w.follow(controller.HaltPressed, 0)
	case 'k':
		w.follow(controller.FinishPressed, 0)
	case 'a':
		w.do(controller.Acknowledged, int(controller.Everything), 0, controller.FromButton)
	case 'u':
		turns := w.coll[0].feedback == controller.Turning && !w.line.Has(0)
		running := w.mach[0].running
		w.do(controller.Restarted, 0, v, controller.FromProgram)
		for i := range int(w.env.saved.n) {
			w.do(controller.StartStored, 0, int32(w.s.Now()-w.env.saved.at[i]), controller.FromProgram)
		}
		b, f := current.Idle, controller.Still
		if running {
			b = current.Running
		}
		if turns {
			f = controller.Turning
		}
		w.do(controller.MachineSeen, 0, int32(b), controller.FromSensor)
		w.follow(controller.CollectorSeen, int32(f))
	}
	w.env.saved.forget(w.s.Now(), controller.Hour)
	w.env.saved.newest(w.slice.shop.Collectors[0].StartsPerHour)
	w.s.Timeless(w.slice.shop)
}

// save writes a start to the file, on the tick that it is due: ten seconds later than it is written, which costs the
// person and not the motor.
func (w *world) save() {
	const tick = controller.Instant(tickOfHour)
	w.env.saved.add(noon + (w.s.Now()-noon+tick-1)/tick*tick)
}

// at lets time pass to a moment and calls the core.
func (w *world) at(at controller.Instant) {
	w.step(controller.Event{At: at, Kind: controller.Wake})
	w.followed()
}

// followed lets the motor follow what the last step did to its line.
func (w *world) followed() {
	for _, e := range w.out {
		switch e.Kind {
		case controller.StartCollector:
			w.follow(controller.CollectorSeen, int32(controller.Turning))
			return
		case controller.StopCollector:
			w.follow(controller.CollectorSeen, int32(controller.Still))
			return
		case controller.SaveStart:
			w.save()
		}
	}
}

func hourPack(w *world, p *packer) {
	p.raw8(&w.env.saved.n)
	if p.reads {
		w.env.saved.at = [12]controller.Instant{}
	}
	for i := range int(w.env.saved.n) {
		p.age(&w.env.saved.at[i], controller.Instant(controller.Hour))
	}
}

// TestExploreBudget is slice (b): every course of hours in ticks of ten minutes, and every order of things at one moment.
func TestExploreBudget(t *testing.T) {
	heavy(t)
	for name, shop := range map[string]*controller.Shop{"two starts, one tick of rest": hourly(2, tickOfHour, false),
		"two starts, starting while resting": hourly(2, tickOfHour, true), "three starts, two ticks of rest": hourly(3, 2*tickOfHour, false)} {
		for _, group := range [][]string{{"I4", "I5", "I8"}, {"I6", "I26"}} {
			sl := &slice{name: "(b) rest and starts, " + name, shop: shop, rules: rulesOf(group...), start: hourStart, moves: hourMoves, apply: hourApply, pack: hourPack,
				leavesOut: "gates, long runs, a motor that does not follow its line (c, d); the hour has six ticks", visit: settled}
			require.True(t, sl.holds(t).complete)
		}
	}
}
