package main

import (
	"cmp"
	"flag"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/loop"
	"ductwarden/controller/simshop"
	"ductwarden/gates"
)

// A shop's working life, invented and seeded: the whole daemon down to the chips' registers, with people who work,
// press buttons and mend, and with every fault that the simulated shop knows, again and again. What is looked at is
// the shop itself, blades, wheel and motor, not what the daemon says of them.
var (
	lifeSeed  = flag.Uint64("life-seed", 1, "seed of the first")
	lives     = flag.Int("lives", 2, "how many seeded shops live")
	tellLives = flag.Bool("tell-lives", false, "print each fault and start with its time")
	lifeHours = flag.Float64("life-hours", 2.5, "hours of work that each of them lives")
)

// shopYear is a year of work: 250 days of 8 h. Common practice.
const shopYear = 250 * 8 * time.Hour

// troubledShop is the boat shed with everything fitted that a fault can be at.
func troubledShop(t *testing.T) *config.Shop {
	t.Helper()
	text := string(demoShop)
	for _, edit := range [][2]string{
		{"inputs: {ready: GPIO7,", "inputs: {disconnect_open: GPIO18, ready: GPIO7,"},
		{"starts_per_hour: 8,", "starts_per_hour: 9,"},
		{"limits: {moving_at_once: 2}", "limits: {moving_at_once: 2, longest_run: 4 min}"},
		{"    motor: {power: 3 kW,", "    bin: {full: GPIO11, delay: 2 s}\n    motor: {power: 3 kW,"},
		{"      loaded: {flow: 2000 m3/h, pressure: 480 Pa, linear: 70 %}\n", "      loaded: {flow: 2000 m3/h, pressure: 480 Pa, linear: 70 %}\n      sensor: {loaded: GPIO15}\n"},
	} {
		require.Contains(t, text, edit[0])
		text = strings.Replace(text, edit[0], edit[1], 1)
	}
	file, err := config.Parse("the troubled shed", strings.NewReader(text))
	require.NoError(t, err)
	return file
}

// life is one shop's working life.
type life struct {
	*theatre
	t       *testing.T
	book    *scribe // nil: no journal
	chance  *rand.Rand
	faults  map[string]int
	raised  map[string]int
	refused map[controller.Reason]int
	active  map[string]bool
	seq     uint64
	began   []time.Duration // of starts that the program made, within the last hour
	stopped time.Duration   // when the program last stopped the collector
	noPath  time.Duration   // since when the fan has been under power with every blade shut
	blade   []float64       // of each gate, a moment ago
	gateOf  []int           // of each machine
	motor   []bool          // of each machine: it has one, or only a button
	open    time.Duration   // since when the disconnect has been open; 0: closed
	meddled time.Duration   // until when somebody's hand, a stuck slide or a welded contact excuses what is seen
	broken  bool            // a fault is in
	quiet   time.Duration   // until when nobody else works or presses anything
	over    bool            // nothing new is begun
	nextBad int
}

