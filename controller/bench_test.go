package controller_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/plan"
	"ductwarden/current"
	"ductwarden/gates"
)

// tablePlanner answers from what machines need; a few demands have extra gates, or cannot be carried.
type tablePlanner struct {
	needs []gates.Set
	extra map[gates.Set]gates.Set // relief by the machines in demand
	poor  map[gates.Set]bool      // demands that creep: the one that runs down is left for later
	clear gates.Span
}

func (p *tablePlanner) Choose(q plan.Question) plan.Answer {
	a := plan.Answer{Verdict: plan.Carries, Margin: 800, Share: 11000, Weakest: plan.NoDuct, Short: plan.NoMachine, Mend: plan.NoMachine, Clear: p.clear}
	demand := q.Running | q.Down
	if p.poor[demand] {
		if a.Left = q.Down; q.Running != 0 {
			demand = q.Running
		}
		if p.poor[demand] {
			a.Verdict, a.Weakest, a.Mend, a.Share, a.Short = plan.Settles, 0, 1, 4000, 0
			a.Left = 0
			if demand.Len() > 2 {
				a.Share = 6000
			}
		}
	}
	for m := range demand.All() {
		if m < len(p.needs) {
			a.Needed |= p.needs[m]
			if p.needs[m]&^(q.Usable|q.StuckOpen) != 0 {
				a.Unserved = a.Unserved.With(m)
			}
		}
	}
	a.Relief = p.extra[demand] & q.Usable &^ a.Needed
	a.Open = a.Needed&(q.Usable|q.StuckOpen) | a.Relief | q.StuckOpen
	if demand.Has(1) && a.Open&gates.Of(2, 3) == 0 && a.Verdict == plan.Carries { // the lathe's own air is too little
		a.Verdict, a.Weakest = plan.Settles, 0
	}
	return a
}

// shopOptions are the ways in which the small shops of the tests differ.
type shopOptions struct {
	bare      bool // no end switches
	half      bool // an open switch only
	noProof   bool // of the collectors' motors
	two       bool // two collectors
	nested    bool // a gate in the run behind the first two
	eager     bool // starts while resting when the hour allows
	all       bool // works with everything open
	hand      bool // the sweep's gate is moved by hand
	noStarter bool
	network   controller.NetworkRights
}

// smallShop is a shop of three machines, a sweep and four or five gates, with round times.
func smallShop(o shopOptions) *controller.Shop {
	const s = controller.Second
	p := &controller.Shop{Name: "small", Linger: 60 * s, LongestLinger: 300 * s, LeastClearing: 5 * s, MovingAtOnce: 2, MovesPerMinute: 6,
		LongestRun: 1800 * s, LongRunGrace: 300 * s, LongestHold: 600 * s, InrushSpacing: 3 * s, Warning: 5 * s, PathLost: 3 * s, Network: o.network,
		StartWhileResting: o.eager, EverythingOpen: o.all}
	l := gates.Limits{Travel: 1000, OpenSwitch: !o.bare, ClosedSwitch: !o.bare && !o.half}
	needs := []gates.Set{gates.Of(0), gates.Of(1), gates.Of(2), gates.Of(3)}
	names := []string{"saw", "lathe", "planer", "sweep"}
	if o.nested {
		names = append(names, "run")
		needs[0], needs[1] = gates.Of(0, 4), gates.Of(1, 4)
	}
	for i, n := range names {
		g := controller.Gate{ID: n, Name: n, Motion: l}
		if i == 1 && !o.half {
			g.Motion = gates.Limits{Travel: 1000}
		}
		if i == 3 && o.hand {
			g.Motion = gates.Limits{Hand: true, OpenSwitch: true, ClosedSwitch: true}
		}
		p.Gates = append(p.Gates, g)
	}
	for i := range needs {
		m := controller.Machine{ID: names[i], Name: names[i], Needs: needs[i], Collectors: gates.Of(0), RunDown: 4 * s, Sensed: i < 3}
		if i >= 2 {
			m.Button = 30 * s
		}
		if o.two && i == 2 {
			m.Collectors = gates.Of(1)
			p.Gates[2].Collector = 1
		}
		p.Machines = append(p.Machines, m)
	}
	c := controller.Collector{ID: "collector", Name: "collector", Starter: !o.noStarter, Proof: !o.noProof, StartsPerHour: 4, Rest: 60 * s, LeastRun: 30 * s,
		SpinUp: 3 * s, Coast: 40 * s, ProveOn: 2 * s, ProveOff: 3 * s}
	planner := &tablePlanner{needs: needs, clear: 2 * s, extra: map[gates.Set]gates.Set{gates.Of(1): gates.Of(3)},
		poor: map[gates.Set]bool{gates.Of(0, 1): true, gates.Of(0, 1, 3): true, gates.Of(1, 3): true}}
	c.Planner = planner
	c.FilterSensor = o.eager
	c.Ways = []gates.Set{needs[3], needs[0], needs[1], needs[2]}
	if o.two {
		c.Ways = []gates.Set{needs[3], needs[0], needs[1]}
		d := c
		d.ID, d.Name, d.Ways, d.Coast = "second", "second", []gates.Set{needs[2]}, 10*s
		p.Collectors = []controller.Collector{c, d}
		return p
	}
	p.Collectors = []controller.Collector{c}
	return p
}

