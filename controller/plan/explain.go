package plan

import (
	"fmt"
	"strings"

	"ductwarden/gates"
)

// Explain says in one sentence why the answer is what it is: which gates, for whom, which duct, at what speed of
// the speed asked, and what would mend it. speed writes a speed, given in m/s, in the person's units.
func (t *Tree) Explain(q Question, a Answer, speed func(float64) string) string {
	e := explainer{t: t, q: q, a: a, speed: speed}
	served := (q.Running | q.Down) & t.mine &^ a.Left &^ a.Unserved
	var parts []string
	say := func(s string) {
		if s != "" {
			parts = append(parts, s)
		}
	}
	switch {
	case (q.Running|q.Down)&t.mine == 0:
		return "nothing is demanded"
	case served == 0:
	case a.Verdict == NotJudged:
		say(e.needs(served) + e.also())
		say(sayNotJudged)
	default:
		say(e.needs(served))
		say(e.why(served))
	}
	if a.Verdict != NotJudged && served != 0 {
		parts[len(parts)-1] += ": " + e.figures()
		say(e.mend(served))
		say(e.thief(served))
	}
	say(e.byHand())
	say(e.undone())
	return strings.Join(parts, "; ")
}

// The sentences, in one place.
const (
	sayNotJudged = "the air is not judged, for the shop file has no ducts or no fan curve"
	sayBounded   = "there may be a better pattern, the search ended at its count"
)

// explainer holds what a sentence is about.
type explainer struct {
	t     *Tree
	q     Question
	a     Answer
	speed func(float64) string
}

// needs names the machines and their gates: "lathe needs its own gate".
func (e *explainer) needs(machines gates.Set) string {
	who := e.machines(machines)
	if e.t.options.EverythingOpen {
		return who + verb(machines, " runs with every gate open", " run with every gate open")
	}
	needed := e.t.needed(machines)
	switch {
	case needed == 0:
		return who + verb(machines, " has no gate on the way", " have no gate on the way")
	case machines.Len() == 1 && needed.Len() == 1 && strings.EqualFold(who, e.gates(needed)):
		return who + " needs its own gate"
	case strings.EqualFold(who, e.gates(needed)):
		return who + " need their own gates"
	}
	return fmt.Sprintf(verb(machines, verb(needed, "%s needs gate %s", "%s needs gates %s"), verb(needed, "%s need gate %s", "%s need gates %s")), who, e.gates(needed))
}

// why says what was wrong with the needed gates alone, and what opens for it.
func (e *explainer) why(machines gates.Set) string {
	a := &e.a
	if a.Relief == 0 || e.t.options.EverythingOpen {
		return ""
	}
	alone := a.Open &^ a.Relief
	d, given := e.slowest(machines, alone), "with that alone "
	if d.ok {
		if hand := e.t.hand &^ alone; hand != 0 {
			if d = e.slowest(machines, alone|hand); !d.ok {
				given = "with " + e.gates(hand) + " left open by hand "
			}
		}
	}
	opens := e.gates(a.Relief) + verb(a.Relief, " opens too", " open too")
	if a.Verdict != Carries {
		opens += ", the best there is"
	}
	if d.ok {
		return opens
	}
	return fmt.Sprintf("%sthe %s would run at %s of the %s asked, so %s%s", given, d.name, e.speed(d.speed), e.speed(d.asked), opens, e.passedOver(machines, alone))
}

// passedOver says why a preferred gate was not taken.
func (e *explainer) passedOver(machines, alone gates.Set) string {
	k := e.t.keyOf(e.q, machines)
	for g := range (k.free & e.t.prefer &^ e.a.Open &^ e.t.never).All() {
		with, before := e.slowest(machines, alone.With(g)), e.speeds(alone)
		if !with.ok && with.duct >= 0 && with.speed < before[with.duct] {
			return fmt.Sprintf(" (%s would slow the %s to %s)", e.gates(gates.Of(g)), with.name, e.speed(with.speed))
		}
	}
	return ""
}

// also names the gates that are open beside the needed ones where nothing is judged.
func (e *explainer) also() string {
	if more := e.a.Open &^ e.a.Needed; more != 0 {
		return ", and " + e.gates(more) + verb(more, " stands open anyway", " stand open anyway")
	}
	return ""
}