// troubles are the faults: each is done, and mended by what it returns.
func (l *life) troubles() []struct {
	name string
	do   func() (mend func())
} {
	sim := l.sim
	disconnect := func() func() {
		line := *l.file.Inputs.DisconnectOpen
		sim.Contact(line, true)
		l.open = l.clock.Now()
		return func() { sim.Contact(line, false); l.open = 0 }
	}
	contact := func(offset int) func() func() {
		line := config.Line{Chip: l.file.Inputs.Ready.Chip, Offset: offset}
		return func() func() { sim.Contact(line, true); return func() { sim.Contact(line, false) } }
	}
	stick := func(gate string) func() func() {
		return func() func() { g := l.gate(gate); sim.Stick(g, true); return func() { sim.Stick(g, false) } }
	}
	clamp := func(machine string, how int) func() func() {
		kinds := []func(int){
			func(m int) { sim.BreakClamp(m, simshop.ClampUnplugged) }, func(m int) { sim.BreakClamp(m, simshop.ClampShorted) },
			func(m int) { sim.BreakClamp(m, simshop.ClampFrozen) }, func(m int) { sim.BreakClamp(m, simshop.ClampNoisy) },
		}
		return func() func() {
			m := l.machine(machine)
			kinds[how](m)
			return func() { sim.BreakClamp(m, simshop.ClampSound) }
		}
	}
	silent := func(kind string, address uint8) func() func() {
		return func() func() {
			sim.Silence(chip(kind, address), true)
			return func() { sim.Silence(chip(kind, address), false) }
		}
	}
	nothing := func() {}
	// alone lets one machine work and nobody else for a while, and does a thing once its air is there and the other
	// gates are shut.
	alone := func(machine string, do func() func()) func() func() {
		return func() func() {
			l.quiet = l.clock.Now() + 6*time.Minute
			for m := range l.file.Machines {
				sim.Switch(m, false)
			}
			undo := nothing
			over, since := l.quiet-time.Minute, time.Duration(0)
			var wait func()
			wait = func() {
				now, mine := l.clock.Now(), l.machine(machine)
				switch served := sim.Powered(0) && sim.Blade(l.gateOf[mine]) > 0.9; {
				case now > over: // the budget is spent, or something else is amiss: another time
				case !sim.Running(mine):
					since = 0
					sim.Switch(mine, true)
					l.later(time.Second, wait)
				case !served && now-since > 2*time.Minute: // it started before the motor was rested, and must be started anew
					since = now
					sim.Switch(mine, false)
					l.later(time.Second, wait)
				case !served:
					l.later(time.Second, wait)
				default:
					l.later(12*time.Second, func() { undo = do() })
				}
			}
			l.later(2*time.Second, wait)
			return func() { undo(); sim.Switch(l.machine(machine), false) }
		}
	}
	return []struct {
		name string
		do   func() (mend func())
	}{
		{"moulder's gate stuck", stick("moulder")},
		{"planer's gate stuck", stick("planer")},
		{"bandsaw's gate stuck", stick("bandsaw")},
		{"planer's gate slid by hand", func() func() { sim.Slide(l.gate("planer"), 0.5); return nothing }},
		{"oar bench slid open", func() func() { g := l.gate("oar bench"); sim.Slide(g, 1); return func() { sim.Slide(g, 0) } }},
		{"planer's clamp unplugged", clamp("thickness planer", 0)},
		{"jointer's clamp shorted", clamp("jointer", 1)},
		{"saw's clamp frozen", clamp("table saw", 2)},
		{"bandsaw's clamp noisy", clamp("ship bandsaw", 3)},
		{"clamps' converter silent", silent("ads1115", 0x48)},
		{"servo board silent", silent("pca9685", 0x40)},
		{"servo board sags", func() func() { sim.BrownOut(chip("pca9685", 0x40)); return nothing }},
		{"motor refuses to start", func() func() {
			l.quiet = l.clock.Now() + 5*time.Minute
			for m := range l.file.Machines {
				sim.Switch(m, false)
			}
			l.later(40*time.Second, func() { finish(l.theatre) })
			l.later(3*time.Minute, func() {
				sim.Refuse(0, true)
				sim.Switch(l.machine("jointer"), true)
			})
			return func() { sim.Refuse(0, false); sim.Switch(l.machine("jointer"), false) }
		}},
		{"motor trips", alone("jointer", func() func() { sim.Refuse(0, true); return func() { sim.Refuse(0, false) } })},
		{"contactor welded", func() func() {
			sim.Weld(0, true)
			l.later(2*time.Second, func() { l.press(l.file.Inputs.Halt, controller.HaltPressed) })
			return func() { sim.Weld(0, false) }
		}},
		{"planer's gate slid half shut and stuck", func() func() {
			g := l.gate("planer")
			sim.Slide(g, 0.5)
			sim.Stick(g, true)
			return func() { sim.Stick(g, false) }
		}},
		{"the only way shut by hand, the servo board silent", alone("ship bandsaw", func() func() {
			g := l.gate("bandsaw")
			sim.Silence(chip("pca9685", 0x40), true)
			sim.Slide(g, 0.4)
			sim.Stick(g, true)
			return func() { sim.Stick(g, false); sim.Silence(chip("pca9685", 0x40), false) }
		})},
		{"a machine left running", func() func() {
			l.quiet = l.clock.Now() + 5*time.Minute
			sim.Switch(l.machine("router"), true)
			l.later(280*time.Second, func() { sim.Switch(l.machine("router"), false) })
			return nothing
		}},
		{"collector left running by hand", func() func() {
			l.quiet = l.clock.Now() + 7*time.Minute
			l.loop.Post(controller.Event{Kind: controller.SelectCollector, By: controller.FromPage, V: int32(gates.HeldOpen)})
			return nothing
		}},
		{"contactor chatters", alone("table saw", func() func() {
			for i := range 30 {
				l.later(time.Duration(i)*1500*time.Millisecond, func() { sim.Refuse(0, i%2 == 0) })
			}
			return func() { sim.Refuse(0, false) }
		})},
		{"moulder's gate stuck open", alone("spindle moulder", func() func() {
			sim.Stick(l.gate("moulder"), true)
			sim.Switch(l.machine("spindle moulder"), false)
			sim.Switch(l.machine("thickness planer"), true)
			return func() { sim.Stick(l.gate("moulder"), false); sim.Switch(l.machine("thickness planer"), false) }
		})},
		{"own switch", func() func() {
			l.quiet = l.clock.Now() + 4*time.Minute
			for m := range l.file.Machines {
				sim.Switch(m, false)
			}
			finish(l.theatre)
			l.later(100*time.Second, func() { sim.OwnSwitch(0, true) })
			return func() { sim.OwnSwitch(0, false) }
		}},
		{"motor's proof shorted", func() func() {
			sim.BreakProof(0, simshop.ClampShorted)
			return func() { sim.BreakProof(0, simshop.ClampSound) }
		}},
		{"disconnect open", disconnect},
		{"bin full", contact(11)},
		{"filter loaded", func() func() {
			mend := alone("table saw", func() func() { sim.LoadFilter(0, 1); return func() { sim.LoadFilter(0, 0) } })()
			l.quiet += 2 * time.Minute // it is believed after half a minute, and told after another
			return mend
		}},
		{"plug in the seaward run", alone("thickness planer", func() func() { sim.Plug(1, 0.3); return func() { sim.Plug(1, 1) } })},
		{"bin left open", alone("thickness planer", func() func() { sim.OpenBin(0, true); return func() { sim.OpenBin(0, false) } })},
		{"both switches of the moulder's gate", func() func() {
			sim.Short(l.gate("moulder"), true)
			return func() { sim.Short(l.gate("moulder"), false) }
		}},
		{"six at once", func() func() {
			for m := range l.file.Machines {
				sim.Switch(m, true)
			}
			return func() {
				for m := range l.file.Machines {
					sim.Switch(m, false)
				}
			}
		}},
		{"many short runs", func() func() {
			l.quiet = l.clock.Now() + 10*time.Minute
			for i := range 6 {
				at := l.clock.Now() + time.Duration(i)*95*time.Second
				sim.At(at, func() { sim.Switch(l.machine("jointer"), true) })
				sim.At(at+4*time.Second, func() { sim.Switch(l.machine("jointer"), false) })
				sim.At(at+8*time.Second, func() { finish(l.theatre) })
			}
			return nothing
		}},
	}
}