// plant is what stands behind the core in a test: gates that move in their travel time, motors that turn a moment
// after their line. Faults are put in by hand.
type plant struct {
	t     testing.TB
	shop  *controller.Shop
	s     controller.State
	now   controller.Instant
	watch *watchers
	log   []controller.Effect

	at    [controller.MaxGates]int64 // position, ms of travel
	since [controller.MaxGates]controller.Instant
	drive [controller.MaxGates]gates.Drive
	seen  [controller.MaxGates]gates.Proof
	stuck gates.Set
	line  gates.Set
	turns gates.Set
	dead  gates.Set // motors that do not start
	weld  gates.Set // motors that do not stop
	due   [controller.MaxCollectors]controller.Instant
	ref   uint32

	past  [60]pastStep // for the story of a failure
	steps int
}

type pastStep struct {
	ev  controller.Event
	out []controller.Effect
}

// story is the last steps as a transcript.
func (p *plant) story() string {
	var b strings.Builder
	for i := max(0, p.steps-len(p.past)); i < p.steps; i++ {
		b.WriteString(told(p.shop, p.past[i%len(p.past)]))
	}
	return b.String()
}

func newPlant(t testing.TB, shop *controller.Shop) *plant {
	require.NoError(t, shop.Check())
	p := &plant{t: t, shop: shop, watch: newWatchers(shop)}
	p.watch.carries = carriesSmall
	p.do(controller.Event{Kind: controller.Restarted})
	p.tellAll()
	return p
}

// tellAll is what a program sees of everything at its start.
func (p *plant) tellAll() {
	for g := range p.shop.Gates {
		p.seen[g] = p.switches(g)
		p.do(controller.Event{Kind: controller.GateSeen, By: controller.FromSensor, N: uint8(g), V: int32(p.seen[g])})
	}
	for m := range p.shop.Machines {
		p.machine(m, current.Idle)
	}
	for c := range p.shop.Collectors {
		f := controller.Still
		if p.turns.Has(c) {
			f = controller.Turning
		}
		p.do(controller.Event{Kind: controller.CollectorSeen, By: controller.FromSensor, N: uint8(c), V: int32(f)})
	}
}

func (p *plant) machine(m int, b current.Belief) {
	p.do(controller.Event{Kind: controller.MachineSeen, By: controller.FromSensor, N: uint8(m), V: int32(b)})
}

func (p *plant) place(g int) int64 {
	x := p.at[g]
	if !p.stuck.Has(g) {
		x += int64(p.now-p.since[g]) * int64(p.drive[g])
	}
	return max(0, min(int64(p.shop.Gates[g].Motion.Travel), x))
}

func (p *plant) switches(g int) gates.Proof {
	switch p.place(g) {
	case 0:
		return gates.SeenClosed
	case int64(p.shop.Gates[g].Motion.Travel):
		return gates.SeenOpen
	}
	return gates.SeenNeither
}

// push sets a gate's drive.
func (p *plant) push(g int, d gates.Drive) {
	p.at[g] = p.place(g)
	p.since[g], p.drive[g] = p.now, d
}

// put moves a gate by hand.
func (p *plant) put(g int, x int64) {
	p.at[g], p.since[g] = x, p.now
	p.look(g)
}

func (p *plant) look(g int) {
	if s := p.switches(g); s != p.seen[g] {
		p.seen[g] = s
		p.do(controller.Event{Kind: controller.GateSeen, By: controller.FromSensor, N: uint8(g), V: int32(s)})
	}
}