// figures is "margin +13 %, air 129 %", or where it does not carry, the duct and its speed.
func (e *explainer) figures() string {
	a := &e.a
	var s string
	if a.Verdict != Carries && a.Weakest != NoDuct {
		d := e.read(int(a.Weakest), e.speeds(a.Open))
		s = fmt.Sprintf(map[Transport]string{Creeps: "the %s runs at %s of the %s asked, chips creep there, ", Settles: "the %s runs at %s of the %s asked, chips settle there, "}[a.Verdict],
			d.name, e.speed(d.speed), e.speed(d.asked))
	}
	s += "margin " + percent(a.Margin, true)
	if a.Share != NoRatio && !(a.Short != NoMachine && a.Unserved.Has(int(a.Short))) {
		s += ", air " + percent(a.Share, false)
		if a.Share < e.t.options.Full && a.Short != NoMachine {
			s += " of what " + e.machines(gates.Of(int(a.Short))) + " wants"
		}
	}
	return s
}

// mend names the machine to stop.
func (e *explainer) mend(machines gates.Set) string {
	switch {
	case e.a.Mend != NoMachine && e.a.Unserved.Has(int(e.a.Mend)): // undone says it
	case e.a.Mend != NoMachine:
		rest := " and the rest carries"
		if e.a.Verdict == Carries {
			rest = " and the rest has its full air"
		}
		return "stop " + e.machines(gates.Of(int(e.a.Mend))) + rest
	case e.a.Verdict != Carries && machines.Len() > 1:
		return "stopping one of them does not mend it"
	}
	return ""
}

// thief says what a hand gate that is left open does.
func (e *explainer) thief(machines gates.Set) string {
	if e.a.Worst == e.a.Verdict {
		return ""
	}
	for h := range (e.t.hand &^ e.a.Open).All() {
		if d := e.slowest(machines, e.a.Open.With(h)); !d.ok {
			return fmt.Sprintf("keep %s shut, else the %s runs at %s", e.gates(gates.Of(h)), d.name, e.speed(d.speed))
		}
	}
	return "keep the hand gates shut"
}

// byHand names gates for the person to open.
func (e *explainer) byHand() string {
	if hand := e.a.Open & e.t.hand &^ e.q.Open &^ e.q.StuckOpen; hand != 0 && !e.t.options.EverythingOpen {
		return "open " + e.gates(hand) + " by hand"
	}
	return ""
}

// undone says what the answer leaves.
func (e *explainer) undone() string {
	var parts []string
	if l := e.a.Left; l != 0 {
		parts = append(parts, e.machines(l)+verb(l, " runs down and would not carry beside the rest, to be cleared later", " run down and would not carry beside the rest, to be cleared later"))
	}
	for m := range e.a.Unserved.All() {
		shut := e.t.needs(m) &^ e.t.openable(e.t.keyOf(e.q, gates.Of(m)))
		parts = append(parts, fmt.Sprintf(verb(shut, "%s has no air, gate %s does not open: stop it", "%s has no air, gates %s do not open: stop it"), e.machines(gates.Of(m)), e.gates(shut)))
	}
	if e.a.Bounded {
		parts = append(parts, sayBounded)
	}
	return strings.Join(parts, "; ")
}

// reading is one duct in one pattern. ok: it is as fast as asked.
type reading struct {
	duct         int
	name         string
	speed, asked float64 // m/s
	ok           bool
}

// slowest is the carrying duct that falls short most of what is asked in a pattern; ok when none does.
func (e *explainer) slowest(machines, open gates.Set) reading {
	speeds := e.speeds(open)
	found := reading{duct: -1, ok: true}
	least := 1.0
	for m := range machines.All() {
		for _, p := range e.t.machines[m].Ports {
			for _, d := range e.t.ports[p].way {
				r := e.read(d, speeds)
				short := r.speed / r.asked
				if e.t.room.out.Over[d] < e.t.ducts[d].asked && short < least {
					least, found = short, r
					found.ok = false
				}
			}
		}
	}
	return found
}

// speeds solves a pattern: m/s by duct.
func (e *explainer) speeds(open gates.Set) []float64 {
	t := e.t
	if t.room.out == nil {
		t.room.out = NewPattern(len(t.ducts), len(t.ports))
	}
	t.air.Pattern(open, e.q.Loaded, t.room.out)
	out := make([]float64, len(t.ducts))
	for i, v := range t.room.out.Speed {
		out[i] = float64(v) / 1e4
	}
	return out
}

func (e *explainer) read(duct int, speeds []float64) reading {
	n := e.t.net
	tr := n.Transport
	if own := n.Ducts[duct].Transport; own != nil {
		tr = *own
	}
	return reading{duct: duct, name: n.Ducts[duct].Name, speed: speeds[duct], asked: tr.Carries * (1 + tr.Margin)}
}

var _ Planner = (*Tree)(nil)