// within is a random time from a to b.
func (l *life) within(a, b time.Duration) time.Duration {
	return a + time.Duration(l.chance.Int64N(int64(b-a)))
}

func (l *life) later(d time.Duration, do func()) { l.sim.At(l.clock.Now()+d, do) }

// work lets one machine be used for the rest of the life.
func (l *life) work(m int) {
	l.later(l.within(time.Minute, 14*time.Minute), func() {
		if l.over {
			return
		}
		if l.clock.Now() > l.quiet && (l.now().Mode == "on_duty" || l.chance.IntN(10) == 0) {
			if l.motor[m] {
				l.sim.Switch(m, true)
			}
			l.button(m)
			l.later(l.within(2*time.Second, 3*time.Minute), func() { l.sim.Switch(m, false) })
		}
		l.work(m)
	})
}

// mend breaks one thing after the other, and mends each after a while.
func (l *life) mend(all []int) {
	l.later(l.within(20*time.Second, 2*time.Minute), func() {
		if l.over {
			return
		}
		trouble := l.troubles()[all[l.nextBad%len(all)]]
		l.nextBad++
		l.faults[trouble.name]++
		if *tellLives {
			l.t.Logf("%s: %s", l.timeOfDay(l.clock.Now()), trouble.name)
		}
		mend := trouble.do()
		l.broken = true
		l.later(max(l.within(50*time.Second, 110*time.Second), l.quiet-l.clock.Now()), func() {
			mend()
			l.broken = false
			l.later(5*time.Second, l.putRight)
			l.meddled = l.clock.Now() + time.Minute
			l.mend(all)
		})
	})
}