// do gives one event to the core and lets the plant follow its effects.
func (p *plant) do(ev controller.Event) []controller.Effect {
	ev.At = max(p.now, 1)
	if ev.Ref == 0 && ev.By != controller.FromSensor && ev.Kind != controller.Wake && ev.Kind < controller.Restarted {
		p.ref++
		ev.Ref = p.ref
	}
	out := controller.Step(p.shop, &p.s, ev, nil)
	p.watch.see(ev, out, &p.s)
	p.past[p.steps%len(p.past)] = pastStep{ev, out}
	p.steps++
	for _, w := range p.watch.wrong {
		p.t.Fatalf("%s\n%s%+v", w, p.story(), p.s.Snapshot(p.shop))
	}
	p.log = append(p.log, out...)
	for _, e := range out {
		n := int(e.N)
		switch e.Kind {
		case controller.OpenGate:
			p.push(n, gates.DriveOpen)
		case controller.CloseGate:
			p.push(n, gates.DriveClose)
		case controller.RestGate:
			p.push(n, gates.DriveNone)
		case controller.StartCollector:
			p.line = p.line.With(n)
			p.due[n] = p.now + 300
		case controller.StopCollector:
			p.line = p.line.Without(n)
			p.due[n] = p.now + 200
		}
	}
	return out
}

// motor lets a motor follow its line.
func (p *plant) motor(c int) {
	p.due[c] = 0
	on := p.line.Has(c)
	if on == p.turns.Has(c) || on && p.dead.Has(c) || !on && p.weld.Has(c) {
		return
	}
	p.hand(c, on)
}

// hand switches a motor whatever its line.
func (p *plant) hand(c int, on bool) {
	p.turns = p.turns.Without(c)
	f := controller.Still
	if on {
		p.turns, f = p.turns.With(c), controller.Turning
	}
	p.do(controller.Event{Kind: controller.CollectorSeen, By: controller.FromSensor, N: uint8(c), V: int32(f)})
}

// wait lets time pass.
func (p *plant) wait(d controller.Span) {
	for end := p.now + controller.Instant(d); p.now < end; {
		next := end
		if at, ok := p.s.Wake(p.shop); ok {
			if at <= p.now {
				p.t.Fatalf("the core wants to be called at %d, which is past: it is %d", at, p.now)
			}
			next = min(next, at)
		}
		for g := range p.shop.Gates {
			if p.drive[g] != 0 && !p.stuck.Has(g) {
				goal := int64(0)
				if p.drive[g] > 0 {
					goal = int64(p.shop.Gates[g].Motion.Travel)
				}
				if x := p.place(g); x != goal {
					step := controller.Instant((goal - x) * int64(p.drive[g]))
					if x == 0 || x == int64(p.shop.Gates[g].Motion.Travel) {
						step = 1
					}
					next = min(next, p.now+step)
				}
			}
		}
		for c := range p.shop.Collectors {
			if p.due[c] != 0 {
				next = min(next, max(p.due[c], p.now+1))
			}
		}
		p.now = max(next, p.now+1)
		for g := range p.shop.Gates {
			p.look(g)
		}
		for c := range p.shop.Collectors {
			if p.due[c] != 0 && p.now >= p.due[c] {
				p.motor(c)
			}
		}
		p.do(controller.Event{Kind: controller.Wake})
	}
}

func (p *plant) press(k controller.EventKind) controller.Reason {
	for _, e := range p.do(controller.Event{Kind: k, By: controller.FromButton, N: controller.Everything}) {
		if e.Kind == controller.Answered && e.V != 0 {
			return e.Why
		}
	}
	return controller.NoReason
}

// ask asks for something and returns why it was refused.
func (p *plant) ask(ev controller.Event) controller.Reason {
	if ev.By == controller.FromProgram {
		ev.By = controller.FromPage
	}
	for _, e := range p.do(ev) {
		if e.Kind == controller.Answered && e.V != 0 {
			return e.Why
		}
	}
	return controller.NoReason
}

// ready is a rested shop on duty.
func ready(t testing.TB, shop *controller.Shop) *plant {
	p := newPlant(t, shop)
	p.wait(2 * controller.Minute)
	require.Equal(t, controller.NoReason, p.press(controller.ReadyPressed))
	return p
}

func (p *plant) phase(c int) controller.Phase { return p.s.Phase(c) }

func (p *plant) open() (set gates.Set) {
	for g, s := range p.s.Snapshot(p.shop).Gates {
		if s.State == "open" {
			set = set.With(g)
		}
	}
	return set
}

func (p *plant) stands(k controller.Condition) bool {
	for _, s := range p.s.Standing(p.shop, nil) {
		if s.Is == k {
			return true
		}
	}
	return false
}

func (p *plant) String() string { return fmt.Sprintf("at %d ms", p.now) }