// putRight is what a person does who finds a fault mended.
func (l *life) putRight() {
	acknowledge(l.theatre)
	for g := range l.file.Gates {
		l.loop.Post(controller.Event{Kind: controller.SelectGate, By: controller.FromPage, N: uint8(g), V: int32(gates.Automatic)})
	}
	l.loop.Post(controller.Event{Kind: controller.SelectCollector, By: controller.FromPage, V: int32(gates.Automatic)})
	l.later(10*time.Second, func() {
		if acknowledge(l.theatre); l.now().Mode != "on_duty" {
			ready(l.theatre)
		}
	})
}

// hands are a person who looks round, acknowledges, and presses Ready; and now and then other buttons.
func (l *life) hands() {
	l.later(l.within(10*time.Second, 80*time.Second), func() {
		if l.over {
			return
		}
		switch k := l.chance.IntN(12); {
		case l.clock.Now() < l.quiet:
		case k == 0:
			finish(l.theatre)
		case k == 1:
			l.press(l.file.Inputs.Halt, controller.HaltPressed)
		case k == 2:
			l.loop.Post(controller.Event{Kind: controller.HoldGate, By: controller.FromPage, N: uint8(l.chance.IntN(9)), V: 20_000, Ref: 7})
		case k == 3:
			l.loop.Post(controller.Event{Kind: controller.SelectGate, By: controller.FromPage, N: uint8(l.chance.IntN(9)), V: int32(l.chance.IntN(3)), Ref: 8})
		case k == 4:
			l.loop.Post(controller.Event{Kind: controller.SelectCollector, By: controller.FromPage, V: int32(l.chance.IntN(3)), Ref: 9})
		case k == 5:
			l.loop.Post(controller.Event{Kind: controller.CallAir, By: controller.FromPage, N: uint8(l.chance.IntN(10)), V: 15_000, Ref: 10})
		case k < 9:
			l.putRight()
		}
		if l.now().Mode != "on_duty" {
			acknowledge(l.theatre)
			l.later(time.Second, func() { ready(l.theatre) })
		}
		l.hands()
	})
}

// lookEvery is how often the bystander looks at the shop itself.
const lookEvery = 100 * time.Millisecond

// Poll implements loop.Task: the bystander, who believes nothing that the daemon says.
func (l *life) Poll(now time.Duration) time.Duration {
	l.listen()
	if *tellLives && now%(20*time.Second) < lookEvery {
		s := l.now()
		l.t.Logf("%s:      %s %s: %s, %s; %v", l.timeOfDay(now), s.Mode, s.Why, s.Collectors[0].Phase, s.Collectors[0].Why, l.alarms())
	}
	excused := l.broken || now < l.meddled
	if l.sim.Powered(0) && l.sim.Wheel(0) > 0.5 && l.sim.Open().Empty() {
		if l.noPath == 0 {
			l.noPath = now
		}
		assert.False(l.t, !excused && now-l.noPath > 5*time.Second, "%s: the fan has blown against shut gates for %v with nothing amiss", l.timeOfDay(now), now-l.noPath)
	} else {
		l.noPath = 0
	}
	for m := range l.file.Machines {
		g := l.gateOf[m]
		blade := l.sim.Blade(g)
		assert.False(l.t, !excused && l.motor[m] && l.sim.Running(m) && l.sim.Powered(0) && l.blade[g] >= 0.9 && blade < l.blade[g]-0.05,
			"%s: the gate of the running %s moves from %.2f to %.2f under power, with nothing amiss", l.timeOfDay(now), l.file.Machines[m].Name, l.blade[g], blade)
	}
	for g := range l.file.Gates {
		l.blade[g] = l.sim.Blade(g)
	}
	return now + lookEvery
}

// start is a start that the program made: within the hour's budget, after the rest, and never with the disconnect
// open.
func (l *life) start(at time.Duration) {
	motor := l.file.Collectors[0].Motor
	l.began = slices.DeleteFunc(l.began, func(was time.Duration) bool { return at-was >= time.Hour })
	l.began = append(l.began, at)
	if *tellLives {
		l.t.Logf("%s: start %d of the hour; %s", l.timeOfDay(at), len(l.began), l.now().Why)
	}
	assert.LessOrEqual(l.t, len(l.began), motor.StartsPerHour, "%s: starts within an hour", l.timeOfDay(at))
	assert.False(l.t, l.open > 0 && at-l.open > time.Second, "%s: a start with the disconnect open since %s", l.timeOfDay(at), l.timeOfDay(l.open))
	assert.False(l.t, l.stopped > 0 && at-l.stopped < motor.Rest, "%s: a start %v after the last stop", l.timeOfDay(at), at-l.stopped)
}

// listen takes down what the daemon says: alarms and refusals.
func (l *life) listen() {
	snap := l.loop.Snapshots().Latest()
	if snap == nil {
		return
	}
	active := map[string]bool{}
	for _, a := range snap.Alarms {
		if key, _, _ := strings.Cut(a.Key, "/"); a.Active {
			active[a.Key] = true
			if !l.active[a.Key] {
				l.raised[key]++
			}
		}
	}
	l.active = active
	recent := l.loop.Recent(64)
	for _, r := range slices.Backward(recent) {
		if r.Seq <= l.seq {
			continue
		}
		l.seq = r.Seq
		if *tellLives {
			if what, then, ok := (words{l.shop}).record(r); ok {
				l.t.Logf("%s:      + %s: %v", l.timeOfDay(time.Duration(r.Event.At)*time.Millisecond), what, then)
			}
		}
		at := time.Duration(r.Event.At) * time.Millisecond
		for _, e := range r.Effects {
			switch {
			case e.Kind == controller.Answered && e.V == 1:
				l.refused[e.Why]++
			case e.Kind == controller.StartCollector:
				l.start(at)
			case e.Kind == controller.StopCollector:
				l.stopped = at
			}
		}
	}
}

func newLife(t *testing.T, seed uint64) *life { return lifeOf(t, troubledShop(t), seed, nil) }

// lifeOf is the life of a shop, with a journal where book is not nil.
func lifeOf(t *testing.T, file *config.Shop, seed uint64, book *scribe) *life {
	t.Helper()
	ending := loop.OrderlyEnd
	if seed%2 == 0 {
		ending = loop.StillOn // the last program was killed with the collector on
	}
	th, err := newTheatreTold(t.Context(), file, seed, ending, book)
	require.NoError(t, err)
	l := &life{theatre: th, t: t, book: book, blade: make([]float64, len(th.file.Gates)), chance: rand.New(rand.NewPCG(seed, 1)), faults: map[string]int{}, raised: map[string]int{}, refused: map[controller.Reason]int{}}
	for m := range th.file.Machines {
		for g := range th.shop.Machines[m].Needs.All() {
			l.gateOf = append(l.gateOf, g)
		}
		l.motor = append(l.motor, slices.ContainsFunc(th.file.Machines[m].Sensors, func(s config.Sensor) bool { return s.Button == nil }))
	}
	require.Len(t, l.gateOf, len(th.file.Machines), "one gate a machine")
	return l
}

// begins lays the life out: everything that happens in it begets what happens next.
func (l *life) begins() {
	l.clock.Add("story", "bystander", l)
	l.putRight()
	for m := range l.file.Machines {
		l.work(m)
	}
	l.mend(l.chance.Perm(len(l.troubles())))
	l.hands()
}

// live lets the shop live for a while, and then, all mended, sees a machine get its air.
func (l *life) live(d time.Duration) {
	l.begins()
	l.clock.Advance(l.t.Context(), l.clock.Now()+d)
	l.recover()
}

// recover ends all work and every fault, has a person put everything right, and sees a machine get its air.
func (l *life) recover() {
	l.over = true
	l.clock.Advance(l.t.Context(), l.clock.Now()+4*time.Minute) // what was begun ends
	for m := range l.file.Machines {
		l.sim.Switch(m, false)
	}
	for range 4 {
		l.putRight()
		l.clock.Advance(l.t.Context(), l.clock.Now()+20*time.Second)
	}
	l.clock.Advance(l.t.Context(), l.clock.Now()+30*time.Minute) // the hour's starts come back
	l.sim.Switch(l.machine("thickness planer"), true)
	l.clock.Advance(l.t.Context(), l.clock.Now()+time.Minute)
	assert.True(l.t, l.sim.Powered(0) && l.sim.Blade(l.gate("planer")) > 0.9, "after all is mended the planer has no air: %s; %v", l.now().Why, l.alarms())
	assert.Empty(l.t, l.alarms(), "and nothing stands")
}

func TestShopsLiveWithEveryFault(t *testing.T) {
	if underRace {
		t.Skip("one goroutine lives these lives, so the race detector has nothing to see in them")
	}
	raised, refused, faults := map[string]int{}, map[controller.Reason]int{}, map[string]int{}
	began, lived := time.Now(), time.Duration(0)
	for seed := range uint64(*lives) {
		l := newLife(t, *lifeSeed+seed)
		d := time.Duration(*lifeHours * float64(time.Hour))
		l.live(d)
		lived += d
		for k, n := range l.raised {
			raised[k] += n
		}
		for k, n := range l.refused {
			refused[k] += n
		}
		for k, n := range l.faults {
			faults[k] += n
		}
	}
	took := time.Since(began)
	cameTo(t, "whole loop: %v of %d shops lived in %v: %.0f times real time, %.4f shop-years a minute; %d kinds of faults, %d of alarms, %d of refusals reached", lived, *lives, took.Round(time.Second),
		lived.Seconds()/took.Seconds(), lived.Hours()/shopYear.Hours()/took.Minutes(), len(faults), len(raised), len(refused))
	counted(t, "faults", faults)
	counted(t, "alarms", raised)
	counted(t, "refusals", refused)
	for _, c := range controller.Conditions() {
		if c == controller.WhichRuns {
			continue // in these shops each machine has a clamp of its own
		}
		assert.Positive(t, raised[c.String()], "the alarm %s was never reached", c)
	}
}

// cameTo prints what a run came to, and keeps it in the file that FIGURES names.
func cameTo(t *testing.T, format string, args ...any) {
	t.Helper()
	line := fmt.Sprintf(format, args...)
	t.Log(line)
	if path := os.Getenv("FIGURES"); path != "" {
		f, err := os.OpenFile(path, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o644)
		require.NoError(t, err)
		defer f.Close()
		_, err = fmt.Fprintln(f, line)
		require.NoError(t, err)
	}
}

// counted prints counts, most first.
func counted[K cmp.Ordered](t *testing.T, what string, counts map[K]int) {
	t.Helper()
	keys := slices.SortedFunc(maps.Keys(counts), func(a, b K) int { return cmp.Or(counts[b]-counts[a], cmp.Compare(a, b)) })
	var b strings.Builder
	for _, k := range keys {
		fmt.Fprintf(&b, "\n  %4d  %v", counts[k], k)
	}
	t.Logf("%s: %d kinds%s", what, len(keys), &b)
}

var _ loop.Task = (*life)(nil)
